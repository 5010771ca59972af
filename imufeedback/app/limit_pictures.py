"""What a limit is about, as the body in one pose and one view. The poses are made up to be read at once."""

from __future__ import annotations

from dataclasses import dataclass

from imufeedback.figure.drawing import DrawnExtras, View
from imufeedback.figure.pose import POSE
from imufeedback.records import Floats, Hand, frozen


@dataclass(frozen=True, slots=True)
class LimitPicture:
    """Angles in degrees that differ from standing, by the names of a pose with ``trail`` and ``lead`` for the sides."""

    view: View
    angles: dict[str, float]

    def pose(self, hand: Hand, target_deg: float | None) -> tuple[Floats, DrawnExtras]:
        """For a player's hand; the thigh's target is drawn where the picture is about the thigh."""
        named = {}
        for name, value in self.angles.items():
            side = {"trail": hand.trail, "lead": hand.lead}.get(name.partition("_")[0])
            named[name if side is None else f"{side}_{name.partition('_')[2]}"] = value
        shanks = any("knee" in name for name in named)
        pose = frozen([named.get(name, 0.0 if shanks or "knee" not in name else float("nan")) for name in POSE])
        return pose, DrawnExtras(target_deg if self.view is View.PELVIS else None, shanks=shanks)


_THIGH = LimitPicture(View.PELVIS, {"trail_hip_flexion_deg": 24.0, "lead_hip_flexion_deg": 4.0})
_TURN = LimitPicture(
    View.TOP, {"pelvis_turn_deg": 40.0, "lead_hip_internal_rotation_deg": 35.0, "trail_hip_flexion_deg": 10.0}
)
_BACK = LimitPicture(
    View.TOP, {"pelvis_turn_deg": -35.0, "trail_hip_internal_rotation_deg": 30.0, "lead_hip_flexion_deg": 10.0}
)
_LEVEL = LimitPicture(View.FACE_ON, {"pelvis_turn_deg": 15.0, "pelvis_side_tilt_deg": 8.0})
_KNEES = LimitPicture(
    View.PELVIS,
    {"lead_knee_flexion_deg": 10.0, "trail_knee_flexion_deg": 45.0, "trail_hip_flexion_deg": 30.0},
)
_BEGIN = (
    ("trail_thigh_", _THIGH),
    ("trail_hip_turn_in_back_", _BACK),
    ("level_", _LEVEL),
    ("knees_", _KNEES),
    ("lead_knee_", _KNEES),
    ("least_flexed_", _THIGH),
    ("standing_thigh_", _THIGH),
)


def picture(feature: str) -> LimitPicture:
    """Of a rule's feature."""
    return next((found for begin, found in _BEGIN if feature.startswith(begin)), _TURN)
