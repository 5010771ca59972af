"""Device time to session time: counter unwrap, gaps, restarts, clock fit, plausibility, silence, merge; wild times."""

from imufeedback.timing.clock import SensorClock
from imufeedback.timing.instants import Instants
from imufeedback.timing.merge import Merger
from imufeedback.timing.plausible import Plausible
from imufeedback.timing.silence import SilenceWatch, WakeSign

__all__ = ["Instants", "Merger", "Plausible", "SensorClock", "SilenceWatch", "WakeSign"]
