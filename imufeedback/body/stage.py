"""Aligned orientations to angles of the body."""

from __future__ import annotations

import copy
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field
from typing import Any

import numpy as np

from imufeedback.body import pelvis
from imufeedback.body.angles import Wearing, angles
from imufeedback.body.fitting import FitImpossible, fit
from imufeedback.body.history import History
from imufeedback.body.links import Links, Run
from imufeedback.body.matrices import about_vertical, from_q
from imufeedback.body.zeroing import (
    AGAIN_S,
    SAME_ADDRESS_RAD,
    STILL_RAD_S,
    UPRIGHT_TILT_RAD,
    Zero,
    is_address,
    zero_at,
)
from imufeedback.records import (
    AlignedBlock,
    Angles,
    Command,
    Fit,
    FitRefused,
    Fitted,
    Floats,
    Hand,
    Json,
    Level,
    Segment,
    SegmentFit,
    Zeroed,
    frozen,
)
from imufeedback.stage import Stage

UNIT_OFF = 0.05
"""A stored quaternion whose length differs by more from 1 is a broken one."""

In = AlignedBlock | Command
Out = Angles | Fitted | FitRefused | Zeroed


@dataclass
class _State:
    history: History = field(default_factory=History)
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
    rose: bool = True
    """The player has stood up since the last address: the next one may face anywhere."""


class Body(Stage[In, Out]):
    """Fitting, zeroing and angles of the worn segments.

    Takes aligned blocks, and the commands ``fit`` (windows in session seconds), ``set-fit`` (a stored fit) and
    ``zero``. Gives nothing before there is a fit.
    """

    _state: _State

    def __init__(self, segments: Sequence[Segment], *, hand: Hand, grid_hz: float, origin_ns: int) -> None:
        self._segments = tuple(segments)
        self._hand = hand
        self._grid_hz = grid_hz
        self._origin_ns = origin_ns
        self._links = Links(self._segments, grid_hz=grid_hz)
        self._state = _State()

    @property
    def state(self) -> Any:
        self._state.links = self._links.state
        return copy.deepcopy(self._state)

    @state.setter
    def state(self, value: Any) -> None:
        self._state = copy.deepcopy(value)
        self._links.state = self._state.links

    def feed(self, item: In) -> list[Out]:
        return self._command(item) if isinstance(item, Command) else self._block(item)

    # ── commands ─────────────────────────────────────────────────────────────────────────────────────────────────

    def _command(self, command: Command) -> list[Out]:
        t_s = (command.host_ns - self._origin_ns) * 1e-9
        if command.verb == "fit":
            return self._fit(t_s, command.args)
        if command.verb == "set-fit":
            return self._use(t_s, fit_from_json(command.args), stored=True)
        if command.verb == "zero":
            self._state.asked = "asked"
        return []

    def _fit(self, t_s: float, args: Mapping[str, Json]) -> list[Out]:
        window = self._state.history.window
        still_s: tuple[float, float] = tuple(args["still"])
        still = {one: window(one, still_s, self._grid_hz) for one in self._segments}
        flex_s = {one: args["flex"][one] if isinstance(args["flex"], Mapping) else args["flex"] for one in still}
        flex = {one: window(one, tuple(flex_s[one]), self._grid_hz) for one in still}
        # from the end of standing still on: by then the gyroscopes' bias is known
        whole_s = (still_s[1] - 0.4, max(one[1] for one in flex_s.values()))
        whole = {one: window(one, whole_s, self._grid_hz) for one in still}
        try:
            return self._use(t_s, fit(still, flex, whole, whole_s[1] - whole_s[0]))
        except FitImpossible as why:
            return [FitRefused(t_s, str(why))]

    def _use(self, t_s: float, fitted: Fit, *, stored: bool = False) -> list[Out]:
        missing = [one for one in self._segments if one not in {f.segment for f in fitted.segments}]
        if missing:
            return [FitRefused(t_s, f"the fitting has no {', '.join(missing).replace('_', ' ')} – fit again")]
        for one in fitted.segments:
            length = float(np.linalg.norm(one.q_sb))
            if not abs(length - 1.0) < UNIT_OFF:
                name = str(one.segment).replace("_", " ")
                return [
                    FitRefused(t_s, f"the stored fit of the {name} is no rotation (length {length:.3g}) – fit again")
                ]
        self._state.fit, self._state.zero = fitted, None
        self._links.reset()
        by_segment = {one.segment: one for one in fitted.segments}
        self._state.sd = np.full((len(self._links.joints) + 1, 3), np.nan)
        self._state.worn = Wearing.of(
            self._segments,
            self._links.joints,
            self._hand,
            np.stack([from_q(by_segment[one].q_sb) for one in self._segments]),
            np.stack([_sd_axes(by_segment[one]) for one in self._segments]),
        )
        return [Fitted(t_s, fitted, stored)]

    # ── samples ──────────────────────────────────────────────────────────────────────────────────────────────────

    def _block(self, block: AlignedBlock) -> list[Out]:
        s = self._state
        s.history.add(block)
        if s.worn is None:
            return []
        run = self._links.run(block, s.worn.q_sb)
        R_eb = from_q(block.q_es[:, s.worn.pelvis]) @ s.worn.q_sb[s.worn.pelvis]
        zeros: list[tuple[int, Zero | None]] = [(0, s.zero)]
        events: list[Zeroed] = []
        for i in run.checks():
            reason = self._reason(block, run, R_eb[i], i)
            if reason is not None:
                self._zero(block, run, i, reason)
                zeros.append((i, s.zero))
                events.append(Zeroed(float(block.t_s[i]), reason))
        if s.zero is None:
            return []
        return self._told(s.worn, block, run, R_eb, zeros, events)

    def _told(
        self,
        worn: Wearing,
        block: AlignedBlock,
        run: Run,
        R_eb: Floats,
        zeros: list[tuple[int, Zero | None]],
        events: list[Zeroed],
    ) -> list[Out]:
        """The block's angles, parted where a zero was set: each part by its own zero."""
        relative = run.relative()
        ends = [at for at, _ in zeros[1:]] + [len(block.t_s)]
        out: list[Out] = []
        for k, ((begin, zero), end) in enumerate(zip(zeros, ends, strict=True)):
            if k:
                out.append(events[k - 1])
            if zero is not None and end > begin:
                made, self._state.sd = angles(worn, block, R_eb, relative, zero, slice(begin, end), self._state.sd)
                out.append(made)
        return out

    def _reason(self, block: AlignedBlock, run: Run, R_eb: Floats, i: int) -> str | None:
        """Why to zero at step i: on request, when the player first stands still, and at every address."""
        s = self._state
        forward_tilt = pelvis.forward_tilt(R_eb)
        s.rose |= forward_tilt < UPRIGHT_TILT_RAD
        if s.asked is None and not block.rest[i].all():
            return None
        if not block.ok[i].all():
            return None
        if s.asked is not None:
            reason, s.asked = s.asked, None
            return reason
        if np.abs(block.gyr_rad_s[i]).max() >= STILL_RAD_S:
            return None
        return self._still_reason(R_eb, run, i, float(block.t_s[i]), forward_tilt)

    def _still_reason(self, R_eb: Floats, run: Run, i: int, t_s: float, forward_tilt: float) -> str | None:
        s = self._state
        if s.zero is None:
            return "stillness"
        if t_s - s.zero.t_s < AGAIN_S:
            return None
        turn = float(pelvis.angles(about_vertical(-s.zero.pelvis_rad) @ R_eb)[0])
        if not s.rose and abs(turn) > SAME_ADDRESS_RAD:
            return None  # still bent over the same ball but turned: a slow top of the backswing, not a new address
        return "address" if is_address(forward_tilt, run.thighs_rad(i)) else None

    def _zero(self, block: AlignedBlock, run: Run, i: int, reason: str) -> None:
        s = self._state
        assert s.worn is not None
        poses = dict(zip(block.segments, from_q(block.q_es[i]) @ s.worn.q_sb, strict=True))
        s.zero = zero_at(poses, float(block.heading_sd_rad[i, s.worn.pelvis]), float(block.t_s[i]))
        run.zero(i, s.zero.of)
        s.rose = s.rose and reason != "address"


