"""The joints of the body, each held by its `Link`: relative orientation of neighbouring sensors, sample by sample."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field
from itertools import pairwise

import numpy as np

from imufeedback.body import jcs
from imufeedback.body.link import UPDATE_S, Link, sight
from imufeedback.body.matrices import about_vertical, from_q
from imufeedback.body.strapdown import UNIT, Quaternion, advanced
from imufeedback.records import AlignedBlock, Bools, Floats, Segment, Side


@dataclass(frozen=True, slots=True)
class Joint:
    """Two neighbouring segments."""

    name: str
    side: Side
    proximal: Segment
    distal: Segment
    arms_m: tuple[tuple[float, float, float], tuple[float, float, float]]
    """Usual place of the joint centre, from the proximal and the distal sensor, in segment coordinates."""


def _joints() -> tuple[Joint, ...]:
    out = []
    for side in Side:
        z = 1.0 if side is Side.RIGHT else -1.0
        out += [
            # sensor on the sacrum, sensor outside on mid-thigh; a person of 1.75 m, from memory
            Joint("hip", side, Segment.PELVIS, Segment.thigh(side), ((0.11, -0.06, 0.085 * z), (0.0, 0.20, -0.07 * z))),
            Joint(
                "knee", side, Segment.thigh(side), Segment.shank(side), ((0.0, -0.20, -0.07 * z), (-0.04, 0.18, 0.0))
            ),
        ]
    return tuple(out)


JOINTS = _joints()
ARM_SD_M = 0.04
BEGIN_TILT_SD_RAD = np.deg2rad(1.0)
BEGIN_HEADING_SD_RAD = np.deg2rad(0.7)
"""Of the zeroing pose itself."""
BEGIN_SD_RAD = (BEGIN_TILT_SD_RAD, BEGIN_HEADING_SD_RAD)
GAP_SD_RAD_S = np.deg2rad(35.0)
"""Growth of the error about every axis over a stretch without samples: the turn made meanwhile is a guess. A straight
line across 0.3 s of a full downswing misses 11 degrees."""
CLIPPED_SD_RAD = np.deg2rad(1.2)
"""Per clipped sample: at 200 Hz a rate that overshoots ±2000 °/s by an eighth loses so much turn."""


@dataclass
class _One:
    """State of one joint."""

    link: Link
    relative: Floats
    """(3, 3) last known distal→proximal orientation of the sensors."""
    offset_rad: float = 0.0
    """Heading of the distal sensor's earth in the proximal sensor's, when the joint last was whole."""
    lost_s: float | None = None


@dataclass
class _State:
    S: dict[Segment, Quaternion] = field(default_factory=dict)
    joints: dict[int, _One] = field(default_factory=dict)
    """By index into `JOINTS`."""
    rows: list[tuple[Floats, Floats, Floats]] = field(default_factory=list)
    """(S (N, S, 3, 3), acc, rate) that wait for the joints' next update."""
    waiting: int = 0
    last_rate: Floats | None = None
    """(S, 3) rates at the end of the block before."""
    present: tuple[bool, ...] = ()
    """Which sensors were there."""
    last_s: float = 0.0
    last_q_es: Floats | None = None
    """(S, 4) orientation of the sensors at `last_s`."""


@dataclass(frozen=True, slots=True)
class Relative:
    """One joint over one block."""

    joint: Joint
    R: Floats
    """(N, 3, 3) distal sensor to proximal sensor."""
    covariance: Floats
    """(N, 3, 3) of its error as a rotation vector in the proximal sensor's coordinates."""


