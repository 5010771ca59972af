"""Calibration: the constant rotation between each sensor and its segment, from quiet standing and one movement.

* y (up) of every segment is the direction of gravity while the player stands still: all angles are zero in that pose.
* A first guess of z (right) is the principal axis of its angular rate while the joint flexes, made horizontal; of a
  pelvis that makes no bow, what it shares with the legs (`legs.py`).
* Which way each segment really faces is decided once, from all evidence together (`facing.py`): each segment's own
  (`evidence.py`), the acceleration of the joints that neighbours share (`shared_joint.py`), and what no joint does
  (`ranges.py`). What contradicts is refused (`contradictions.py`, `verdict.py`); levels and error bars are computed
  from what was decided.
* Offsets of the accelerometers are taken off when the length of gravity bears them out (`offsets.py`).
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, replace

import numpy as np

from imufeedback.body import facing
from imufeedback.body.contradictions import contradictions
from imufeedback.body.evidence import THIGHS, SegmentEvidence, SegmentSamples, evidence, is_bow
from imufeedback.body.facing import Facing, NeighbourEvidence
from imufeedback.body.functional_axis import axis_sd_rad, functional_axis, tilt_about, up_in
from imufeedback.body.joint_problem import Shared
from imufeedback.body.joints import JOINTS
from imufeedback.body.legs import pelvis_z
from imufeedback.body.matrices import from_q, to_q
from imufeedback.body.offsets import Offsets, believed, offsets
from imufeedback.body.ranges import range_pairs, since_worn
from imufeedback.body.refusal import FitImpossible
from imufeedback.body.relevel import oriented_as, relevelled
from imufeedback.body.shared_hip import unknown
from imufeedback.body.shared_joint import JointSide, shared_joint
from imufeedback.body.stretch import WindowSamples
from imufeedback.body.verdict import (
    levelled,
    refuse_contradictions,
    refuse_sideways,
    refuse_unsure,
    refuse_weak_movements,
)
from imufeedback.constants import STANDARD_GRAVITY_M_S2
from imufeedback.records import Fit, Floats, Level, Segment, SegmentFit, frozen

__all__ = ["FitImpossible", "WindowSamples", "fit", "fit_and_shared"]

UP_SD_RAD = float(np.deg2rad(0.7))
"""Of "up" beyond the zero-g offset: the accelerometer's cross-axis error (1 %, from memory), and sway."""
AGAIN_RAD = float(np.deg2rad(30.0))
"""A first guess further off laid the arms to the joints the wrong way: what neighbours share is computed again."""


@dataclass(frozen=True, slots=True)
class Stretches:
    """What a calibration is made from, by segment."""

    still: Mapping[Segment, WindowSamples]
    """Quiet standing."""
    flex: Mapping[Segment, WindowSamples]
    """Each segment's movement."""
    whole: Mapping[Segment, WindowSamples]
    """All samples from a moment of standing to after the movements (or from before them to standing)."""
    postures: Mapping[Segment, Floats]
    """(P, 4) of common instants before, every `history.POSTURE_S`; may be empty."""


def fit(
    still: Mapping[Segment, WindowSamples],
    flex: Mapping[Segment, WindowSamples],
    whole: Mapping[Segment, WindowSamples],
    postures: Mapping[Segment, Floats] | None = None,
    *,
    bow: bool = False,
) -> Fit:
    """Fit every segment that is in all windows; see `Stretches`. `bow` says that the pelvis' movement is known to be a
    bow, since one was asked for and recognised.

    Raises FitImpossible, in words for the player, when somebody moved while standing, when a window is empty, when a
    segment hardly moved in its movement, and when what the stretches show does not decide where a segment's front is,
    or contradicts itself.
    """
    return fit_and_shared(still, flex, whole, postures, bow=bow)[0]


