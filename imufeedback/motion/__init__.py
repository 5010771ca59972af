"""Angles to live states, phases, positions, reps and what can be measured of a rep."""

from imufeedback.motion.forearm import without_forearm
from imufeedback.motion.hip_turn import HipTurnStage
from imufeedback.motion.hold import HoldLimits, HoldStage
from imufeedback.motion.live import LiveLimits
from imufeedback.motion.needs import Needed, Restarted, of_swing
from imufeedback.motion.phases import RepLimits
from imufeedback.motion.stage import MotionStage
from imufeedback.motion.taps import Taps

__all__ = [
    "HipTurnStage",
    "HoldLimits",
    "HoldStage",
    "LiveLimits",
    "MotionStage",
    "Needed",
    "RepLimits",
    "Restarted",
    "Taps",
    "of_swing",
    "without_forearm",
]
