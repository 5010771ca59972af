"""The joints of the body, each held by its `JointFilters`: relative orientation of neighbouring segments, step by step.

Everything that changes a joint does so at steps of the grid and not at the edges of blocks, so that blocks of any size
tell the same: the constraint is used every `UPDATE_STEPS` steps, counted from the session's start.
"""

from __future__ import annotations

import copy
from bisect import bisect_left
from collections.abc import Callable, Iterator, Mapping, Sequence
from dataclasses import dataclass, field
from functools import cached_property
from itertools import pairwise
from typing import Any

import numpy as np
import numpy.typing as npt

from imufeedback.body import jcs, recovery
from imufeedback.body.ahead import Ahead
from imufeedback.body.joints import JOINTS, Joint
from imufeedback.body.link import Doubts, JointFilters, Sight, sight
from imufeedback.body.matrices import about_vertical, every, from_q, some
from imufeedback.body.strapdown import Strapdown
from imufeedback.records import AlignedBlock, Bools, Floats, Ints, Segment

UPDATE_S = 0.04
"""Samples are summed over this long before an update."""
ARM_SD_M = 0.04
GYR_MATRIX_SD = 0.01
"""Scale and cross-axis errors of consumer gyroscopes (from memory): a turn is wrong by so much of itself, about every
axis, until it is turned back."""
BEGIN_TILT_SD_RAD = np.deg2rad(0.7)
BEGIN_HEADING_SD_RAD = np.deg2rad(0.35)
"""Of the zeroing pose itself."""
BEGIN_SD_RAD = (BEGIN_TILT_SD_RAD, BEGIN_HEADING_SD_RAD)
SURE_HEADING_RAD = np.deg2rad(5.0)
"""What a zero turns a joint whose heading was known worse tells nothing of its straps."""

Rows = tuple[Floats, ...]
"""Of one block: (N, S, 3, 3) gyroscope-frame orientation, (N, S, 3) specific force, (N, S, 3) rate."""


Held = tuple[Floats, JointFilters, Bools]


@dataclass
class _State:
    link: JointFilters
    begun: Bools
    """(J,)"""
    S: Floats
    """(S, 3, 3) each sensor in its gyroscope frame at the last step."""
    S_zero: Floats
    """(S, 3, 3) the same when the joints' headings were set last."""
    since: list[int | None]
    """Grid step from which each sensor has been there without a break."""
    offset_rad: Floats
    """(J,) heading of the distal sensor's earth in the proximal sensor's, when the joint last was whole."""
    held_sd_rad: Floats
    """(J,) how well that was known."""
    lost: Bools
    """(J,) one of the joint's sensors is away, or its gyroscope is beyond its range."""
    waiting: Bools
    """(J,) it begins again at every update, until both sensors know "up" well."""
    away: Bools
    """(J,) it was away since the joint last was whole."""
    lost_rad: Floats
    """(S,) turn that each sensor may have lost since the joint last was whole."""
    heading_sd_rad: Floats
    """(S,) of each sensor when it was last there; NaN before."""
    clipped: Floats
    """(J,) variance that clipped samples without a pause have added so far."""
    clean: list[int]
    """Grid step after each sensor's last clipped sample."""
    rows: list[Rows] = field(default_factory=list)
    """The last blocks, as far as the next update needs them."""
    rate: Floats | None = None
    """(S, 3) at the last step."""
    q_es: Floats | None = None
    """(S, 4) at the last step."""


