"""Sensors' own errors, found by turning each by hand (`sensors calibrate`)."""

from __future__ import annotations

from collections.abc import Iterator

import numpy as np

from imufeedback.ble.virtual.turned import ROUTINE_S, handled
from imufeedback.constants import normal_gravity_m_s2
from imufeedback.fusion.corrected import matrix
from imufeedback.fusion.six_faces import Contradiction, calibrated
from imufeedback.measure.checks import Context, Measured, Step, at_most, exactly
from imufeedback.records import Segment
from imufeedback.synth.errors import PRESETS, SensorErrors

RATE_HZ = 200.0
SENSORS, QUICK_SENSORS = 100, 10


def by_hand(context: Context) -> Iterator[Measured]:
    """Typical sensors in shaking hands: what is found against what was drawn."""
    count = QUICK_SENSORS if context.quick else SENSORS
    g = normal_gravity_m_s2(np.deg2rad(45.0))
    n = np.arange(int(ROUTINE_S * RATE_HZ))
    offsets, scales, gyr_scales, refused = [], [], [], 0
    for k in range(count):
        errors = SensorErrors(PRESETS["typical"], context.seed * 1000 + k, Segment.PELVIS, RATE_HZ)
        t_s = n / RATE_HZ
        gyr, acc = errors.apply(n, t_s, *handled(t_s, context.seed * 1000 + k, g))
        try:
            found = calibrated(t_s, gyr, acc, g)
        except Contradiction:
            refused += 1
            continue
        # What is left: a whole turn of the sensor's axes cannot be seen, so only lengths along the axes are compared.
        left = matrix(found) @ errors.acc_matrix
        offsets.append(np.abs(np.array(found.acc_offset_m_s2) - errors.acc_bias_m_s2).max())
        scales.append(np.abs(np.diag(left) - 1).max())
        gyr_scales.append(np.abs(np.diag(np.array(found.gyr_matrix) @ errors.gyr_matrix) - 1).max())
    name = f"calibrated by hand, {count} sensors"
    yield Measured(f"{name}: refused", refused, exactly(0), "sensors")
    yield Measured(f"{name}: offset, worst axis, 95th percentile", 1e3 * _p95(offsets), at_most(15.0), "mm/s²")
    yield Measured(f"{name}: accelerometer scale, worst axis, 95th percentile", 100 * _p95(scales), at_most(0.2), "%")
    yield Measured(f"{name}: gyroscope scale, worst axis, 95th percentile", 100 * _p95(gyr_scales), at_most(0.5), "%")


def _p95(values: list[float]) -> float:
    return float(np.percentile(values, 95)) if values else float("nan")


STEPS = (Step("calibration by hand", by_hand),)
