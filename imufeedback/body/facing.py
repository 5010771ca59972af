"""Which way every segment faces in the standing pose: all evidence at once, each piece as -2 log likelihood.

Unknown is one angle a segment, the turn θ of its forward about the vertical, to the left, away from a first guess, on a
circle of `STEPS` steps. Evidence about one segment is a curve over that circle; evidence about two neighbours, a matrix
over both circles. Segments and joints are a tree (pelvis → thighs → shanks), so the least sum over all other segments
for every θ is exact in one pass up and one down (min-sum, the max-product algorithm of Pearl 1988 in logarithms; from
memory). From it come the best θ, its standard deviation, and the margin: how much worse the other side is at best.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass

import numpy as np

from imufeedback.records import Floats, Segment

STEPS = 240
"""1.5° each: fine against the least standard deviation (1.8°), and a parabola lies between. Chosen."""
STEP_RAD = 2 * np.pi / STEPS
ANGLES: Floats = np.linspace(-np.pi, np.pi, STEPS, endpoint=False)
ROBUST = 25.0
"""One piece of evidence counts for at most so much (5 standard deviations): none of them alone overrules the rest.
Chosen."""
_NEAR = 4
"""Steps to either side that the parabola is laid through."""
_DIFFERENCE = (np.arange(STEPS)[None, :] - np.arange(STEPS)[:, None] + STEPS // 2) % STEPS
"""[p, d]: number of the angle d - p."""


@dataclass(frozen=True, slots=True)
class Facing:
    """What came of one segment."""

    turn_rad: float
    sd_rad: float
    margin: float
    """-2 log likelihood ratio: the best turn more than 90° away, against the best one."""
    pull: float
    """What its own axis says against the decision, in standard deviations."""


@dataclass(frozen=True, slots=True)
class NeighbourEvidence:
    """Evidence about two neighbours."""

    proximal: Segment
    distal: Segment
    energy: Floats
    """(STEPS, STEPS) by turn of the proximal and of the distal one."""


def nothing() -> Floats:
    """(STEPS,) no evidence."""
    return np.zeros(STEPS)


def line(sd_rad: float) -> Floats:
    """(STEPS,) an axis that is known but for its sign."""
    off = (ANGLES + np.pi / 2) % np.pi - np.pi / 2
    return np.minimum((off / sd_rad) ** 2, ROBUST)


def half(weight: float) -> Floats:
    """(STEPS,) forward is not more than 90° away, by so much; a negative weight says the opposite."""
    out: Floats = np.where(np.abs(ANGLES) > np.pi / 2, max(weight, 0.0), max(-weight, 0.0))
    return out


def towards(angle_rad: float, sd_rad: float) -> Floats:
    """(STEPS,) forward is there."""
    off = np.angle(np.exp(1j * (ANGLES - angle_rad)))
    out: Floats = np.minimum((off / sd_rad) ** 2, ROBUST)
    return out


def by_difference(energy: Floats) -> Floats:
    """(STEPS, STEPS) of a pair about which (STEPS,) is known by the distal's turn minus the proximal's."""
    out: Floats = energy[_DIFFERENCE]
    return out


def solve(
    own: Mapping[Segment, Floats], axis: Mapping[Segment, Floats], pairs: Sequence[NeighbourEvidence]
) -> dict[Segment, Facing]:
    """`own` (STEPS,) all evidence about each segment alone, `axis` the part of it that comes from its axis; `pairs`
    with every joint once, proximal ones first."""
    up = {one: value.copy() for one, value in own.items()}
    sent: dict[Segment, Floats] = {}
    for pair in reversed(pairs):
        sent[pair.distal] = (pair.energy + up[pair.distal][None, :]).min(axis=1)
        up[pair.proximal] = up[pair.proximal] + sent[pair.distal]
    full = dict(up)
    for pair in pairs:
        rest = full[pair.proximal] - sent[pair.distal]
        full[pair.distal] = up[pair.distal] + (pair.energy + rest[:, None]).min(axis=0)
    return {one: _facing(energy, axis[one]) for one, energy in full.items()}


def _facing(energy: Floats, axis: Floats) -> Facing:
    at = int(np.argmin(energy))
    ring = (np.arange(STEPS) - at) % STEPS
    far = np.minimum(ring, STEPS - ring) > STEPS // 4
    around = np.arange(-_NEAR, _NEAR + 1)
    curve, slope, _ = np.polyfit(STEP_RAD * around, energy[(at + around) % STEPS], 2)
    best, sd = float(ANGLES[at]), np.pi
    if curve > 1 / np.pi**2:
        reach = STEP_RAD * _NEAR
        best += float(np.clip(-0.5 * slope / curve, -reach, reach))
        sd = float(1.0 / np.sqrt(curve))
    margin = float(energy[far].min() - energy[at])
    return Facing((best + np.pi) % (2 * np.pi) - np.pi, sd, margin, float(np.sqrt(axis[at])))