def fit_and_shared(
    still: Mapping[Segment, WindowSamples],
    flex: Mapping[Segment, WindowSamples],
    whole: Mapping[Segment, WindowSamples],
    postures: Mapping[Segment, Floats] | None = None,
    *,
    bow: bool = False,
) -> tuple[Fit, dict[Segment, Shared]]:
    """The same, and what the thighs show together with the pelvis, their turns counted from each movement's axis."""
    whole = {one: relevelled(each, still[one]) for one, each in whole.items()}
    flex = {one: oriented_as(each, whole[one]) for one, each in flex.items()}
    given = Stretches(still, flex, whole, since_worn(postures or {one: np.empty((0, 4)) for one in still}, still))
    for line in contradictions(still, flex, whole):
        raise FitImpossible(line)
    guess = _fitted(given, {})
    known = evidence(_moves(guess, given), bow=bow)
    refuse_weak_movements(known)
    made = _decided(guess, known, given)
    hips = {one: each for one, each in made.shared.items() if one in THIGHS}
    refuse_contradictions(made.found, made.shared)
    refuse_sideways(known, made.found)
    refuse_unsure(known, made.found, hips)
    turns = {one: each.turn_rad for one, each in made.found.items()}
    taken = believed(offsets(made.frames, hips), whole) if hips else {}
    out = _turned_by(_fitted(given, taken) if taken else guess, turns)
    graded = tuple(levelled(one, made.found[one.segment], known[one.segment]) for one in out.segments)
    return replace(out, segments=graded), {one: _by_axis(each) for one, each in hips.items()}


@dataclass(frozen=True, slots=True)
class _Decision:
    """What all evidence comes to."""

    found: Mapping[Segment, Facing]
    """Away from the first guess."""
    shared: Mapping[Segment, Shared]
    """What neighbours share, by the distal one; turns as seen from the first guess …"""
    frames: Mapping[Segment, Floats]
    """… and offsets in these frames (3, 3), segment to sensor."""


def _decided(guess: Fit, known: Mapping[Segment, SegmentEvidence], given: Stretches) -> _Decision:
    frames = _frames(guess)
    ranges = range_pairs(JOINTS, frames, given.whole, given.postures)
    shared = _shared_joints(frames, given)
    found = _solved(known, ranges, shared)
    if max(abs(each.turn_rad) for each in found.values()) > AGAIN_RAD:
        steps = {one: round(each.turn_rad / facing.STEP_RAD) for one, each in found.items()}
        frames = _frames(_turned_by(guess, {one: count * facing.STEP_RAD for one, count in steps.items()}))
        seen = _shared_joints(frames, given)
        above = {joint.distal: joint.proximal for joint in JOINTS}
        shared = {one: _counted_from(each, steps[above[one]], steps[one]) for one, each in seen.items()}
        found = _solved(known, ranges, shared)
    return _Decision(found, shared, frames)


def _solved(
    known: Mapping[Segment, SegmentEvidence], ranges: list[NeighbourEvidence], shared: Mapping[Segment, Shared]
) -> dict[Segment, Facing]:
    pairs = [
        replace(one, energy=one.energy + shared[one.distal].energy) if one.distal in shared else one for one in ranges
    ]
    own = {one: each.own for one, each in known.items()}
    return facing.solve(own, {one: each.axis for one, each in known.items()}, pairs)


def _shared_joints(R: Mapping[Segment, Floats], given: Stretches) -> dict[Segment, Shared]:
    """By the distal segment, as far as it can be said."""
    out: dict[Segment, Shared] = {}
    for joint in JOINTS:
        if joint.proximal in R and joint.distal in R:
            proximal, distal = (
                JointSide(given.still[one], given.whole[one], R[one], np.array(arm))
                for one, arm in zip((joint.proximal, joint.distal), joint.arms_m, strict=True)
            )
            seen = shared_joint(proximal, distal)
            if seen is not None:
                out[joint.distal] = seen
    return out


def _counted_from(one: Shared, proximal: int, distal: int) -> Shared:
    """What was seen from frames that are turned by so many steps, as from the first ones."""
    turn = one.turn_rad + (proximal - distal) * facing.STEP_RAD
    energy = np.roll(one.energy, (proximal, distal), (0, 1))
    return replace(one, turn_rad=(turn + np.pi) % (2 * np.pi) - np.pi, energy=energy)


