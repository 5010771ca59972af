"""Aligned orientations to angles of the body."""

from __future__ import annotations

import copy
from collections.abc import Mapping
from collections.abc import Sequence as Several
from dataclasses import dataclass, field, replace
from typing import Any

import numpy as np

from imufeedback.body import pelvis
from imufeedback.body.angles import angles
from imufeedback.body.axes_watch import AxesWatch, withheld
from imufeedback.body.calibration import FitImpossible
from imufeedback.body.fitter import FitOutcome, by_windows, found, kept, named_windows, offer
from imufeedback.body.history import History
from imufeedback.body.links import Held, Links, Run
from imufeedback.body.looks import Looks
from imufeedback.body.matrices import from_q
from imufeedback.body.sequence import Performed, Refused, Sequence
from imufeedback.body.slip import SlipWatch
from imufeedback.body.suspects import Judge, by_themselves, in_words, of_blocks, suspects
from imufeedback.body.wearing import Wearing
from imufeedback.body.zeroing import (
    ADDRESS_TILT_RAD,
    AGAIN_S,
    SAME_ADDRESS_RAD,
    STOOD_THIGH_RAD,
    UPRIGHT_TILT_RAD,
    Zero,
    is_address,
    zero_at,
)
from imufeedback.commands import (
    UNIT_OFF,
    AnyCommand,
    Asked,
    BeginFit,
    CancelFit,
    FitWindows,
    Keep,
    SetFit,
    SetZero,
    UndoZero,
)
from imufeedback.phrases import phrase
from imufeedback.records import (
    AlignedBlock,
    Angles,
    Doubted,
    Fit,
    FitRefused,
    FitStep,
    Fitted,
    Floats,
    Hand,
    Notice,
    Segment,
    SegmentFit,
    Slipped,
    SwapOffered,
    Zeroed,
    frozen,
)
from imufeedback.stage import Stage

EPISODE_S = 5.0
"""A joint that gravity contradicts again within this time is not told again."""

In = AlignedBlock | Asked
Out = Angles | Doubted | Notice | Fitted | FitRefused | FitStep | SwapOffered | Slipped | Zeroed


@dataclass
class _State:
    history: History = field(default_factory=History)
    axes: AxesWatch = field(default_factory=AxesWatch)
    fit: Fit | None = None
    worn: Wearing | None = None
    """Derived from the fit."""
    zero: Zero | None = None
    sd: Floats = field(default_factory=lambda: np.empty((0, 3)))
    """(J+1, 3) standard deviations of the angles at the last step."""
    links: Any = None
    """Memory of the joints (`Links.state`)."""
    asked: str | None = None
    """Reason of a zeroing that waits for the next complete sample."""
    sequence: Sequence | None = None
    """While a calibration is being performed."""
    offered: FitOutcome | None = None
    """A calibration by other places than the stored ones, which waits for a yes or a no."""
    undo: tuple[Zero | None, Held] | None = None
    """What the last zeroing replaced."""
    doubted_s: dict[str, float] = field(default_factory=dict)
    """By joint, when gravity last contradicted it."""
    watches: dict[Segment, SlipWatch] = field(default_factory=dict)
    rose: bool = True
    """The player has stood up since the last address: the next one may face anywhere."""


