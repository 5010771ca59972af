"""A sensor's own calibration, taken off its samples."""

from __future__ import annotations

from dataclasses import replace

import numpy as np

from imufeedback.records import Floats, ImuBlock, frozen
from imufeedback.settings import Calibration


class Corrected:
    """Corrects blocks of one sensor; without a calibration they stay as they are. Has no memory."""

    def __init__(self, calibration: Calibration | None) -> None:
        self._one = calibration
        if calibration is not None:
            self._matrix = matrix(calibration)
            self._offset = np.array(calibration.acc_offset_m_s2)
            self._gyr = np.array(calibration.gyr_matrix)
            self._bias = np.array(calibration.gyr_bias_rad_s)

    def feed(self, block: ImuBlock) -> ImuBlock:
        if self._one is None:
            return block
        acc = _through(self._matrix, block.acc_m_s2 - self._offset)
        gyr = _through(self._gyr, block.gyr_rad_s - self._bias)
        return replace(block, acc_m_s2=frozen(acc), gyr_rad_s=frozen(gyr))


def _through(turned: Floats, values: Floats) -> Floats:
    # Not `@`: its last bit depends on how many samples there are.
    x, y, z = (values[:, k, None] * turned[:, k] for k in range(3))
    return np.asarray(x + y + z)


def matrix(one: Calibration) -> Floats:
    """(3, 3) upper triangular."""
    out = np.diag(np.array(one.acc_scale))
    out[0, 1], out[0, 2], out[1, 2] = one.acc_cross
    return out
