"""Aligned orientations to angles of the body."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field

import numpy as np

from imufeedback.body import jcs, pelvis
from imufeedback.body.fitting import FitImpossible, fit
from imufeedback.body.history import History
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
    JointAngles,
    Json,
    Level,
    PelvisAngles,
    Segment,
    SegmentFit,
    Side,
    Zeroed,
    frozen,
)
from imufeedback.stage import Stage

In = AlignedBlock | Command
Out = Angles | Fitted | FitRefused | Zeroed


@dataclass
class _State:
    history: History = field(default_factory=History)
    fit: Fit | None = None
    mounting: tuple[Floats, Floats] | None = None
    """Derived from the fit: (S, 3, 3) segment→sensor, and (S,) its standard deviation."""
    zero: Zero | None = None
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
        self._state = _State()

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
        try:
            return self._use(t_s, fit(still, flex))
        except FitImpossible as why:
            return [FitRefused(t_s, str(why))]

    def _use(self, t_s: float, fitted: Fit, *, stored: bool = False) -> list[Out]:
        missing = [one for one in self._segments if one not in {f.segment for f in fitted.segments}]
        if missing:
            return [FitRefused(t_s, f"the fitting has no {', '.join(missing).replace('_', ' ')} – fit again")]
        self._state.fit, self._state.zero = fitted, None
        by_segment = {one.segment: one for one in fitted.segments}
        self._state.mounting = (
            np.stack([from_q(by_segment[one].q_sb) for one in self._segments]),
            np.array([by_segment[one].sd_rad for one in self._segments]),
        )
        return [Fitted(t_s, fitted, stored)]

    # ── samples ──────────────────────────────────────────────────────────────────────────────────────────────────

    def _block(self, block: AlignedBlock) -> list[Out]:
        s = self._state
        s.history.add(block)
        if s.mounting is None:
            return []
        q_sb, fit_sd = s.mounting
        R_eb = from_q(block.q_es) @ q_sb
        rate_b = np.einsum("sji,nsj->nsi", q_sb, block.gyr_rad_s)
        out: list[Out] = list(self._zeroing(block, R_eb))
        if s.zero is not None:
            out.append(self._angles(block, R_eb, rate_b, fit_sd, s.zero))
        return out

    def _zeroing(self, block: AlignedBlock, R_eb: Floats) -> list[Zeroed]:
        """Zero on request, when the player first stands still, and at every address; from the block's last step."""
        s = self._state
        if not block.ok[-1].all():
            return []
        t_s = float(block.t_s[-1])
        reason, s.asked = s.asked, None
        forward_tilt = (
            float(pelvis.angles(R_eb[-1, block.segments.index(Segment.PELVIS)])[2]) * pelvis.signs(self._hand)[2]
        )
        s.rose |= forward_tilt < UPRIGHT_TILT_RAD
        if reason is None and block.rest[-1].all() and np.abs(block.gyr_rad_s[-1]).max() < STILL_RAD_S:
            reason = self._still_reason(block, R_eb[-1], t_s, forward_tilt)
        if reason is None:
            return []
        poses = dict(zip(block.segments, R_eb[-1], strict=True))
        spreads = dict(zip(block.segments, block.heading_sd_rad[-1].tolist(), strict=True))
        s.zero = zero_at(poses, spreads, t_s)
        s.rose = s.rose and reason != "address"
        return [Zeroed(t_s, reason)]

    def _still_reason(self, block: AlignedBlock, R_eb: Floats, t_s: float, forward_tilt: float) -> str | None:
        s = self._state
        if s.zero is None:
            return "stillness"
        if t_s - s.zero.t_s < AGAIN_S:
            return None
        at = block.segments.index
        P = R_eb[at(Segment.PELVIS)]
        turn = float(pelvis.angles(about_vertical(-s.zero.pelvis_rad) @ P)[0])
        if not s.rose and abs(turn) > SAME_ADDRESS_RAD:
            return None  # still bent over the same ball but turned: a slow top of the backswing, not a new address
        thighs = [
            jcs.angles(P.T @ about_vertical(s.zero.of[one]) @ R_eb[at(one)])[0]
            for one in (Segment.LEFT_THIGH, Segment.RIGHT_THIGH)
            if one in block.segments
        ]
        return "address" if is_address(forward_tilt, np.array(thighs)) else None

    def _angles(self, block: AlignedBlock, R_eb: Floats, rate_b: Floats, fit_sd: Floats, zero: Zero) -> Angles:
        at = {segment: i for i, segment in enumerate(block.segments)}
        since = np.stack([block.heading_sd_rad[:, i] - zero.heading_sd_rad[one] for one, i in at.items()], axis=1)
        tilt_sd = np.hypot(block.inclination_sd_rad, fit_sd)
        view = _View(block, at, R_eb, rate_b, tilt_sd, np.maximum(since, 0.0), zero)
        joints = [
            _joint(view, name, side, proximal, distal)
            for name, side, proximal, distal in _JOINTS
            if proximal in at and distal in at
        ]
        return Angles(block.t_s, _pelvis(view, self._hand), tuple(joints))


