"""The words that a rule may use: features, positions, units. Tests compare them with what motion makes.

A rule that looks at nothing never fires, and nobody would see it: so a word that is not here is an error.
"""

from __future__ import annotations

from enum import StrEnum
from itertools import product
from typing import Annotated

from msgspec import Meta

from imufeedback.rules.baseline import OVER_OWN, over_own_name

_ANGLES = (
    *("pelvis_turn", "pelvis_side_tilt", "pelvis_forward_tilt", "trail_thigh_angle", "lead_thigh_angle"),
    *("trail_hip_rotation", "lead_hip_rotation", "trail_knee_flexion", "lead_knee_flexion"),
)
_AT = ("address", "top", "level", "impact", "finish")

FEATURES = frozenset(
    {
        *(f"{angle}_{position}_deg" for angle, position in product(_ANGLES, _AT)),
        *("trail_thigh_angle_min_deg", "trail_thigh_angle_min_sd_deg"),
        *("trail_thigh_loss_top_finish_deg", "trail_thigh_loss_top_finish_sd_deg", "trail_thigh_loss_top_impact_deg"),
        *("trail_thigh_slope_top_impact_ratio", "trail_thigh_flat_from_s", "trail_thigh_growth_from_s"),
        *("trail_thigh_flat_turn_deg", "trail_thigh_flat_turn_sd_deg", "trail_thigh_flat_turn_up_sd_deg"),
        *("trail_thigh_growth_deg", "trail_thigh_growth_sd_deg", "trail_thigh_first_stall_s"),
        *("trail_thigh_first_stall_turn_deg", "trail_thigh_first_stall_angle_deg"),
        *("least_flexed_hip_finish_deg", "least_flexed_hip_finish_sd_deg", "thigh_angle_sd_deg", "hip_rotation_sd_deg"),
        *("backswing_s", "downswing_s", "tempo_ratio", "turn_rate_max_deg_s", "turn_rate_impact_deg_s"),
        *("pelvis_turn_finish_sd_deg", "impact_sd_s"),
        *("trail_hip_turn_out_rate_max_deg_s", "lead_hip_turn_in_rate_max_deg_s", "side_tilt_rate_level_deg_s"),
        *("trail_hip_rotation_range_deg", "lead_hip_rotation_range_deg"),
        *("trail_hip_stance_deg", "trail_hip_stance_sd_deg", "lead_hip_stance_deg", "lead_hip_stance_sd_deg"),
        *("trail_hip_turn_in_back_deg", "trail_hip_turn_in_back_sd_deg", "lead_hip_turn_in_deg"),
        *("lead_hip_turn_in_sd_deg", "trail_hip_turn_out_deg", "trail_hip_turn_out_sd_deg"),
        *("own_axis_share", "own_axis_sd_share", "level_turn_share", "level_turn_sd_share"),
        *("knees_cross_turn_share", "knees_cross_turn_sd_share", "lead_knee_rate_impact_deg_s"),
        *("lead_knee_slope_impact_ratio", "lead_knee_slope_impact_sd_ratio", "hip_mirror_deg", "hip_mirror_sd_deg"),
        *("lead_knee_bends_again_deg", "lead_knee_bends_again_sd_deg"),
        *(over_own_name(name) for name in OVER_OWN),
        *("standing_hip_rotation_deg", "standing_hip_rotation_sd_deg", "standing_thigh_wobble_deg"),
        *("standing_thigh_wobble_sd_deg", "pelvis_turn_deg", "standing_hip_rate_max_deg_s", "rep_s"),
        *("there_and_back_s", "standing_hip_range_deg", "standing_hip_range_sd_deg"),
        *("pelvis_off_level_deg", "pelvis_off_level_sd_deg", "stance_stagger_deg", "stance_stagger_sd_deg"),
        *("hold_s", "hold_pelvis_turn_deg", "hold_pelvis_turn_sd_deg", "hold_side_tilt_deg", "hold_side_tilt_sd_deg"),
        *("hold_trail_thigh_deg", "hold_trail_thigh_sd_deg", "hold_most_flexed_hip_deg"),
        *("hold_most_flexed_hip_sd_deg", "hold_moved_deg", "hold_moved_sd_deg"),
    }
)
POSITIONS = (
    *("address", "top", "hand_top", "downswing", "level", "knees_cross", "impact", "finish"),
    *("begin", "furthest", "held"),
)


class Unit(StrEnum):
    """How a rule writes the unit of its limit."""

    DEG = "deg"
    DEG_S = "deg/s"
    S = "s"
    ONE = "1"
    """Of shares and ratios."""


UNITS = {"deg_s": Unit.DEG_S, "deg": Unit.DEG, "s": Unit.S, "share": Unit.ONE, "ratio": Unit.ONE}
"""By the ending of a feature's name (`records.UNITS`)."""
Feature = Annotated[str, Meta(description="one of FEATURES")]
Position = Annotated[str, Meta(description="one of POSITIONS")]


def unit_of(feature: str) -> Unit | None:
    """The unit that a feature has by its ending; None where the ending tells none."""
    return next((unit for ending, unit in UNITS.items() if feature.endswith(f"_{ending}")), None)
