"""Ideal samples -> what a real sensor would have measured.

The order is that of the part: what it feels, through scale and cross-axis, plus bias and noise, cut at the end of the
range and rounded to 16 bit. Every sample is a function of the seed, its number and its instant alone: samples may be
asked for in stretches of any size.
"""

from __future__ import annotations

import numpy as np
import numpy.typing as npt

from imufeedback.constants import STANDARD_GRAVITY_M_S2
from imufeedback.records import Floats, Ints, Segment, frozen
from imufeedback.synth.golfer import BODY
from imufeedback.synth.presets import PRESETS, SensorModel, SoftTissue

__all__ = ["PRESETS", "SensorErrors", "SensorModel", "SoftTissue", "digitised"]

GYR_LSB_RAD_S = float(np.deg2rad(2000 / 32768))
ACC_LSB_M_S2 = 16 / 32768 * STANDARD_GRAVITY_M_S2
"""±2000 °/s and ±16 g in 16 bit: data sheets."""
WARM_UP_TAU_S = 600.0
"""Time constant of the warming after turn-on; chosen, no source."""
INSTABILITY_TAU_S = 300.0
"""Correlation time of the wandering bias; chosen, no source."""
FLOOR_TO_SPREAD = 1 / 0.664
"""Floor of the Allan deviation, which data sheets call instability, to the spread of the bias (IEEE Std 952, from
memory)."""
KNOT_S = 10.0
"""The bias wanders from knot to knot of this distance, and goes straight between them."""
BLOCK = 1024
"""White noise is drawn for so many samples at once."""

DPH = float(np.deg2rad(1.0)) / 3600
MG = 1e-3 * STANDARD_GRAVITY_M_S2


class SensorErrors:
    """The errors of one sensor: drawn once from the seed, the same for every preset but for their size."""

    def __init__(self, model: SensorModel, seed: int, segment: Segment, rate_hz: float) -> None:
        key = [seed, 8, BODY.index(segment)]
        rng = np.random.default_rng(key)
        self.model = model
        self.gyr_bias_rad_s = np.deg2rad(model.gyr_bias_dps) * rng.standard_normal(3)
        self.acc_bias_m_s2 = model.acc_bias_mg * MG * rng.standard_normal(3)
        self.gyr_bias_per_k = np.deg2rad(model.gyr_bias_dps_per_k) * rng.standard_normal(3)
        self.gyr_matrix = _matrix(rng, model.gyr_scale_percent, model.gyr_cross_percent)
        self.acc_matrix = _matrix(rng, model.acc_scale_percent, model.acc_cross_percent)
        self.rate_error = model.rate_error_percent / 100 * float(rng.uniform(-1, 1))
        """Part by which the sensor samples too fast."""
        self.strap_twist_rad = float(np.deg2rad(model.strap_twist_deg) * rng.standard_normal())
        self._walk = _BiasWalk(model, np.random.default_rng([*key, 1]))
        self._noise = _WhiteNoise(model, [*key, 2], rate_hz)

    def apply(
        self, samples: Ints, t_s: Floats, gyr: Floats, acc: Floats, warmer_k: npt.ArrayLike | None = None
    ) -> tuple[Floats, Floats]:
        """Measured angular rate (N, 3) and specific force (N, 3), from the ideal ones in the sensor's axes.

        `samples` (N,) are their running numbers and `t_s` (N,) their instants since turn-on. `warmer_k` (N,) is the
        temperature above that at turn-on; left out, the sensor warms as the model says.
        """
        warmer = self.warming_k(t_s) if warmer_k is None else np.asarray(warmer_k, dtype=np.float64)
        noise = self._noise.at(samples)
        bias = self.gyr_bias_rad_s + warmer[:, None] * self.gyr_bias_per_k + self._walk.at(t_s)
        measured_gyr = _through(self.gyr_matrix, gyr) + bias + noise[:, :3]
        measured_acc = _through(self.acc_matrix, acc) + self.acc_bias_m_s2 + noise[:, 3:]
        if not self.model.digital:
            return frozen(measured_gyr), frozen(measured_acc)
        return frozen(digitised(measured_gyr, GYR_LSB_RAD_S)), frozen(digitised(measured_acc, ACC_LSB_M_S2))

    def warming_k(self, t_s: Floats) -> Floats:
        """(N,) temperature above that at turn-on."""
        return np.asarray(self.model.warm_up_k * -np.expm1(-np.maximum(t_s, 0.0) / WARM_UP_TAU_S))


