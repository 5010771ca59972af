"""A plain word for every feature and position. English; the windows translate."""

from __future__ import annotations

from imufeedback.phrases import phrase

ANGLES = {
    "pelvis_turn": "pelvis turn",
    "pelvis_side_tilt": "side tilt of the pelvis",
    "pelvis_forward_tilt": "forward tilt of the pelvis",
    "trail_thigh_angle": "trail thigh angle",
    "lead_thigh_angle": "lead thigh angle",
    "trail_hip_rotation": "trail hip rotation",
    "lead_hip_rotation": "lead hip rotation",
    "trail_knee_flexion": "trail knee bend",
    "lead_knee_flexion": "lead knee bend",
}
POSITIONS = {
    "address": "address",
    "top": "top",
    "hand_top": "reversal of the lead hand",
    "downswing": "start of the downswing",
    "level": "hips level",
    "knees_cross": "knees crossing",
    "impact": "impact",
    "finish": "finish",
    "begin": "beginning",
    "furthest": "furthest turn",
    "held": "beginning of the hold",
}
OTHERS = {
    "trail_thigh_angle_min": "lowest trail thigh angle",
    "trail_thigh_loss_top_finish": "trail thigh angle lost from top to finish",
    "trail_thigh_loss_top_impact": "trail thigh angle lost from top to impact",
    "trail_thigh_slope_top_impact": "trail thigh angle lost for a degree of turn, top to impact",
    "trail_thigh_flat_turn": "longest stretch of turn in which the trail thigh angle stalled",
    "trail_thigh_flat_from": "beginning of that stretch",
    "trail_thigh_growth": "growth of the trail thigh angle after the top",
    "trail_thigh_growth_from": "beginning of that growth",
    "trail_thigh_first_stall": "first stall",
    "trail_thigh_first_stall_turn": "pelvis turn at the first stall",
    "trail_thigh_first_stall_angle": "trail thigh angle at the end of the stall",
    "least_flexed_hip_finish": "flexion of the straighter hip at the finish",
    "thigh_angle": "trail thigh angle",
    "hip_rotation": "hip rotation",
    "impact": "estimated impact",
    "backswing": "backswing",
    "downswing": "downswing",
    "tempo": "backswing against downswing",
    "turn_rate_max": "quickest pelvis turn",
    "turn_rate_impact": "pelvis turn rate at impact",
    "side_tilt_rate_level": "rate of the side tilt where the hips are level",
    "trail_hip_turn_out_rate_max": "quickest outward turn of the trail hip",
    "lead_hip_turn_in_rate_max": "quickest inward turn of the lead hip",
    "trail_hip_rotation_range": "whole range of the trail hip's rotation",
    "lead_hip_rotation_range": "whole range of the lead hip's rotation",
    "trail_hip_turn_in_back": "inward turn of the trail hip on the way back",
    "lead_hip_turn_in": "inward turn of the lead hip on the way down",
    "trail_hip_turn_out": "outward turn of the trail hip on the way down",
    "own_axis": "part of the pelvis turn that is made in the hip joints",
    "level_turn": "part of the turn after which the hips are level",
    "knees_cross_turn": "part of the turn after which the knees cross",
    "lead_knee_rate_impact": "bending rate of the lead knee at impact",
    "lead_knee_slope_impact": "bend of the lead knee for a degree of turn at impact",
    "lead_knee_bends_again": "bend that the lead knee gains again around impact",
    "hip_mirror": "how far the lead hip's way down differs from the trail hip's way back",
    "trail_hip_stance": "trail hip at address, from standing at the calibration",
    "lead_hip_stance": "lead hip at address, from standing at the calibration",
    "standing_hip_rotation": "rotation of the standing hip",
    "standing_hip_range": "range of the standing hip",
    "standing_thigh_wobble": "turn of the standing thigh itself",
    "standing_hip_rate_max": "quickest rotation of the standing hip",
    "pelvis_turn": "pelvis turn",
    "pelvis_off_level": "tip of the pelvis during the turn",
    "stance_stagger": "how far the standing thigh is in front of the other one",
    "hold": "time that the position was held",
    "hold_pelvis_turn": "pelvis turn while held",
    "hold_side_tilt": "side tilt of the pelvis while held",
    "hold_trail_thigh": "trail thigh angle while held",
    "hold_most_flexed_hip": "flexion of the more bent hip while held",
    "hold_moved": "movement of the pelvis while held",
    "there_and_back": "whole way there and back",
    "rep": "whole repetition",
}
UNITS = {"deg": "°", "deg_s": "°/s", "s": "s", "share": "", "ratio": ""}


def feature_word(name: str) -> str:
    """Plain words for a feature. Raises KeyError for a name that no stage gives."""
    stem = _without_unit(name)
    for tail, word in (("_up_sd", "upper error bar"), ("_sd", "error bar"), ("_over_own", "above your baseline")):
        if stem.endswith(tail):
            return f"{word} of: {_word(stem.removesuffix(tail))}"
    return _word(stem)


def unit_of(name: str) -> str:
    """Sign of a feature's unit; nothing for shares and ratios."""
    return next((sign for unit, sign in UNITS.items() if name.endswith(f"_{unit}") and _longest(name) == unit), "")


def turn_words(turn_deg: float) -> str:
    """Pelvis turn as coaches say it: turned in the backswing, open past square."""
    whole = round(abs(turn_deg))
    if not whole:
        return phrase("turn.square")
    return phrase("turn.open" if turn_deg > 0 else "turn.turned", angle=f"{whole}°")


def rotation_words(rotation_deg: float) -> str:
    """Hip rotation with its sign and the way it goes: −8.4° out."""
    text = f"{rotation_deg:.1f}"
    if float(text) == 0:
        return "0.0°"
    angle = f"{text}°".replace("-", "\N{MINUS SIGN}")
    return phrase("rotation.in" if rotation_deg > 0 else "rotation.out", angle=angle)


def _word(stem: str) -> str:
    if stem in OTHERS:
        return OTHERS[stem]
    for angle, word in ANGLES.items():
        if stem.startswith(f"{angle}_"):
            return f"{word} at {POSITIONS[stem.removeprefix(f'{angle}_')]}"
    raise KeyError(stem)


def _without_unit(name: str) -> str:
    unit = _longest(name)
    return name.removesuffix(f"_{unit}") if unit else name


def _longest(name: str) -> str:
    return max((unit for unit in UNITS if name.endswith(f"_{unit}")), key=len, default="")
