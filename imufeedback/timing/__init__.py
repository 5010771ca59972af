"""Device time to session time: counter unwrap, gaps, restarts, clock fit, plausibility, merge of sensors."""

from imufeedback.timing.clock import SensorClock
from imufeedback.timing.merge import Merger
from imufeedback.timing.plausible import Plausible

__all__ = ["Merger", "Plausible", "SensorClock"]