def digitised(values: Floats, lsb: float) -> Floats:
    """The nearest of the 65,536 values that a 16-bit number of steps `lsb` can have."""
    return np.clip(np.rint(values / lsb), -32768, 32767) * lsb


def _matrix(rng: np.random.Generator, scale_percent: float, cross_percent: float) -> Floats:
    off = np.where(np.eye(3, dtype=bool), scale_percent, cross_percent) / 100
    return np.eye(3) + off * rng.standard_normal((3, 3))


def _through(matrix: Floats, values: Floats) -> Floats:
    # Not `@`: its last bit depends on how many samples there are.
    return values[:, :1] * matrix[:, 0] + values[:, 1:2] * matrix[:, 1] + values[:, 2:] * matrix[:, 2]


class _BiasWalk:
    """Wandering gyroscope bias: a first-order Gauss-Markov process and a random walk, both 0 at turn-on."""

    def __init__(self, model: SensorModel, rng: np.random.Generator) -> None:
        self._rng = rng
        self._keep = float(np.exp(-KNOT_S / INSTABILITY_TAU_S))
        spread = model.gyr_instability_dph * DPH * FLOOR_TO_SPREAD
        self._steps = spread * np.sqrt(1 - self._keep**2), model.gyr_walk_dph * DPH * np.sqrt(KNOT_S / 3600)
        self._wander, self._sum = np.zeros(3), np.zeros(3)
        self._knots: list[Floats] = [np.zeros(3)]

    def at(self, t_s: Floats) -> Floats:
        """(N, 3) rad/s."""
        place = np.maximum(t_s, 0.0) / KNOT_S
        first = int(place.min(initial=0.0))
        last = int(place.max(initial=0.0)) + 1
        while len(self._knots) <= last:
            self._grow()
        knots = np.array(self._knots[first : last + 1])
        below = place.astype(np.int64)
        part = (place - below)[:, None]
        return np.asarray((1 - part) * knots[below - first] + part * knots[below - first + 1])

    def _grow(self) -> None:
        wander, walk = self._rng.standard_normal((2, 3))
        self._wander = self._keep * self._wander + self._steps[0] * wander
        self._sum = self._sum + self._steps[1] * walk
        self._knots.append(self._wander + self._sum)


class _WhiteNoise:
    """White noise of gyroscope and accelerometer by the number of the sample."""

    def __init__(self, model: SensorModel, key: list[int], rate_hz: float) -> None:
        gyr = np.deg2rad(model.gyr_noise_dps_rthz)
        acc = model.acc_noise_ug_rthz * 1e-3 * MG
        self._spread = np.sqrt(rate_hz / 2) * np.array([gyr] * 3 + [acc] * 3)
        self._key = key
        self._blocks: dict[int, Floats] = {}

    def at(self, samples: Ints) -> Floats:
        """(N, 6) rad/s and m/s²."""
        out = np.zeros((len(samples), 6))
        if not self._spread.any():
            return out
        blocks = samples // BLOCK
        for one in np.unique(blocks).tolist():
            here = blocks == one
            out[here] = self._block(one)[samples[here] - one * BLOCK]
        return out

    def _block(self, number: int) -> Floats:
        if number not in self._blocks:
            drawn = np.random.default_rng([*self._key, number]).standard_normal((BLOCK, 6))
            latest = list(self._blocks.items())[-1:]  # two neighbours are all that a stretch after another needs
            self._blocks = dict([*latest, (number, self._spread * drawn)])
        return self._blocks[number]
