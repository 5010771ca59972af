"""Zero-g offset of an accelerometer, from movements that turn it against gravity.

In the frame that the gyroscope carries along, gravity stands still and the offset turns with the sensor:

    acc = Sᵀ·G + b

which is linear in G and b. A knee lift or a bow turns a sensor by 45 to 75 degrees about one axis; that shows the two
components of b across this axis. What a movement does not show stays near zero, by the prior.
"""

from __future__ import annotations

import numpy as np

from imufeedback.body.strapdown import Strapdown
from imufeedback.body.stretch import Stretch
from imufeedback.records import Floats

MAX_SPAN_S = 45.0
"""Longer than this the gyroscope's own drift would be taken for an offset."""
BIN_S = 0.25
PRIOR_SD_M_S2 = 0.22
"""22 mg: consumer parts have ±20 to ±60 mg (data sheets, second-hand)."""
MOST_M_S2 = 0.8
"""No part has more (80 mg); such a result says that the movements were not what they should have been."""
STILL_SD_M_S2, MOVING_SD = 0.02, 0.6
"""Spread of one bin: at rest, and per m/s² that the accelerometer swings within it or per rad/s of rotation."""


def zero_g_offset(stretch: Stretch, span_s: float, arm_s: Floats) -> tuple[Floats, Floats]:
    """(3,) m/s², sensor frame, and (3, 3) its covariance; zeros, and the prior's, when the samples have gaps, or span
    too long a time.

    `arm_s` (3,) m leads from the sensor to the point that hardly moves in these movements, the hip centre: what the
    sensor feels by going round it is taken off.
    """
    size = max(round(BIN_S * stretch.rate_hz), 1)
    count = len(stretch.acc_m_s2) // size
    if span_s > MAX_SPAN_S or len(stretch.acc_m_s2) < span_s * stretch.rate_hz - 1.5 or count < 8:
        return _UNKNOWN
    rates = stretch.gyr_rad_s[: count * size]
    S = Strapdown(1.0 / stretch.rate_hz).turned(rates[None], rates[:1])[0]
    spin = np.gradient(rates, 1.0 / stretch.rate_hz, axis=0)
    at_hip = stretch.acc_m_s2[: count * size] + np.cross(spin, arm_s) + np.cross(rates, np.cross(rates, arm_s))
    acc = at_hip.reshape(count, size, 3)
    turned = np.swapaxes(S, 1, 2).reshape(count, size, 3, 3).mean(axis=1)
    swing = acc.std(axis=1).max(axis=1) + np.sqrt((rates.reshape(count, size, 3) ** 2).sum(axis=2)).mean(axis=1)
    weight = 1.0 / (STILL_SD_M_S2 + MOVING_SD * swing)
    A = np.zeros((3 * count + 3, 6))
    A[:-3, :3] = (weight[:, None, None] * turned).reshape(-1, 3)
    A[:-3, 3:] = (weight[:, None, None] * np.eye(3)).reshape(-1, 3)
    A[-3:, 3:] = np.eye(3) / PRIOR_SD_M_S2
    y = np.concatenate(((weight[:, None] * acc.mean(axis=1)).ravel(), np.zeros(3)))
    covariance = np.linalg.inv(A.T @ A)
    offset = np.asarray((covariance @ (A.T @ y))[3:], dtype=np.float64)
    spread = np.asarray(covariance[3:, 3:], dtype=np.float64)
    return (offset, spread) if np.linalg.norm(offset) <= MOST_M_S2 else _UNKNOWN


_UNKNOWN = np.zeros(3), PRIOR_SD_M_S2**2 * np.eye(3)