@dataclass(frozen=True, slots=True)
class Relative:
    """The worn joints over one block."""

    joints: tuple[Joint, ...]
    R: Floats
    """(J, N, 3, 3) distal segment to proximal segment; NaN where not known."""
    begins: Ints
    """(M,) steps from which on a covariance holds, until the next; before the first, the last one of the block before.
    """
    since_zero: Floats
    """(S, M, 3, 3) by how much each segment has turned since the joints' headings were set, at the steps `begins`:
    takes coordinates in the segment then to coordinates in the segment now."""
    covariance: Floats
    """(J, M, 3, 3) of the error of R as a rotation vector in the proximal segment's coordinates, at the steps `begins`.
    """
    level: Floats
    """(J, M) by how much the forces' residuals were larger than of a rigid body, as variance, at the steps `begins`."""

    def part(self, rows: slice) -> Relative:
        """Over some steps of the block only."""
        if rows == slice(0, self.R.shape[1]):
            return self
        begins = self.begins.tolist()
        first, end = bisect_left(begins, rows.start), bisect_left(begins, rows.stop)
        at = slice(first, end)
        return Relative(
            self.joints,
            self.R[:, rows],
            self.begins[at] - rows.start,
            self.since_zero[:, at],
            self.covariance[:, at],
            self.level[:, at],
        )


@dataclass(frozen=True, slots=True)
class Piece:
    """The joints from each of some steps of a block on."""

    steps: range
    D: Floats
    """(M, J, 3, 3)"""
    P: Floats
    """(M, J, 9, 9)"""
    level: Floats
    """(M, J)"""
    S_zero: Floats
    """(S, 3, 3), all the while"""

    def without_last(self) -> Piece:
        return Piece(self.steps[:-1], self.D[:-1], self.P[:-1], self.level[:-1], self.S_zero)


class Links:
    """All joints between worn segments; `state` is the whole memory. A joint begins with its first `Run.zero`."""

    def __init__(
        self,
        segments: Sequence[Segment],
        *,
        grid_hz: float,
        joints: Sequence[Joint] = JOINTS,
        arm_sd_m: float = ARM_SD_M,
        gyr_matrix_sd: float = GYR_MATRIX_SD,
    ) -> None:
        at = {segment: i for i, segment in enumerate(segments)}
        self.joints = tuple(j for j in joints if j.proximal in at and j.distal in at)
        self.proximal = np.array([at[j.proximal] for j in self.joints], dtype=np.intp)
        self.distal = np.array([at[j.distal] for j in self.joints], dtype=np.intp)
        self.ends = [(at[j.proximal], at[j.distal]) for j in self.joints]
        self.hips = np.array([k for k, j in enumerate(self.joints) if j.name == "hip"], dtype=np.intp)
        self.arm_sd_m = arm_sd_m
        self.gyr_matrix_sd = gyr_matrix_sd
        self.grid_hz = grid_hz
        self.update_steps = max(round(UPDATE_S * grid_hz), 1)
        self.strapdown = Strapdown(1.0 / grid_hz)
        self._sensors = len(at)
        self.reset()

    def reset(self) -> None:
        """Forget everything: a new calibration."""
        J = len(self.joints)
        nothing = np.zeros((J, 3, 3)), np.zeros((J, 3, 3)), np.zeros((J, 6)), np.zeros((J, 6))
        self._state = _State(
            link=JointFilters.begun(*nothing),
            begun=np.zeros(J, dtype=bool),
            S=np.tile(np.eye(3), (self._sensors, 1, 1)),
            S_zero=np.tile(np.eye(3), (self._sensors, 1, 1)),
            since=[None] * self._sensors,
            offset_rad=np.zeros(J),
            held_sd_rad=np.zeros(J),
            lost=np.zeros(J, dtype=bool),
            waiting=np.zeros(J, dtype=bool),
            away=np.zeros(J, dtype=bool),
            lost_rad=np.zeros(self._sensors),
            heading_sd_rad=np.full(self._sensors, np.nan),
            clipped=np.zeros(J),
            clean=[0] * self._sensors,
        )

    @property
    def state(self) -> _State:
        return copy.deepcopy(self._state)

    @state.setter
    def state(self, value: _State) -> None:
        self._state = copy.deepcopy(value)

    def held(self) -> Held:
        """What a zero changes; `put_back` undoes it."""
        s = self._state
        return s.S_zero, s.link.kept(), s.begun

    def put_back(self, held: Held) -> None:
        """The joints' rotations as they were held. A gyroscope frame goes on meanwhile, so only what the joints have
        learnt since is lost."""
        s = self._state
        s.S_zero, link, s.begun = held
        s.link = link.kept()

    def run(self, block: AlignedBlock, q_sb: Floats) -> Run:
        """Carry the joints through one block; `q_sb` (S, 3, 3) segment→sensor. Go through the run's `checks`, then
        take its `relative`."""
        return Run(self, self._state, block, q_sb)


