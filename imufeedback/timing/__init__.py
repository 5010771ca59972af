"""Device time to session time: counter unwrap, gaps, restarts, clock fit, plausibility, silence, merge."""

from imufeedback.timing.clock import SensorClock
from imufeedback.timing.merge import Merger
from imufeedback.timing.plausible import Plausible
from imufeedback.timing.silence import Sign, Silence

__all__ = ["Merger", "Plausible", "SensorClock", "Sign", "Silence"]
