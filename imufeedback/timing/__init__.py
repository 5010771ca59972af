"""Device time to session time: counter unwrap, gaps, restarts, clock fit, merge of sensors."""

from imufeedback.timing.clock import SensorClock
from imufeedback.timing.merge import Merger

__all__ = ["Merger", "SensorClock"]