class Links:
    """All joints between worn segments. Starts with `begin` at the first zeroing; `state` is its whole memory."""

    def __init__(
        self,
        segments: Sequence[Segment],
        *,
        grid_hz: float,
        joints: Sequence[Joint] = JOINTS,
        arm_sd_m: float = ARM_SD_M,
    ) -> None:
        self._arm_sd_m = arm_sd_m
        self._at = {segment: i for i, segment in enumerate(segments)}
        self._step_s = 1.0 / grid_hz
        self._all = (True,) * len(self._at)
        self.state = _State()
        self._worn = [(k, j) for k, j in enumerate(joints) if j.proximal in self._at and j.distal in self._at]

    def reset(self) -> None:
        """Forget everything: a new fitting."""
        self.state = _State()

    def zero(self, block: AlignedBlock, headings_rad: Mapping[Segment, float], q_sb: Floats) -> None:
        """Set every joint's heading at the block's last step.

        The distal segment is turned about the vertical until the joint's rotation is zero. `q_sb` (S, 3, 3)
        segment→sensor. A joint that is not held yet begins with this block, which is to be whole and to be fed then,
        from `headings_rad`: the turn of each sensor's earth, about the vertical, into the pelvis sensor's.
        """
        for k, joint in self._worn:
            p, d = self._at[joint.proximal], self._at[joint.distal]
            one = self.state.joints.get(k)
            if one is None:
                heading = headings_rad[joint.distal] - headings_rad.get(joint.proximal, 0.0)
                # no sensor has moved yet in its gyroscope frame: the block is fed after this
                self._begin(k, joint, from_q(block.q_es[0, [p, d]]), _UNTURNED, heading, BEGIN_SD_RAD, q_sb)
                continue
            earth = from_q(block.q_es[-1, [p, d]])
            above = earth[0] @ q_sb[p]
            turn = jcs.rotation_free_heading(above, above @ q_sb[p].T @ one.relative @ q_sb[d])
            S = from_q(np.array(self.state.S[joint.proximal]))
            up = S @ earth[0][2]  # earth's z in the proximal sensor, in its gyroscope frame
            one.link.set_heading(turn, up, BEGIN_HEADING_SD_RAD)
            one.relative = S.T @ one.link.D @ from_q(np.array(self.state.S[joint.distal]))

    def _begin(
        self, k: int, joint: Joint, earth: Floats, S: Floats, heading: float, sd_rad: tuple[float, float], q_sb: Floats
    ) -> None:
        """`earth` and `S` (2, 3, 3): both sensors to earth and to their gyroscope frames at one instant. `sd_rad`: of
        the tilt, of the heading."""
        s = self.state
        p, d = self._at[joint.proximal], self._at[joint.distal]
        relative = earth[0].T @ about_vertical(heading) @ earth[1]
        up = S[0] @ earth[0][2]
        root = sd_rad[0] * np.eye(3) + (sd_rad[1] - sd_rad[0]) * np.outer(up, up)
        arms = np.concatenate([q_sb[i] @ np.array(arm) for i, arm in zip((p, d), joint.arms_m, strict=True)])
        old = s.joints.get(k)
        link = Link.begun(S[0] @ relative @ S[1].T, root, arms, np.full(6, self._arm_sd_m))
        if old is not None:  # the arms are the body's and the strap's: what was learnt stays
            link.arms_m, link.P[3:, 3:] = old.link.arms_m, old.link.P[3:, 3:]
        s.joints[k] = _One(link, relative)

    def feed(self, block: AlignedBlock, q_sb: Floats) -> list[Relative]:
        """Carry all joints through one block; nothing before the first `zero`.

        Where a sensor is missing its own joints are NaN, and begin again when it is back.
        """
        if not self.state.joints:
            return []
        # a longer stretch would be one update, and all of it be told before that
        most = max(round(UPDATE_S / self._step_s), 1)
        if block.ok.all() and len(block.t_s) <= most:
            return self._run(block, self._all, q_sb)
        runs = _runs(block.ok, most)
        parts = [self._run(_cut(block, a, b), tuple(block.ok[a].tolist()), q_sb) for a, b in runs]
        return [
            Relative(
                many[0].joint,
                np.concatenate([one.R for one in many]),
                np.concatenate([one.covariance for one in many]),
            )
            for many in zip(*parts, strict=True)
        ]

    def _run(self, block: AlignedBlock, present: tuple[bool, ...], q_sb: Floats) -> list[Relative]:
        """A stretch in which always the same sensors are there."""
        s = self.state
        if present != s.present:
            s.rows, s.waiting, s.present = [], 0, present
        for segment, i in self._at.items():
            if not present[i]:
                s.S.pop(segment, None)
        whole = {k: present[self._at[j.proximal]] and present[self._at[j.distal]] for k, j in self._worn}
        for k, joint in self._worn:
            if not whole[k]:
                self._break(k, joint)
        S = self._advance(block, present)
        for k, joint in self._worn:
            if whole[k] and s.joints[k].lost_s is not None:
                self._mend(k, joint, block, S[0], q_sb)
        out = [
            self._relative(k, joint, block, S) if whole[k] else self._unknown(joint, block) for k, joint in self._worn
        ]
        self._collect(block, S, whole)
        return out

    def _relative(self, k: int, joint: Joint, block: AlignedBlock, S: Floats) -> Relative:
        p, d = self._at[joint.proximal], self._at[joint.distal]
        one = self.state.joints[k]
        clipped = float(np.count_nonzero(block.saturated[:, [p, d]]))
        if clipped:
            one.link.P[np.arange(3), np.arange(3)] += (CLIPPED_SD_RAD * clipped) ** 2
        R = np.swapaxes(S[:, p], 1, 2) @ one.link.D @ S[:, d]
        one.relative = R[-1]
        covariance = S[-1, p].T @ one.link.P[:3, :3] @ S[-1, p]
        return Relative(joint, R, np.broadcast_to(covariance, R.shape))

    @staticmethod
    def _unknown(joint: Joint, block: AlignedBlock) -> Relative:
        nothing = np.full((len(block.t_s), 3, 3), np.nan)
        return Relative(joint, nothing, nothing)

    def _advance(self, block: AlignedBlock, present: tuple[bool, ...]) -> Floats:
        """(N, S, 3, 3) gyroscope-frame orientation of every sensor at every step; NaN for one that is missing."""
        s = self.state
        q = np.full((len(block.t_s), len(self._at), 4), np.nan)
        for segment, i in self._at.items():
            if present[i]:
                rates = block.gyr_rad_s[:, i].tolist()
                if segment in s.S and s.last_rate is not None:
                    steps = advanced(s.S[segment], rates, s.last_rate[i].tolist(), self._step_s)
                else:  # a gyroscope frame begins at its first sample
                    steps = [UNIT, *advanced(UNIT, rates[1:], rates[0], self._step_s)]
                q[:, i] = steps
                s.S[segment] = steps[-1]
        s.last_rate, s.last_s, s.last_q_es = block.gyr_rad_s[-1], float(block.t_s[-1]), block.q_es[-1]
        return from_q(q)

    def _collect(self, block: AlignedBlock, S: Floats, whole: Mapping[int, bool]) -> None:
        """Keep the rows until there are enough for an update of the joints, then update."""
        s = self.state
        # one memory layout whatever the block's own is: sums in another order would differ in the last bit
        s.rows.append((S, np.ascontiguousarray(block.acc_m_s2), np.ascontiguousarray(block.gyr_rad_s)))
        s.waiting += len(S)
        if (s.waiting - 2) * self._step_s < UPDATE_S - 1e-9:
            return
        S, acc, rate = (np.concatenate(column) for column in zip(*s.rows, strict=True))
        # the spin of a sample needs its neighbours: first and last wait for the next round
        inner = slice(1, -1)
        n = len(rate) - 2
        views = [
            sight(S[inner, i], acc[inner, i], rate[inner, i], rate[:-2, i], rate[2:, i], self._step_s)
            for i in range(len(self._at))
        ]
        for k, joint in self._worn:
            if whole[k]:
                one, two = views[self._at[joint.proximal]], views[self._at[joint.distal]]
                s.joints[k].link.observe(one, two, n * self._step_s)
        s.rows = [(S[-2:].copy(), acc[-2:].copy(), rate[-2:].copy())]
        s.waiting = 2

    # ── gaps ─────────────────────────────────────────────────────────────────────────────────────────────────────

    def _break(self, k: int, joint: Joint) -> None:
        """A sensor of the joint is missing: remember how the two earths stood."""
        s, one = self.state, self.state.joints[k]
        if one.lost_s is None:
            one.lost_s = s.last_s
            if s.last_q_es is not None:
                earth = from_q(s.last_q_es[[self._at[joint.proximal], self._at[joint.distal]]])
                one.offset_rad = _heading(earth[0] @ one.relative @ earth[1].T)

    def _mend(self, k: int, joint: Joint, block: AlignedBlock, S: Floats, q_sb: Floats) -> None:
        """Both are back: begin again from the tilt of both sensors and the heading that they had."""
        one = self.state.joints[k]
        assert one.lost_s is not None
        both = [self._at[joint.proximal], self._at[joint.distal]]
        earth = from_q(block.q_es[0, both])
        gap_s = float(block.t_s[0]) - one.lost_s
        sd = float(np.sqrt(np.trace(one.link.P[:3, :3]) / 3.0)) + GAP_SD_RAD_S * gap_s
        self._begin(k, joint, earth, S[both], one.offset_rad, (BEGIN_TILT_SD_RAD + GAP_SD_RAD_S * gap_s, sd), q_sb)


def _heading(Z: Floats) -> float:
    """Turn about the vertical that comes closest to a rotation between two earths."""
    return float(np.arctan2(Z[1, 0] - Z[0, 1], Z[0, 0] + Z[1, 1]))


def _runs(ok: Bools, most: int) -> list[tuple[int, int]]:
    """(begin, end) of stretches of at most so many steps in which the same sensors are there; `ok` (N, S)."""
    edges = [0, *(np.flatnonzero((ok[1:] != ok[:-1]).any(axis=1)) + 1).tolist(), len(ok)]
    return [(a, min(a + most, end)) for begin, end in pairwise(edges) for a in range(begin, end, most)]


def _cut(block: AlignedBlock, begin: int, end: int) -> AlignedBlock:
    rows = slice(begin, end)
    return AlignedBlock(
        block.segments,
        block.t_s[rows],
        block.q_es[rows],
        block.gyr_rad_s[rows],
        block.acc_m_s2[rows],
        block.rest[rows],
        block.inclination_sd_rad[rows],
        block.heading_sd_rad[rows],
        block.ok[rows],
        block.saturated[rows],
    )


_UNTURNED = np.stack((np.eye(3), np.eye(3)))
