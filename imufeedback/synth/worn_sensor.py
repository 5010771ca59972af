"""One sensor as it is worn: what carries it, and its own errors."""

from __future__ import annotations

import numpy as np

from imufeedback.records import Floats, Ints
from imufeedback.synth.errors import SensorErrors
from imufeedback.synth.presets import SensorModel
from imufeedback.synth.script import Script
from imufeedback.synth.sensors import ImuPlace, measure, measure_on
from imufeedback.synth.tissue import Carrier


class WornSensor:
    """Measures during a script. The strap, if it slips, does so when the calibration movements are over."""

    def __init__(
        self, script: Script, place: ImuPlace, model: SensorModel | None = None, *, rate_hz: float = 200.0
    ) -> None:
        """No `model` is a perfect sensor on the bone. `rate_hz` is the rate that is asked of it."""
        self.script = script
        self.place = place
        self.errors = None if model is None else SensorErrors(model, script.seed, place.segment, rate_hz)
        twist = 0.0 if self.errors is None else self.errors.strap_twist_rad
        tissue = None if model is None else model.tissue
        self.carrier = Carrier(script.golfer, place.segment, tissue, twist, script.ready_s)

    def measure(self, samples: Ints, t_s: Floats) -> tuple[Floats, Floats]:
        """Angular rate (N, 3) in rad/s and specific force (N, 3) in m/s², in the sensor's axes.

        `samples` (N,) are running numbers and `t_s` (N,) their true instants; stretches of any size give the same.
        """
        pose = self.script.golfer.pose(np.asarray(t_s, dtype=np.float64), (self.place.segment,))
        if self.errors is None:
            return measure(pose, self.place)
        gyr, acc = measure_on(self.carrier.frame(pose), self.place)
        return self.errors.apply(samples, t_s, gyr, acc)
