"""What is decided of a calibration once all evidence is weighed: refused with the segment and the reason, or its
levels.

Evidence that contradicts is a refusal and never a wider error bar.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import replace

import numpy as np

from imufeedback.body.evidence import LEAST_FLEXION_RAD, THIGHS, TIPS_SD_RAD, SegmentEvidence
from imufeedback.body.facing import ANGLES, Facing, by_difference
from imufeedback.body.joint_problem import Shared
from imufeedback.body.joints import JOINTS
from imufeedback.body.refusal import FitImpossible, advice, name
from imufeedback.records import Level, Segment, SegmentFit, frozen

LEAST_MARGIN = 9.0
"""Front and back must be apart by three standard deviations."""
MARGIN_AFTER_GAPS = 25.0
"""And by five where nothing but hips after gaps tells them: the feet may have been set anyhow in a gap."""
CONTRADICTS, OFF_RAD = 16.0, float(np.deg2rad(16.0))
"""A joint contradicts the decision when it is by four standard deviations and by so much against it. The angle is
chosen: less is soft tissue and a thigh that turns in its hip."""
TIPPED_RAD = float(np.deg2rad(50.0))
"""Of where a thigh tipped furthest, beside the decision: 20° at most in about 90 right fits of people. Chosen."""
GOOD_SHARE, FAIR_SHARE = 0.92, 0.80
"""Of a movement about one axis: with less it was partly, and mostly, sideways. Chosen."""
GOOD_SD_RAD, FAIR_SD_RAD = float(np.deg2rad(7.0)), float(np.deg2rad(20.0))
"""Of a segment's forward. At the second, a sitting hip flexion of 80° reads 75°; chosen."""
GOOD_PULL, FAIR_PULL = 2.5, 4.0
"""Its own axis against the decision, in standard deviations: 1 % and less than 0.01 % of right ones are beyond."""


def refuse_weak_movements(known: Mapping[Segment, SegmentEvidence]) -> None:
    """Raises FitImpossible when no thigh did what shows where its front is."""
    thighs = [known[one] for one in THIGHS if one in known]
    moved = [one for one in thighs if one.tipped_rad >= LEAST_FLEXION_RAD]
    if thighs and not moved:
        raise FitImpossible("both thighs: hardly moved – lift the knees higher")
    if moved and max(one.share for one in moved) < FAIR_SHARE:
        raise FitImpossible(
            "both thighs: the movement was mostly sideways or a turn – lift each knee straight up, or walk straight"
        )


def refuse_unsure(
    known: Mapping[Segment, SegmentEvidence], found: Mapping[Segment, Facing], hips: Mapping[Segment, Shared]
) -> None:
    """Raises FitImpossible when front and back of a segment cannot be told apart."""
    unbroken = max((one.unbroken for one in hips.values()), default=0.0)
    for one, facing in found.items():
        by_gaps = one is Segment.PELVIS and not known[one].bowed and unbroken < LEAST_MARGIN
        if one is Segment.LEAD_FOREARM or facing.margin >= (MARGIN_AFTER_GAPS if by_gaps else LEAST_MARGIN):
            continue
        if one is Segment.PELVIS:
            raise FitImpossible(
                "pelvis: its front and back look alike – bow twice, or choose a stretch with more steps"
            )
        raise FitImpossible(f"{name(one)}: its front and back look alike – {advice(one)}")


def refuse_sideways(known: Mapping[Segment, SegmentEvidence], found: Mapping[Segment, Facing]) -> None:
    """Raises FitImpossible when a thigh tipped furthest to another side than the decision calls its front."""
    for one, facing in found.items():
        at = int(np.argmin(np.abs(np.angle(np.exp(1j * (ANGLES - facing.turn_rad))))))
        off = float(TIPS_SD_RAD * np.sqrt(known[one].tips[at]))
        if off > TIPPED_RAD:
            raise FitImpossible(
                f"{name(one)}: it tipped mostly sideways of what its movement and the hips say is its front –"
                f" {advice(one)}"
            )


def refuse_contradictions(found: Mapping[Segment, Facing], shared: Mapping[Segment, Shared]) -> None:
    """Raises FitImpossible when a joint says something else than was decided. `shared` as seen from the first guess."""
    for joint in JOINTS:
        if joint.distal not in shared:
            continue
        decided = found[joint.distal].turn_rad - found[joint.proximal].turn_rad
        away = by_difference(np.abs(np.angle(np.exp(1j * (ANGLES - decided)))))
        energy = shared[joint.distal].energy
        if energy[away <= OFF_RAD].min() > CONTRADICTS:
            off = away.flat[int(np.argmin(energy))]
            raise FitImpossible(
                f"{name(joint.proximal)} and {name(joint.distal)}: their movements and the {joint.name} that they share"
                f" differ by {np.degrees(off):.0f}° – move straight ahead, and tighten the straps"
            )


def levelled(one: SegmentFit, facing: Facing, known: SegmentEvidence) -> SegmentFit:
    """With the error bar, the level and the reason that follow from the decision."""
    level, reason = Level.GOOD, None
    if facing.sd_rad > GOOD_SD_RAD or facing.pull > GOOD_PULL:
        by_axis = bool(known.axis.any())
        # a thigh's axis from a sideways movement, which nothing else bears out; a shank has its knee
        sideways = by_axis and known.share < FAIR_SHARE and one.segment in THIGHS
        fair = facing.sd_rad < FAIR_SD_RAD and facing.pull < FAIR_PULL and not sideways
        level = Level.FAIR if fair else Level.POOR
        how = "which way it faces is not sure"
        if by_axis and (facing.pull > GOOD_PULL or known.share < GOOD_SHARE):
            how = f"the movement was {'partly' if fair else 'mostly'} sideways"
        reason = f"{name(one.segment)}: {how} – {advice(one.segment)}"
    axes = np.full(3, one.sd_rad) if one.sd_axes_rad is None else one.sd_axes_rad.copy()
    axes[1] = facing.sd_rad
    sd = float(np.sqrt(np.mean(axes**2)))
    return replace(one, level=level, reason=reason, sd_axes_rad=frozen(axes), sd_rad=sd)