def _by_axis(one: Shared) -> Shared:
    """Its turn from the axis of the movement, which is a line: blind to front and back."""
    return replace(one, turn_rad=(one.turn_rad + np.pi / 2) % np.pi - np.pi / 2)


def _moves(guess: Fit, given: Stretches) -> dict[Segment, SegmentSamples]:
    return {
        one: SegmentSamples(one, R, given.still[one], given.flex[one], given.whole[one])
        for one, R in _frames(guess).items()
    }


def _frames(found: Fit) -> dict[Segment, Floats]:
    return {one.segment: from_q(one.q_sb) for one in found.segments}


def _turned_by(found: Fit, turns: Mapping[Segment, float]) -> Fit:
    return replace(found, segments=tuple(_turned(one, turns[one.segment]) for one in found.segments))


def _turned(one: SegmentFit, turn_rad: float) -> SegmentFit:
    """With its forward turned to the left."""
    c, s = np.cos(turn_rad), np.sin(turn_rad)
    turn = np.array([[c, 0.0, s], [0.0, 1.0, 0.0], [-s, 0.0, c]])
    axes = None if one.sd_axes_rad is None else one.sd_axes_rad[[0, 1, 2]]
    return replace(one, q_sb=frozen(to_q(from_q(one.q_sb) @ turn)), sd_axes_rad=axes)


# ── the first guess ──────────────────────────────────────────────────────────────────────────────────────────────


def _fitted(given: Stretches, taken: Offsets) -> Fit:
    off = {one: taken.get(one, unknown(each.offset_sd_m_s2)) for one, each in given.still.items()}
    up = {one: up_in(one, stretch, off[one][0]) for one, stretch in given.still.items()}
    found: dict[Segment, tuple[Floats, float]] = {}
    for one in given.still:
        if one is not Segment.PELVIS:
            # a forearm has no movement of its own in a calibration: what it does serves, and is scored as it is
            axis = functional_axis(one, up[one], given.flex[one], needed=one is not Segment.LEAD_FOREARM)
            found[one] = _frame(up[one], axis.z_s), axis_sd_rad(one, axis.share)
    pelvis = Segment.PELVIS
    axis = functional_axis(pelvis, up[pelvis], given.flex[pelvis], needed=False)
    method = "standing + flexion"
    z, sd = axis.z_s, axis_sd_rad(pelvis, axis.share)
    if not is_bow(axis.share, tilt_about(z, up[pelvis], given.flex[pelvis].q_es)):
        method = "standing + flexion; pelvis from the legs"
        z = pelvis_z(up[pelvis], given.still, given.flex, {one: R for one, (R, _) in found.items()})
    found[pelvis] = _frame(up[pelvis], z), sd
    return Fit(method, tuple(_segment_fit(one, *found[one], *off[one]) for one in given.still))


def _frame(up: Floats, z: Floats) -> Floats:
    """(3, 3) segment to sensor."""
    z = z - up * (z @ up)
    z = z / np.linalg.norm(z)
    return np.column_stack((np.cross(up, z), up, z))


def _segment_fit(segment: Segment, R: Floats, facing_sd_rad: float, offset: Floats, covariance: Floats) -> SegmentFit:
    """With its error about each axis: what is not known of the accelerometer tilts "up", the movement turns
    "forward"."""
    lean, _, bend = np.sqrt(np.diag(R.T @ covariance @ R))[::-1] / STANDARD_GRAVITY_M_S2
    axes = np.array([np.hypot(lean, UP_SD_RAD), facing_sd_rad, np.hypot(bend, UP_SD_RAD)])
    sd = float(np.sqrt(np.mean(axes**2)))
    return SegmentFit(segment, frozen(to_q(R)), Level.POOR, sd, None, frozen(offset), frozen(axes))