def _sd_axes(one: SegmentFit) -> Floats:
    return np.full(3, one.sd_rad) if one.sd_axes_rad is None else one.sd_axes_rad


def _unit(q: Floats) -> Floats:
    """A quaternion whose length is a little off, of unit length; one that is far off, as it is."""
    length = float(np.linalg.norm(q))
    out: Floats = q / length if 1e-9 < abs(length - 1.0) < UNIT_OFF else q
    return out


def fit_to_json(fitted: Fit) -> dict[str, Json]:
    """Arguments of a ``set-fit`` command."""
    return {
        "method": fitted.method,
        "segments": [
            {
                "segment": str(one.segment),
                "q_sb": [float(x) for x in one.q_sb],
                "level": str(one.level),
                "sd_rad": one.sd_rad,
                "reason": one.reason,
                "acc_bias_m_s2": [float(x) for x in one.acc_bias_m_s2],
                "sd_axes_rad": None if one.sd_axes_rad is None else [float(x) for x in one.sd_axes_rad],
            }
            for one in fitted.segments
        ],
    }


def fit_from_json(args: Mapping[str, Json]) -> Fit:
    """The fit of a ``set-fit`` command."""
    return Fit(
        args["method"],
        tuple(
            SegmentFit(
                Segment(one["segment"]),
                frozen(_unit(np.array(one["q_sb"], dtype=float))),
                Level(one["level"]),
                float(one["sd_rad"]),
                one["reason"],
                frozen(one.get("acc_bias_m_s2", (0.0, 0.0, 0.0))),
                None if one.get("sd_axes_rad") is None else frozen(one["sd_axes_rad"]),
            )
            for one in args["segments"]
        ),
    )