class Body(Stage[In, Out]):
    """Calibration, zeroing and angles of the worn segments.

    Takes aligned blocks, and the commands that fit and zero; to `AcceptSwap` the pipeline sees (`take_swap`). Gives
    no angles before there is a fit.
    """

    _state: _State

    def __init__(
        self,
        segments: Several[Segment],
        *,
        hand: Hand,
        grid_hz: float,
        offsets_sd_m_s2: Mapping[Segment, float] | None = None,
    ) -> None:
        """`offsets_sd_m_s2`: how well the zero-g offset is known of those sensors whose own was taken off."""
        self._segments = tuple(segments)
        self._hand = hand
        self._grid_hz = grid_hz
        self._links = Links(self._segments, grid_hz=grid_hz)
        self._state = _State(History(offsets_sd_m_s2=dict(offsets_sd_m_s2 or {})))

    @property
    def state(self) -> Any:
        self._state.links = self._links.state
        return copy.deepcopy(self._state)

    @state.setter
    def state(self, value: Any) -> None:
        self._state = copy.deepcopy(value)
        self._links.state = self._state.links

    @property
    def calibrating(self) -> bool:
        """Whether the player performs the calibration movements."""
        return self._state.sequence is not None

    @property
    def may_be_fitted(self) -> bool:
        """Whether the calibration movements may end with any next sample, or old angles go on meanwhile."""
        s = self._state
        return s.sequence is not None and (s.worn is not None or s.sequence.ending)

    def feed(self, item: In) -> list[Out]:
        return self._asked(item.t_s, item.command) if isinstance(item, Asked) else self._block(item)

    # ── commands ─────────────────────────────────────────────────────────────────────────────────────────────────

    def _asked(self, t_s: float, command: AnyCommand) -> list[Out]:
        match command:
            case FitWindows():
                return self._fit(t_s, command)
            case SetFit(caution=caution):
                said: list[Out] = [Notice(t_s, caution)] if caution else []
                return said + self._use(t_s, command.fit(), stored=True)
            case SetZero():
                self._state.asked = "asked"
            case UndoZero():
                return self._undo(t_s)
            case BeginFit():
                return self._begin_calibration(t_s)
            case CancelFit():
                self._state.sequence = self._state.offered = None
            case Keep():
                return self._keep(t_s)
        return []

    def _begin_calibration(self, t_s: float) -> list[Out]:
        missing = [one for one in _NEEDED if one not in self._segments]
        if missing:
            names = ", ".join(missing).replace("_", " ")
            return [FitRefused(t_s, f"no sensor on {names} – calibration needs pelvis and both thighs")]
        self._state.offered = None
        self._state.sequence = Sequence(self._segments, grid_hz=self._grid_hz)
        return []

    def _keep(self, t_s: float) -> list[Out]:
        one, self._state.offered = self._state.offered, None
        if one is None:
            return []
        if not one.only_sides:
            return [FitRefused(t_s, "the pelvis' and a thigh's sensor changed places: swap them, or calibrate again")]
        return self._use(t_s, kept(one))

    def take_swap(self) -> FitOutcome | None:
        """The offered calibration, which is then offered no more."""
        one, self._state.offered = self._state.offered, None
        return one

    def renamed(self, segments: Several[Segment], one: FitOutcome, t_s: float) -> tuple[Body, list[Out]]:
        """This stage with its sensors on other segments, and the offered fit in use."""
        known = self._state.history.offsets_sd_m_s2
        moved = {new: known[old] for old, new in zip(self._segments, segments, strict=True) if old in known}
        other = Body(segments, hand=self._hand, grid_hz=self._grid_hz, offsets_sd_m_s2=moved)
        for block in self._state.history.blocks:
            other._state.history.blocks.append(replace(block, segments=tuple(segments)))
        return other, other._use(t_s, one.fit)

    def _fit(self, t_s: float, asked: FitWindows) -> list[Out]:
        try:
            still_s, _, whole_s = named_windows(self._segments, asked)
            looked_at_s = min(still_s[0], whole_s[0]) - LOOK_BACK_S, max(still_s[1], whole_s[1])
            self._check_axes(looked_at_s, suspects)
            return self._use(t_s, by_windows(self._state.history, self._segments, self._grid_hz, asked))
        except FitImpossible as why:
            return self._refused(t_s, str(why))

    def _refused(self, t_s: float, reason: str) -> list[Out]:
        """The fit before, if there was one, stays in force."""
        kept = [] if self._state.fit is None else [Notice(t_s, phrase("notice.calibration_stays"))]
        return [FitRefused(t_s, reason), *kept]

    def _use(self, t_s: float, fitted: Fit, *, stored: bool = False) -> list[Out]:
        missing = [one for one in self._segments if one not in {f.segment for f in fitted.segments}]
        if missing:
            return [FitRefused(t_s, f"the calibration has no {', '.join(missing).replace('_', ' ')} – calibrate again")]
        for one in fitted.segments:
            length = float(np.linalg.norm(one.q_sb))
            if not abs(length - 1.0) < UNIT_OFF:
                name = str(one.segment).replace("_", " ")
                return [
                    FitRefused(
                        t_s, f"the stored fit of the {name} is no rotation (length {length:.3g}) – calibrate again"
                    )
                ]
        self._state.fit, self._state.zero, self._state.undo = fitted, None, None
        self._state.watches = {one: SlipWatch() for one in _NEEDED if one in self._segments}
        self._links.reset()
        self._state.sd = np.full((len(self._links.joints) + 1, 3), np.nan)
        self._wear(fitted)
        return [Fitted(t_s, fitted, stored)]

    def _wear(self, fitted: Fit) -> None:
        by_segment = {one.segment: one for one in fitted.segments}
        self._state.worn = Wearing.of(
            self._segments,
            self._links.joints,
            self._hand,
            np.stack([from_q(by_segment[one].q_sb) for one in self._segments]),
            np.stack([_sd_axes(by_segment[one]) for one in self._segments]),
        )

    # ── samples ──────────────────────────────────────────────────────────────────────────────────────────────────

    def _block(self, block: AlignedBlock) -> list[Out]:
        s = self._state
        s.history.add(block)
        before: list[Out] = [*s.axes.feed(block, placed=s.fit is not None)]
        before += [] if s.sequence is None else self._performed(s.sequence, block)
        before.sort(key=lambda one: one.t_s)
        if s.worn is None:
            return before
        return before + self._measured(s.worn, block)

    def _performed(self, sequence: Sequence, block: AlignedBlock) -> list[Out]:
        """The calibration under way."""
        out: list[Out] = []
        for told in sequence.feed(block):
            if isinstance(told, FitStep):
                out.append(told)
            elif isinstance(told, Refused):
                # what is wrong with a sensor goes before what it led to
                wrong = self._wrong_axes((told.t_s - LOOK_BACK_S, told.t_s), by_themselves)
                out += self._refused(told.t_s, wrong or told.reason)
            else:
                out += self._found(told)
        if sequence.over and self._state.sequence is sequence:
            self._state.sequence = None
        return out

    def _found(self, done: Performed) -> list[Out]:
        s = self._state
        try:
            self._check_axes((done.still_s[0], done.t_s), by_themselves)
            one = found(done, s.history, self._segments, self._grid_hz)
        except FitImpossible as why:
            s.sequence = Sequence(self._segments, grid_hz=self._grid_hz)  # they stand already: once more
            return self._refused(done.t_s, str(why))
        if not one.differing:
            return self._use(done.t_s, one.fit)
        s.offered = one
        return [SwapOffered(done.t_s, one.differing, one.only_sides, offer(one))]

    def _check_axes(self, window_s: tuple[float, float], judge: Judge) -> None:
        """Raises FitImpossible when a sensor's axes, signs or units contradict physics."""
        wrong = self._wrong_axes(window_s, judge)
        if wrong:
            raise FitImpossible(wrong)

    def _wrong_axes(self, window_s: tuple[float, float], judge: Judge) -> str | None:
        """What contradicts physics in a stretch, in words."""
        places = {one: one for one in self._segments}
        return in_words(judge(of_blocks(self._state.history.blocks, places, window_s)))

    def _measured(self, worn: Wearing, block: AlignedBlock) -> list[Out]:
        s = self._state
        run = self._links.run(block, worn.q_sb)
        R_eb = from_q(block.q_es[:, worn.pelvis]) @ worn.q_sb[worn.pelvis]
        zeros: list[tuple[int, Zero | None, Wearing]] = [(0, s.zero, worn)]
        events: list[list[Out]] = []
        looks = Looks.of(block, R_eb, run.boundaries)
        for i in run.checks(lambda k: self._wanted(looks, k)):
            t_s = float(block.t_s[i])
            new = self._doubted(t_s, run)
            reason = self._reason(looks, run, R_eb, run.boundaries.index(i))
            if reason is not None:
                slips = self._zero(block, run, i, reason)
                new += [Zeroed(t_s, reason), *slips]
            if new:
                zeros.append((i, s.zero, s.worn or worn))
                events.append(new)
        if s.zero is None:
            return []
        return self._told(block, run, R_eb, zeros, events)

    def _doubted(self, t_s: float, run: Run) -> list[Out]:
        """Joints that have just been contradicted by gravity: told once, until it has been quiet for a while."""
        s = self._state
        out: list[Out] = []
        for k, off_rad in run.doubts:
            joint = self._links.joints[k]
            about = f"{joint.side} {joint.name}"
            if t_s - s.doubted_s.get(about, -np.inf) > EPISODE_S:
                text = (
                    f"{about}: how its sensors move and gravity disagree by {np.rad2deg(off_rad):.0f}° – gravity is "
                    "believed; if it comes again, tighten both straps"
                )
                out.append(Doubted(t_s, about, "joint", text))
            s.doubted_s[about] = t_s
        return out

    def _told(
        self,
        block: AlignedBlock,
        run: Run,
        R_eb: Floats,
        zeros: list[tuple[int, Zero | None, Wearing]],
        events: list[list[Out]],
    ) -> list[Out]:
        """The block's angles, parted where a zero was set: each part by its own zero, and by what the straps were
        known to do then."""
        relative = run.relative()
        ends = [at for at, *_ in zeros[1:]] + [len(block.t_s)]
        out: list[Out] = []
        for k, ((begin, zero, worn), end) in enumerate(zip(zeros, ends, strict=True)):
            if k:
                out += events[k - 1]
            if zero is not None and end > begin:
                made, self._state.sd = angles(worn, block, R_eb, relative, zero, slice(begin, end), self._state.sd)
                out.append(withheld(made, self._state.axes.since_s))
        return out

    def _wanted(self, looks: Looks, k: int) -> bool:
        """Whether the player may have stood up at the k-th look, or a zero may be set there."""
        return (not self._state.rose and looks.tilts_rad[k] < UPRIGHT_TILT_RAD) or self._may_zero(looks, k)

    def _may_zero(self, looks: Looks, k: int) -> bool:
        s = self._state
        if s.asked is not None:
            return looks.whole[k]
        if s.zero is None or not looks.still[k]:
            return looks.still[k]
        low, high = ADDRESS_TILT_RAD
        return low <= looks.tilts_rad[k] <= high and looks.t_s[k] - s.zero.t_s >= AGAIN_S

    def _reason(self, looks: Looks, run: Run, R_eb: Floats, k: int) -> str | None:
        """Why to zero at the k-th look: on request, when the player first stands still, and at every address."""
        s, forward_tilt = self._state, looks.tilts_rad[k]
        if not s.rose and forward_tilt < UPRIGHT_TILT_RAD:
            s.rose = bool((run.thighs_rad(k) < STOOD_THIGH_RAD).all())
        if not self._may_zero(looks, k):
            return None
        if s.asked is not None:
            reason, s.asked = s.asked, None
            return reason
        if s.zero is None:
            return "stillness"
        if not s.rose and abs(pelvis.turn(R_eb[run.boundaries[k]], s.zero.pelvis_rad)) > SAME_ADDRESS_RAD:
            return None  # still bent over the same ball but turned: a slow top of the backswing, not a new address
        return "address" if is_address(forward_tilt, run.thighs_rad(k)) else None

    def _zero(self, block: AlignedBlock, run: Run, i: int, reason: str) -> list[Out]:
        s = self._state
        assert s.worn is not None
        s.undo = s.zero, self._links.held()
        since_s = float(block.t_s[i]) - (s.zero.t_s if s.zero is not None else float(block.t_s[i]))
        poses = dict(zip(block.segments, from_q(block.q_es[i]) @ s.worn.q_sb, strict=True))
        s.zero = zero_at(poses, float(block.heading_sd_rad[i, s.worn.pelvis]), float(block.t_s[i]))
        turns = run.zero(i, s.zero.of)
        arrived = s.rose and reason == "address"
        s.rose = s.rose and reason != "address"
        return self._slipped(float(block.t_s[i]), turns, poses, since_s) if arrived else []

    def _undo(self, t_s: float) -> list[Out]:
        """Count from where it was counted before the last zeroing."""
        s = self._state
        if s.undo is None or s.undo[0] is None:
            return []
        (s.zero, held), s.undo = s.undo, None
        self._links.put_back(held)
        return [Zeroed(t_s, "undone")]

    # ── straps ───────────────────────────────────────────────────────────────────────────────────────────────────

    def _slipped(
        self, t_s: float, turns: Mapping[Segment, float], poses: Mapping[Segment, Floats], since_s: float
    ) -> list[Out]:
        """A new address: does every sensor still lie as it used to?"""
        s = self._state
        out: list[Out] = []
        for segment, watch in s.watches.items():
            turn = turns.get(segment)
            slip = watch.address(turn, poses[segment][2], since_s)
            if slip is None:
                continue
            angle = abs(slip.turn_rad) or slip.tip_rad
            self._widen(segment, slip.turn_rad, slip.tip_rad)
            name = str(segment).replace("_", " ")
            text = f"{name}: the strap seems to have moved by about {np.rad2deg(angle):.0f}° – calibrate again"
            out.append(Slipped(t_s, segment, angle, text))
        return out

    def _widen(self, segment: Segment, turn_rad: float, tip_rad: float) -> None:
        """The error bar of a segment whose strap has moved."""
        s = self._state
        assert s.fit is not None
        more = np.array([tip_rad, abs(turn_rad), tip_rad])
        s.fit = replace(s.fit, segments=tuple(_wider(one, more, segment) for one in s.fit.segments))
        self._wear(s.fit)


LOOK_BACK_S = 60.0
"""Axes are judged by what was measured up to so long before a calibration, or before its refusal."""
_NEEDED = (Segment.PELVIS, Segment.LEFT_THIGH, Segment.RIGHT_THIGH)


def _wider(one: SegmentFit, more_rad: Floats, segment: Segment) -> SegmentFit:
    if one.segment is not segment:
        return one
    axes = np.hypot(_sd_axes(one), more_rad)
    return replace(one, sd_axes_rad=frozen(axes), sd_rad=float(np.sqrt(np.mean(axes**2))))


def _sd_axes(one: SegmentFit) -> Floats:
    return np.full(3, one.sd_rad) if one.sd_axes_rad is None else one.sd_axes_rad