_JOINTS = tuple(
    joint
    for side in Side
    for joint in (
        ("hip", side, Segment.PELVIS, Segment.thigh(side)),
        ("knee", side, Segment.thigh(side), Segment.shank(side)),
    )
)


@dataclass(frozen=True, slots=True)
class _View:
    """One block, ready for the joints."""

    block: AlignedBlock
    at: Mapping[Segment, int]
    R_eb: Floats
    rate_b: Floats
    tilt_sd: Floats
    """(N, S) tilt and fitting together."""
    heading_sd: Floats
    """(N, S) grown since the zero."""
    zero: Zero

    def pose(self, segment: Segment) -> Floats:
        """(N, 3, 3) segment→earth, turned into the pelvis' earth."""
        R = self.R_eb[:, self.at[segment]]
        turn = self.zero.of.get(segment, 0.0)
        return about_vertical(turn) @ R if turn else R


def _joint(view: _View, name: str, side: Side, proximal: Segment, distal: Segment) -> JointAngles:
    p, d = view.at[proximal], view.at[distal]
    P, D = view.pose(proximal), view.pose(distal)
    R = np.swapaxes(P, 1, 2) @ D
    raw = jcs.angles(R)
    J = jcs.rate_matrix(raw, R)
    relative = np.einsum("nij,nj->ni", R, view.rate_b[:, d]) - view.rate_b[:, p]
    rate = np.einsum("nij,nj->ni", J, relative)
    tilt = np.hypot(view.tilt_sd[:, p], view.tilt_sd[:, d])
    heading = np.hypot(view.heading_sd[:, p], view.heading_sd[:, d])
    sd = _propagated(J, P[:, 2, :], tilt, heading)
    ok = view.block.ok[:, p] & view.block.ok[:, d] & np.isfinite(raw).all(axis=1)
    sign = jcs.signs(name, side)
    return JointAngles(
        name,
        side,
        view.block.t_s,
        frozen(np.where(ok[:, None], raw * sign, np.nan)),
        frozen(np.where(ok[:, None], rate * sign, np.nan)),
        frozen(sd),
        frozen(ok, np.bool_),
    )


def _propagated(J: Floats, vertical: Floats, tilt_sd: Floats, heading_sd: Floats) -> Floats:
    """(N, 3) standard deviations of three angles whose Jacobian is J.

    The orientation error is `tilt_sd` about every axis and `heading_sd` about the vertical, which is given in the
    coordinates that J takes.
    """
    along = np.einsum("nij,nj->ni", J, vertical)
    variance = np.sum(J**2, axis=2) * tilt_sd[:, None] ** 2 + along**2 * heading_sd[:, None] ** 2
    out: Floats = np.sqrt(variance)
    return out


def _pelvis(view: _View, hand: Hand) -> PelvisAngles:
    i = view.at[Segment.PELVIS]
    R = about_vertical(-view.zero.pelvis_rad) @ view.R_eb[:, i]
    raw = pelvis.angles(R)
    J = pelvis.rate_matrix(raw)
    rate = np.einsum("nij,nj->ni", J, view.rate_b[:, i])
    sd = _propagated(J, R[:, 2, :], view.tilt_sd[:, i], view.heading_sd[:, i])
    ok = view.block.ok[:, i]
    sign = pelvis.signs(hand)
    return PelvisAngles(
        view.block.t_s,
        frozen(np.where(ok[:, None], raw * sign, np.nan)),
        frozen(np.where(ok[:, None], rate * sign, np.nan)),
        frozen(sd),
        frozen(ok, np.bool_),
    )


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
                Segment(one["segment"]), frozen(one["q_sb"]), Level(one["level"]), float(one["sd_rad"]), one["reason"]
            )
            for one in args["segments"]
        ),
    )
