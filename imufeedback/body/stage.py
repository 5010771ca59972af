"""Aligned orientations to angles of the body."""

from __future__ import annotations

import copy
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field
from typing import Any

import numpy as np

from imufeedback.body import jcs, pelvis
from imufeedback.body.fitting import FitImpossible, fit
from imufeedback.body.history import History
from imufeedback.body.links import Links, Relative
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
        self._state.fit, self._state.zero = fitted, None
        self._links.reset()
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
        q_sb = s.mounting[0]
        relative = self._links.feed(block, q_sb)
        R_eb = from_q(block.q_es) @ q_sb
        zeroed = self._zeroing(block, R_eb, relative)
        if zeroed and not relative:  # the joints begin with this block
            relative = self._links.feed(block, q_sb)
        if s.zero is None:
            return []
        return [*zeroed, self._angles(block, R_eb, relative)]

    def _zeroing(self, block: AlignedBlock, R_eb: Floats, relative: list[Relative]) -> list[Zeroed]:
        """Zero on request, when the player first stands still, and at every address; from the block's last step."""
        s = self._state
        # the joints begin with the first sample of their first block, so that one has to be whole
        if not (block.ok if s.zero is None else block.ok[-1]).all() or s.mounting is None:
            return []
        t_s = float(block.t_s[-1])
        reason, s.asked = s.asked, None
        at = block.segments.index
        P = R_eb[-1, at(Segment.PELVIS)]
        forward_tilt = float(pelvis.angles(P)[2]) * float(pelvis.signs(self._hand)[2])
        s.rose |= forward_tilt < UPRIGHT_TILT_RAD
        if reason is None and block.rest[-1].all() and np.abs(block.gyr_rad_s[-1]).max() < STILL_RAD_S:
            reason = self._still_reason(P, relative, t_s, forward_tilt)
        if reason is None:
            return []
        poses = dict(zip(block.segments, R_eb[-1], strict=True))
        s.zero = zero_at(poses, float(block.heading_sd_rad[-1, at(Segment.PELVIS)]), t_s)
        self._links.zero(block, s.zero.of, s.mounting[0])
        s.rose = s.rose and reason != "address"
        return [Zeroed(t_s, reason)]

    def _still_reason(self, P: Floats, relative: list[Relative], t_s: float, forward_tilt: float) -> str | None:
        s = self._state
        if s.zero is None:
            return "stillness"
        if t_s - s.zero.t_s < AGAIN_S:
            return None
        turn = float(pelvis.angles(about_vertical(-s.zero.pelvis_rad) @ P)[0])
        if not s.rose and abs(turn) > SAME_ADDRESS_RAD:
            return None  # still bent over the same ball but turned: a slow top of the backswing, not a new address
        thighs = [float(jcs.angles(self._in_segments(one)[-1])[0]) for one in relative if one.joint.name == "hip"]
        return "address" if is_address(forward_tilt, np.array(thighs)) else None

    def _in_segments(self, one: Relative) -> Floats:
        """(N, 3, 3) distal segment → proximal segment of one joint."""
        assert self._state.mounting is not None
        q_sb = self._state.mounting[0]
        at = self._segments.index
        R: Floats = q_sb[at(one.joint.proximal)].T @ one.R @ q_sb[at(one.joint.distal)]
        return R

    def _angles(self, block: AlignedBlock, R_eb: Floats, relative: list[Relative]) -> Angles:
        s = self._state
        assert s.mounting is not None
        assert s.zero is not None
        q_sb, fit_sd = s.mounting
        rate_b = np.einsum("sji,nsj->nsi", q_sb, block.gyr_rad_s)
        joints = [self._joint(block, one, rate_b, fit_sd) for one in relative]
        i = block.segments.index(Segment.PELVIS)
        return Angles(
            block.t_s, _pelvis(block, i, R_eb[:, i], rate_b[:, i], float(fit_sd[i]), s.zero, self._hand), tuple(joints)
        )

    def _joint(self, block: AlignedBlock, one: Relative, rate_b: Floats, fit_sd: Floats) -> JointAngles:
        assert self._state.mounting is not None
        p, d = block.segments.index(one.joint.proximal), block.segments.index(one.joint.distal)
        R = self._in_segments(one)
        raw = jcs.angles(R)
        J = jcs.rate_matrix(raw, R)
        rate = np.einsum("nij,nj->ni", J, np.einsum("nij,nj->ni", R, rate_b[:, d]) - rate_b[:, p])
        to_segment = self._state.mounting[0][p].T
        spread = to_segment @ one.covariance @ to_segment.T + (fit_sd[p] ** 2 + fit_sd[d] ** 2) * np.eye(3)
        sd = np.sqrt(np.einsum("nij,njk,nik->ni", J, spread, J))
        ok = block.ok[:, p] & block.ok[:, d] & np.isfinite(raw).all(axis=1)
        sign = jcs.signs(one.joint.name, one.joint.side)
        unknown = ~ok[:, None]
        return JointAngles(
            one.joint.name,
            one.joint.side,
            block.t_s,
            frozen(np.where(unknown, np.nan, raw * sign)),
            frozen(np.where(unknown, np.nan, rate * sign)),
            frozen(sd),
            frozen(ok, np.bool_),
        )


def _pelvis(
    block: AlignedBlock, i: int, R_eb: Floats, rate_b: Floats, fit_sd: float, zero: Zero, hand: Hand
) -> PelvisAngles:
    R = about_vertical(-zero.pelvis_rad) @ R_eb
    raw = pelvis.angles(R)
    J = pelvis.rate_matrix(raw)
    rate = np.einsum("nij,nj->ni", J, rate_b)
    heading_sd = np.maximum(block.heading_sd_rad[:, i] - zero.heading_sd_rad, 0.0)
    sd = _propagated(J, R[:, 2, :], np.hypot(block.inclination_sd_rad[:, i], fit_sd), heading_sd)
    ok = block.ok[:, i]
    sign = pelvis.signs(hand)
    return PelvisAngles(
        block.t_s,
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
                frozen(one["q_sb"]),
                Level(one["level"]),
                float(one["sd_rad"]),
                one["reason"],
                frozen(one.get("acc_bias_m_s2", (0.0, 0.0, 0.0))),
            )
            for one in args["segments"]
        ),
    )
