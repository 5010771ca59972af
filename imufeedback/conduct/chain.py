"""The stages of one sensor."""

from __future__ import annotations

from dataclasses import dataclass

from imufeedback.fusion import Fusion
from imufeedback.fusion.corrected import Corrected
from imufeedback.packets import Decoder
from imufeedback.settings import Sensor
from imufeedback.timing import Plausible, SensorClock


@dataclass
class Chain:
    """Decoder, clock, the sensor's own calibration, judgement of what can be true, and orientation."""

    sensor: Sensor
    decoder: Decoder
    clock: SensorClock
    corrected: Corrected
    plausible: Plausible
    fusion: Fusion
    live: bool
    """Its packets come by radio, so that their arrival says something; not those of an import."""
    packet_s: float
    """What one of its packets lasts, as its layout says."""
    origin_ns: int
    """Host time of session time 0."""

    def seconds(self, host_ns: int) -> float:
        """Session time of a host time."""
        return (host_ns - self.origin_ns) * 1e-9
