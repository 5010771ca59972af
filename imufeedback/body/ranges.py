"""What no joint does: a hip is not extended by 40°, a knee not bent forward. Over all that was recorded so far.

The angle in the plane of flexion is the difference of two inclinations, so no heading takes part; it is computed for
every way that the two segments may face.
"""

from __future__ import annotations

from collections.abc import Mapping

import numpy as np

from imufeedback.body.facing import ROBUST, STEPS, NeighbourEvidence
from imufeedback.body.joints import Joint
from imufeedback.body.matrices import up_of
from imufeedback.body.stretch import WindowSamples, paired
from imufeedback.records import Floats, Segment

EXTENDS_RAD = {"hip": float(np.deg2rad(30.0)), "knee": float(np.deg2rad(15.0))}
"""Hips extend to about 20°, knees by 5 to 10° (from memory; common clinical norms). Beyond that, with room for the
inclination after a gap, the model is wrong: at 40° of extension of a hip, nearly three standard deviations."""
SD_RAD = {"hip": float(np.deg2rad(6.0)), "knee": float(np.deg2rad(8.0))}
"""Soft tissue, and an inclination of the filter in fast motion; chosen."""
FOR_S = 0.3
"""An angle counts that is reached for so long, all in all: shocks do not."""
RATE_HZ = 10.0
COARSE = 16
"""Directions of each segment that are tried; limits need no more."""
OFF_BODY_RAD = {Segment.PELVIS: float(np.deg2rad(75.0))}
OFF_BODY_ELSE_RAD = float(np.deg2rad(130.0))
"""Tipped further away from standing a sensor is in a hand, or the player lies: what was before does not count.
Chosen."""


def range_pair(
    joint: Joint, R: Mapping[Segment, Floats], whole: Mapping[Segment, WindowSamples], earlier: Mapping[Segment, Floats]
) -> Floats:
    """(STEPS, STEPS) evidence about a joint's two segments. `R` (3, 3) as first guessed, segment to sensor; `earlier`
    (P, 4) postures before `whole`, of the same instants."""
    p, d = joint.proximal, joint.distal
    both = paired(whole[p], whole[d])
    every = max(round(both[0].rate_hz / RATE_HZ), 1)
    ups = [
        up_of(np.concatenate((earlier[one], each.q_es[::every]))) @ R[one]
        for one, each in zip((p, d), both, strict=True)
    ]
    count = round(FOR_S * RATE_HZ)
    if len(ups[0]) < count:
        return np.zeros((STEPS, STEPS))
    tilts = [_tilts(one) for one in ups]
    bend = tilts[1][None] - tilts[0][:, None]
    # a knee bends the other way about z
    bend = (bend if joint.name == "hip" else -bend).reshape(COARSE**2, -1)
    np.subtract(bend, 2 * np.pi, out=bend, where=bend >= np.pi)
    np.add(bend, 2 * np.pi, out=bend, where=bend < -np.pi)
    extended = -np.partition(bend, count - 1, axis=1)[:, count - 1].reshape(COARSE, COARSE)
    beyond = np.maximum(extended - EXTENDS_RAD[joint.name], 0.0) / SD_RAD[joint.name]
    each = STEPS // COARSE
    # a coarse direction stands for those around it
    return np.roll(np.kron(np.minimum(beyond**2, ROBUST), np.ones((each, each))), (-(each // 2), -(each // 2)), (0, 1))


def range_pairs(
    joints: tuple[Joint, ...],
    R: Mapping[Segment, Floats],
    whole: Mapping[Segment, WindowSamples],
    earlier: Mapping[Segment, Floats],
) -> list[NeighbourEvidence]:
    """Of all joints whose two segments are there."""
    there = [one for one in joints if one.proximal in R and one.distal in R]
    return [NeighbourEvidence(one.proximal, one.distal, range_pair(one, R, whole, earlier)) for one in there]


def since_worn(postures: Mapping[Segment, Floats], still: Mapping[Segment, WindowSamples]) -> dict[Segment, Floats]:
    """The (P, 4) postures of each segment from when all sensors were on a person who stands or sits."""
    first = 0
    for one, q_es in postures.items():
        if len(q_es) and len(still[one].q_es):
            up = up_of(still[one].q_es).mean(axis=0)
            cosine = up_of(q_es) @ up / np.linalg.norm(up)
            off = np.flatnonzero(cosine < np.cos(OFF_BODY_RAD.get(one, OFF_BODY_ELSE_RAD)))
            first = max(first, int(off[-1]) + 1 if len(off) else 0)
    return {one: q_es[first:] for one, q_es in postures.items()}


def _tilts(up_b: Floats) -> Floats:
    """(COARSE, N) tilt about z, once the segment's forward is turned to the left by each coarse direction."""
    turns = np.linspace(-np.pi, np.pi, COARSE, endpoint=False)[:, None]
    forward = np.cos(turns) * up_b[:, 0] - np.sin(turns) * up_b[:, 2]
    tilts: Floats = np.arctan2(forward, up_b[:, 1])
    return tilts
