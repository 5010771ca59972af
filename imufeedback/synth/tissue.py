"""Bone -> what carries the sensor: soft tissue that follows only in part and wobbles, and a strap that slips.

All of it is one more turn about the segment's long axis, with exact derivatives, so that angular rate and specific
force of the sensor still belong to one motion. In standing at rest it is 0 (until the strap slips).

The wobble is a damped oscillator shaken by the bone: seen from the bone, ``ψ'' + 2ζω ψ' + ω² ψ = -gain · α`` with ``α``
the bone's angular acceleration about its long axis. It is solved on a fine grid, exactly for an ``α`` that is straight
between the grid's instants, and followed between them by quintic pieces through value, rate and acceleration.
"""

from __future__ import annotations

import numpy as np

from imufeedback.records import Floats, Segment, Side
from imufeedback.synth.golfer import Golfer, TruthPose
from imufeedback.synth.kinematics import SegmentCourse, Y
from imufeedback.synth.plan import leg
from imufeedback.synth.presets import SoftTissue
from imufeedback.synth.profile import Course, Spline, course

GRID_HZ = 200.0
BLOCK_S = 8.0
"""The wobble is solved for so long at once …"""
WARM_S = 2.0
"""… from so long before, with nothing: what was then has died away (to 1e-6 at 8 Hz and a damping of 0.15)."""
SLIP_S = 0.5
"""How long a strap takes to slip."""

SIDE_OF = {Segment.thigh(side): side for side in Side}


class Carrier:
    """What carries the sensor of one segment."""

    def __init__(
        self,
        golfer: Golfer,
        segment: Segment,
        tissue: SoftTissue | None = None,
        strap_twist_rad: float = 0.0,
        twist_at_s: float = 0.0,
    ) -> None:
        """`tissue` matters on the thighs only; the strap slips by `strap_twist_rad` at `twist_at_s`."""
        self.segment = segment
        self._golfer = golfer
        self._tissue = tissue if segment in SIDE_OF else None
        self._wobble = Wobble(golfer, segment, tissue) if tissue is not None and segment in SIDE_OF else None
        self._slip = Spline.through([(twist_at_s, 0.0), (twist_at_s + SLIP_S, strap_twist_rad)])
        self._slips = strap_twist_rad != 0
        self._twist_at_s = twist_at_s

    @property
    def is_bone(self) -> bool:
        """The sensor moves as the bone does."""
        return self._tissue is None and not self._slips

    def frame(self, pose: TruthPose) -> SegmentCourse:
        """What `measure_on` needs instead of the segment's frame."""
        bone = pose.frames[self.segment]
        return bone if self.is_bone else bone.turned(Y, self.extra(pose.t_s))

    def extra(self, t_s: Floats) -> Course:
        """Turn of the carrier on the bone about the segment's long axis, rad."""
        parts = [self._twist(t_s)]
        if self._tissue is not None:
            parts.append(self._lag(t_s, self._tissue.axial_share))
        if self._wobble is not None:
            parts.append(self._wobble.at(t_s))
        return Course(*(np.sum(part, axis=0) for part in zip(*map(_three, parts), strict=True)))

    def _lag(self, t_s: Floats, share: float) -> Course:
        side = SIDE_OF[self.segment]
        rotation = leg(side, self._golfer.player.hand)[2]
        sign = 1.0 if side is Side.RIGHT else -1.0
        return self._golfer.plan.courses(t_s, (rotation,))[rotation].scaled(sign * (share - 1))

    def _twist(self, t_s: Floats) -> Course:
        inside = np.clip(t_s, self._twist_at_s, self._twist_at_s + SLIP_S)  # at rest at both ends
        return course(self._slip, inside)


def _three(one: Course) -> tuple[Floats, Floats, Floats]:
    return one.value, one.rate, one.accel


class Wobble:
    """Damped oscillation of the tissue of one thigh."""

    def __init__(self, golfer: Golfer, segment: Segment, tissue: SoftTissue) -> None:
        self._golfer, self._segment, self._tissue = golfer, segment, tissue
        self._blocks: dict[int, Spline] = {}

    def at(self, t_s: Floats) -> Course:
        """Turn about the long axis (rad) at the instants ``t_s`` (N,), in any order."""
        out = Course(*np.zeros((3, len(t_s))))
        which = np.floor(np.asarray(t_s) / BLOCK_S).astype(np.int64)
        for number in np.unique(which).tolist():
            here = which == number
            part = course(self._block(number), t_s[here])
            out.value[here], out.rate[here], out.accel[here] = _three(part)
        return out

    def _block(self, number: int) -> Spline:
        if number not in self._blocks:
            latest = list(self._blocks.items())[-1:]  # two neighbours are all that a stretch after another needs
            self._blocks = dict([*latest, (number, self._solved(number))])
        return self._blocks[number]

    def _solved(self, number: int) -> Spline:
        first, last = round((number * BLOCK_S - WARM_S) * GRID_HZ), round((number + 1) * BLOCK_S * GRID_HZ)
        t_s = np.arange(first, last + 1) / GRID_HZ
        shaken = self._golfer.pose(t_s, (self._segment,)).frames[self._segment].gyr_rate_rad_s2[:, 1]
        solved = response(self._tissue, -self._tissue.wobble_gain * shaken)
        keep = slice(round(WARM_S * GRID_HZ), None)
        return Spline.at_knots(t_s[keep], *(part[keep] for part in _three(solved)))


def response(tissue: SoftTissue, push: Floats) -> Course:
    """An oscillator at rest, pushed by ``push`` (N,) rad/s² on the grid, straight between.

    With λ the upper pole, ``ψ = Im(z) / ω_d`` where ``z' = λ z + push``: one complex recursion, exact for such a push.
    """
    w, damping = 2 * np.pi * tissue.wobble_hz, tissue.wobble_damping
    damped = w * np.sqrt(1 - damping**2)
    pole, h = complex(-damping * w, damped), 1 / GRID_HZ
    kept = np.exp(pole * h)
    after = (kept - 1 - pole * h) / (pole**2 * h)
    before = (kept - 1) / pole - after
    z = np.empty(len(push), dtype=np.complex128)
    carried = 0j
    # in Python: to load a library's filter takes as long as thousands of these stretches
    for k, one in enumerate(push.tolist()):
        now = carried + after * one
        carried = before * one + kept * now
        z[k] = now
    value, rate = z.imag / damped, (pole * z).imag / damped
    return Course(value, rate, push - 2 * damping * w * rate - w * w * value)