class Run:
    """One block in progress."""

    def __init__(self, links: Links, state: _State, block: AlignedBlock, q_sb: Floats) -> None:
        self._links, self._state, self._block, self._q_sb = links, state, block, q_sb
        self._first = round(float(block.t_s[0]) * links.grid_hz)
        self._before = (state.S, state.q_es)
        self._all_ok = every(block.ok)
        self._integrate()
        self.boundaries = range(-self._first % links.update_steps, len(block.t_s), links.update_steps)
        """Steps before which a window ends."""
        self._span_s = links.update_steps / links.grid_hz
        self._sights = self._looked() if len(self.boundaries) else None
        self._ahead = None if self._sights is None else Ahead(*self._sights, self._span_s)
        self._D = state.link.D
        """Before the first piece."""
        self._pieces: list[Piece] = []
        self.doubts: Doubts = ()
        """Of the last update: which joints' tilt contradicted gravity, and by how much (rad)."""

    def _integrate(self) -> None:
        s, block = self._state, self._block
        rate, acc = block.gyr_rad_s, block.acc_m_s2
        if not self._all_ok:
            there = block.ok[..., None]
            rate, acc = np.where(there, rate, 0.0), np.where(there, acc, 0.0)
        before = -rate[0] if s.rate is None else s.rate  # a gyroscope frame begins at its first sample
        self.S = self._links.strapdown.turned(rate, before, s.S)
        s.S, s.rate, s.q_es = self.S[:, -1], rate[-1], block.q_es[-1]
        if not s.rows:  # before the first step: not used
            least = self._links.update_steps + 1
            s.rows.append(tuple(np.repeat(one[:1], least, axis=0) for one in (self.S.swapaxes(0, 1), acc, rate)))
        s.rows.append((self.S.swapaxes(0, 1), acc, rate))

    def _looked(self) -> tuple[Sight, Sight]:
        """What the joints' two sides saw in the windows that end before each boundary; leading axes (J, boundary)."""
        s, links, block, steps = self._state, self._links, self._block, self.boundaries
        rows = [np.concatenate(column) for column in zip(*s.rows, strict=True)]
        end = len(rows[0]) - len(block.t_s) + steps[-1] + 1
        S, acc, rate = (one[end - len(steps) * links.update_steps - 2 : end].swapaxes(0, 1) for one in rows)
        at = slice(steps.start, steps.stop, steps.step)
        up = from_q(block.q_es[at])[..., 2, :].swapaxes(0, 1)
        up = (self.S[:, at] @ up[..., None])[..., 0]
        seen = sight(S, acc, rate, up, block.inclination_sd_rad[at].T, 1.0 / links.grid_hz)
        s.rows = [tuple(one[-links.update_steps - 2 :] for one in rows)]
        return seen.of(links.proximal), seen.of(links.distal)

    # ── events ───────────────────────────────────────────────────────────────────────────────────────────────────

    def checks(self, wanted: Callable[[int], bool] = lambda _: True) -> Iterator[int]:
        """Go through the block's events; yields the steps at which the joints have just been updated: those of the
        `boundaries` whose number is `wanted`, and those with `doubts`. It is asked again after each."""
        clipped, jumps = self._block.saturated & self._block.ok, self._jumps()
        done = 0
        for i in self._busy(clipped, jumps):
            before = len(range(self.boundaries.start, i, self.boundaries.step))
            yield from self._updated(done, before, wanted)
            self._presence(i)
            self._clip(i, clipped[i])
            self._whole(i, jumps if jumps is _NO_JUMPS else jumps[i])
            done = before
            if i in self.boundaries:
                done += 1
                yield from self._updated(before, done, wanted)
        yield from self._updated(done, len(self.boundaries), wanted)

    def _busy(self, clipped: Bools, jumps: Floats) -> list[int]:
        """Steps at which something but an update may change the joints: those where a sensor is away or loses turn,
        and those after them."""
        s = self._state
        begins = None in s.since or some(s.lost) or any(s.clipped.tolist())
        if not begins and self._all_ok and jumps is _NO_JUMPS and not some(clipped):
            return []
        losing: Bools = np.any(clipped | (jumps > 0.0) | ~self._block.ok, axis=1)
        out: list[int] = np.flatnonzero(losing | np.append(begins, losing[:-1])).tolist()
        return out

    def _jumps(self) -> Floats:
        """(N, S) turn that each sensor may have lost just before each step; 0 where it is away. `_NO_JUMPS` where none
        lost any."""
        s, block = self._state, self._block
        sd = np.concatenate((s.heading_sd_rad[None], block.heading_sd_rad))
        if self._all_ok and every(sd[1:] - sd[:-1] <= recovery.JUMP_RAD):  # never where one is unknown
            s.heading_sd_rad = sd[-1]
            return _NO_JUMPS
        there = np.isfinite(sd)
        there[1:] &= block.ok
        if not there.all():  # across a gap: from what it was before
            last = np.maximum.accumulate(np.where(there, np.arange(len(sd))[:, None], 0), axis=0)
            sd = np.take_along_axis(sd, last, axis=0)
        s.heading_sd_rad = sd[-1]
        grown = np.diff(sd, axis=0)
        return np.where(grown > recovery.JUMP_RAD, grown, 0.0)  # nothing is above it before a sensor's first sample

    def _note(self, i: int) -> None:
        """From step i on the joints are as they are now."""
        link = self._state.link
        self._noted(range(i, i + 1), link.D[None], link.P[None], link.level[None])

    def _noted(self, steps: range, D: Floats, P: Floats, level: Floats) -> None:
        """From each of some steps on the joints are as in the rows (step, J, …)."""
        if self._pieces and self._pieces[-1].steps[-1] == steps[0]:
            last = self._pieces.pop()
            if len(last.steps) > 1:
                self._pieces.append(last.without_last())
        self._pieces.append(Piece(steps, D, P, level, self._state.S_zero))

    def _updated(self, begin: int, end: int, wanted: Callable[[int], bool]) -> Iterator[int]:
        """Updates at some of the boundaries, with nothing else between them but what is done where this yields."""
        done = begin
        while done < end:
            stop = next((k for k in range(done, end) if wanted(k)), end)
            while done <= stop and done < end:
                done = self._update(done, min(stop + 1, end))
                if done > stop or self.doubts:
                    yield self.boundaries[done - 1]

    def _update(self, j: int, end: int) -> int:
        """Use the window that ends before the j-th boundary, and those after it before `end` that the compiled form
        can use as well; returns how far it came."""
        s, links = self._state, self._links
        self.doubts = ()
        if not some(s.begun) or self._sights is None:
            return end
        i = self.boundaries[j]
        earliest = self._first + i - links.update_steps - 1
        # a window that holds clipped samples holds a turn that nobody saw
        fresh = [at is not None and max(at, clean) <= earliest for at, clean in zip(s.since, s.clean, strict=True)]
        if some(s.waiting):
            for k in np.flatnonzero(s.waiting & ~s.lost).tolist():
                self._begin_again(k, i)
        ready = (s.begun & ~s.waiting).tolist()
        which = [k for k, (p, d) in enumerate(links.ends) if ready[k] and fresh[p] and fresh[d]]
        one, two = self._sights
        if len(which) < len(links.joints):
            self.doubts = s.link.observe(one[which, j], two[which, j], self._span_s, np.array(which, dtype=np.intp))
        else:
            made = None if self._ahead is None else self._ahead.observe(s.link, j, end)
            if made is not None:
                D, P, level = made
                self._noted(self.boundaries[j : j + len(D)], D, P, level)
                return j + len(D)
            self.doubts = s.link.observe(one[:, j], two[:, j], self._span_s)
        self._note(i)
        return j + 1

    def _clip(self, i: int, clipped: Bools) -> None:
        """Clipped samples lose turn: as much as the sensor's own filter tells of its tilt, about any axis."""
        s, links = self._state, self._links
        for m in np.flatnonzero(clipped).tolist():
            s.clean[m] = self._first + i + 1
        lost = np.where(clipped, self._block.inclination_sd_rad[i] ** 2, 0.0)
        total = lost[links.proximal] + lost[links.distal]
        more = np.maximum(total - s.clipped, 0.0)
        if more.any():
            P = s.link.P.copy()
            P[:, range(3), range(3)] += more[:, None]
            s.link.P = P
            self._note(i)
        s.clipped = np.where(total > 0.0, np.maximum(total, s.clipped), 0.0)

    def zero(self, i: int, headings_rad: Mapping[Segment, float]) -> dict[Segment, float]:
        """Set every joint's heading at step i, where all sensors have to be there; returns the turn that this took, by
        distal segment, of the joints whose heading was known already.

        The distal segment is turned about the vertical until the joint's rotation is zero. A joint that is not held
        yet begins, from `headings_rad`: the turn of each sensor's earth, about the vertical, into the pelvis sensor's.
        """
        s, links = self._state, self._links
        s.S_zero = self.S[:, i]
        turns: dict[Segment, float] = {}
        for k, joint in enumerate(links.joints):
            p, d = links.proximal[k], links.distal[k]
            earth = from_q(self._block.q_es[i, [p, d]])
            if not s.begun[k]:
                heading = headings_rad[joint.distal] - headings_rad.get(joint.proximal, 0.0)
                self._begin(k, i, earth, heading, BEGIN_SD_RAD)
                continue
            above = earth[0] @ self._q_sb[p]
            relative = self.S[p, i].T @ s.link.D[k] @ self.S[d, i]
            turn = jcs.rotation_free_heading(above, above @ self._q_sb[p].T @ relative @ self._q_sb[d])
            up = self.S[p, i] @ earth[0][2]  # earth's z in the proximal sensor, in its gyroscope frame
            if up @ s.link.P[k, :3, :3] @ up < SURE_HEADING_RAD**2:
                turns[joint.distal] = turn
            s.link.set_heading(k, turn, up, BEGIN_HEADING_SD_RAD)
        self._note(i)
        return turns

    def _begin(self, k: int, i: int, earth: Floats, heading: float, sd_rad: tuple[float, float]) -> None:
        """`earth` (2, 3, 3): both sensors to earth at step i. `sd_rad`: of the tilt, of the heading."""
        s, links, joint = self._state, self._links, self._links.joints[k]
        p, d = links.proximal[k], links.distal[k]
        S = self.S[[p, d], i]
        up = S[0] @ earth[0][2]
        root = sd_rad[0] * np.eye(3) + (sd_rad[1] - sd_rad[0]) * np.outer(up, up)
        arms = np.concatenate([self._q_sb[m] @ np.array(arm) for m, arm in zip((p, d), joint.arms_m, strict=True)])
        D = S[0] @ earth[0].T @ about_vertical(heading) @ earth[1] @ S[1].T
        new = JointFilters.begun(D[None], root[None], arms[None], np.full((1, 6), links.arm_sd_m))
        if s.begun[k]:  # the arms are the body's and the strap's: what was learnt stays
            new.arms_m, new.P[0, 3:, 3:] = s.link.arms_m[k : k + 1], s.link.P[k, 3:, 3:]
            least = recovery.LEVEL_AGAIN if s.held_sd_rad[k] > recovery.AGAIN_RAD else 1.0  # not after one lost packet
            new.level = np.maximum(s.link.level[k : k + 1], least)
        s.link.put([k], new)
        s.begun = _with(s.begun, k, np.True_)

    def thighs_rad(self, k: int) -> Floats:
        """Flexion of the hips at the k-th of the boundaries."""
        above, y = self._thighs
        hips = self._links.hips
        e3 = above[k].swapaxes(1, 2) @ (self._state.link.D.take(hips, axis=0) @ y[k])
        return np.array([jcs.flexion(*one) for one in e3[..., 0].tolist()])

    @cached_property
    def _thighs(self) -> tuple[Floats, Floats]:
        """At the boundaries, of each hip's two sensors: (boundary, hip, 3, 3) the proximal segment, (boundary, hip, 3,
        1) the distal y, in gyroscope frames."""
        links, at = self._links, slice(self.boundaries.start, self.boundaries.stop, self.boundaries.step)
        p, d = links.proximal.take(links.hips), links.distal.take(links.hips)
        S = self.S[:, at].swapaxes(0, 1)
        return S[:, p] @ self._q_sb[p], S[:, d] @ self._q_sb[d, :, 1:2]

    # ── gaps ─────────────────────────────────────────────────────────────────────────────────────────────────────

    def _presence(self, i: int) -> None:
        """Sensors that went or came back at step i."""
        s, ok = self._state, self._block.ok[i].tolist()
        if all(now is (since is not None) for now, since in zip(ok, s.since, strict=True)):
            return
        s.since = [
            (self._first + i if since is None else since) if now else None
            for now, since in zip(ok, s.since, strict=True)
        ]
        self._note(i)

    def _whole(self, i: int, jumps: Floats) -> None:
        """Joints that stop being whole at step i, or are whole again: both sensors are there and lose no turn."""
        s, links = self._state, self._links
        there = self._block.ok[i]
        returned = np.array([since == self._first + i for since in s.since])
        losing = (jumps > 0.0) & there & ~returned
        calm = there & ~losing
        if calm.all() and not s.lost.any():
            return
        s.lost_rad = s.lost_rad + np.where(there, jumps, 0.0)
        for m in np.flatnonzero(losing).tolist():
            s.clean[m] = self._first + i + 1
        for k in np.flatnonzero(s.begun).tolist():
            p, d = links.proximal[k], links.distal[k]
            away = not (there[p] and there[d])
            if not (calm[p] and calm[d]):
                if not s.lost[k]:
                    self._break(k, i)
                s.away = _with(s.away, k, bool(s.away[k]) or away)
                self._widen(k, jumps[p], jumps[d])
            elif s.lost[k]:
                self._mend(k, i)
        idle = np.ones(len(there), dtype=bool)
        for k in np.flatnonzero(s.lost).tolist():
            idle[[links.proximal[k], links.distal[k]]] = False
        s.lost_rad = np.where(idle, 0.0, s.lost_rad)
        self._note(i)

    def _break(self, k: int, i: int) -> None:
        """A sensor of the joint is missing from step i on, or has lost turn: remember how the two earths stood."""
        s, links = self._state, self._links
        S, q_es = self._before if i == 0 else (self.S[:, i - 1], self._block.q_es[i - 1])
        s.lost = _with(s.lost, k, np.True_)
        if s.waiting[k]:
            return  # nothing better is known than what was before
        if q_es is not None:
            p, d = links.proximal[k], links.distal[k]
            earth = from_q(q_es[[p, d]])
            s.offset_rad = _with(s.offset_rad, k, _heading(earth[0] @ S[p].T @ s.link.D[k] @ S[d] @ earth[1].T))
            up = S[p] @ earth[0][2]
            s.held_sd_rad = _with(s.held_sd_rad, k, np.sqrt(up @ s.link.P[k, :3, :3] @ up))

    def _widen(self, k: int, *more_rad: float) -> None:
        """While turn is being lost the bar grows about every axis."""
        s = self._state
        if any(more_rad):
            P = s.link.P.copy()
            before = float(np.trace(P[k, :3, :3])) / 3.0
            # within one stretch errors add up, they do not cancel
            P[k, range(3), range(3)] += (np.sqrt(before) + np.linalg.norm(more_rad)) ** 2 - before
            s.link.P = P

    def _mend(self, k: int, i: int) -> None:
        """Both are back: begin again from the tilt of both sensors, and from what is left of the heading."""
        s, links = self._state, self._links
        p, d = links.proximal[k], links.distal[k]
        lost = float(np.hypot(s.lost_rad[p], s.lost_rad[d]))
        if s.away[k] or lost > recovery.AGAIN_RAD:
            s.held_sd_rad = _with(s.held_sd_rad, k, min(float(np.hypot(s.held_sd_rad[k], lost)), recovery.UNKNOWN_RAD))
            self._begin_again(k, i)
        s.lost, s.away = _with(s.lost, k, np.False_), _with(s.away, k, np.False_)

    def _begin_again(self, k: int, i: int) -> None:
        """From the tilt of both sensors at step i; once more at the next update when either is not sure of it yet."""
        s, links = self._state, self._links
        p, d = links.proximal[k], links.distal[k]
        earth = from_q(self._block.q_es[i, [p, d]])
        tilt_sd = float(np.hypot(*self._block.inclination_sd_rad[i, [p, d]])) + BEGIN_TILT_SD_RAD
        neutral = jcs.rotation_free_heading(earth[0] @ self._q_sb[p], earth[1] @ self._q_sb[d])
        neutral_sd = float(np.hypot(recovery.PRIOR_ROTATION_RAD[links.joints[k].name], tilt_sd))
        heading, sd = recovery.heading(float(s.offset_rad[k]), float(s.held_sd_rad[k]), neutral, neutral_sd)
        self._begin(k, i, earth, heading, (tilt_sd, sd))
        s.waiting = _with(s.waiting, k, tilt_sd > recovery.SURE_TILT_RAD)

    # ── results ──────────────────────────────────────────────────────────────────────────────────────────────────

    def relative(self) -> Relative:
        """After the last check."""
        links = self._links
        T = self.S @ self._q_sb[:, None]
        above = T.take(links.proximal, axis=0)
        below = above.swapaxes(-1, -2)
        R = below @ (self._spread_out(T.shape[1]) @ T.take(links.distal, axis=0))
        begins, covariance, since_zero, level = _NONE, R[:, :0], T[:, :0], R[:, :0, 0, 0]
        if self._pieces:
            begins = np.array([step for one in self._pieces for step in one.steps])
            P = np.concatenate([one.P[..., :3, :3] for one in self._pieces]).swapaxes(0, 1)
            level = np.concatenate([one.level for one in self._pieces]).T
            zeros = [(one.S_zero @ self._q_sb)[:, None].repeat(len(one.steps), axis=1) for one in self._pieces]
            since_zero = T.take(begins, axis=1).swapaxes(-1, -2) @ np.concatenate(zeros, axis=1)
            # its angle squared: 2(1 - cos θ), which is θ² while it is not much over a right angle
            turned2 = 3.0 - (since_zero[..., 0, 0] + since_zero[..., 1, 1] + since_zero[..., 2, 2])
            wrong2 = turned2.take(links.proximal, axis=0) + turned2.take(links.distal, axis=0)
            at = above.take(begins, axis=1)
            covariance = at.swapaxes(-1, -2) @ P @ at + (links.gyr_matrix_sd**2 * wrong2)[..., None, None] * _EYE
        if not (self._all_ok and every(self._state.begun)):
            ok = self._block.ok
            unknown = ~(ok[:, links.proximal] & ok[:, links.distal] & self._state.begun).T
            R[unknown] = np.nan
            covariance[unknown[:, begins]] = np.nan
        return Relative(links.joints, R, begins, since_zero, covariance, level)

    def _spread_out(self, n: int) -> Floats:
        """(J, n or 1, 3, 3) D for every step."""
        if not self._pieces:
            return self._D[:, None]
        steps = [0, *(step for one in self._pieces for step in one.steps), n]
        D = np.concatenate((self._D[None], *(one.D for one in self._pieces)))
        return D.repeat([end - begin for begin, end in pairwise(steps)], axis=0).swapaxes(0, 1)


_EYE = np.eye(3)
_NONE = np.empty(0, dtype=np.int64)
_NO_JUMPS = np.zeros(1)


def _with(array: npt.NDArray[Any], k: int, value: object) -> npt.NDArray[Any]:
    """A copy with one entry changed."""
    out = array.copy()
    out[k] = value
    return out


def _heading(Z: Floats) -> float:
    """Turn about the vertical that comes closest to a rotation between two earths."""
    return float(np.arctan2(Z[1, 0] - Z[0, 1], Z[0, 0] + Z[1, 1]))
