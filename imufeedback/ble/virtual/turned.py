"""A sensor that a hand holds on its six faces and on six edges, one after the other, shaking a little as hands do.

How much it shakes is chosen: 0.15 m/s² between 6 and 12 Hz, a slow sway of 0.02 m/s², and half a degree of turning.
"""

from __future__ import annotations

import itertools
from collections.abc import Iterator

import numpy as np
from scipy.spatial.transform import Rotation

from imufeedback.ble.virtual.sensor import VirtualSensor
from imufeedback.packets import Layout, encode
from imufeedback.records import Floats

REST_S, TURN_S = 3.5, 2.0
FACES = np.vstack((np.eye(3), -np.eye(3)))
EDGES = np.array([[1, 1, 0], [0, 1, 1], [1, 0, 1], [1, -1, 0], [0, 1, -1], [-1, 0, 1]]) / np.sqrt(2)
POSES = len(FACES) + len(EDGES)
ROUTINE_S = POSES * (REST_S + TURN_S) + REST_S
TILT_RAD = 0.12
SHAKE_M_S2, SWAY_M_S2, WOBBLE_RAD = 0.15, 0.02, 0.009
OFFSET_M_S2 = (0.25, -0.18, 0.12)
ACC_SCALE = (1.012, 0.991, 1.004)
GYR_SCALE = (1.010, 0.994, 1.003)
GYR_BIAS_RAD_S = (0.004, -0.006, 0.002)
"""Errors of the virtual sensor: true ones of an ordinary part, in the sensor's favour nowhere."""


def handled(t_s: Floats, seed: int, gravity_m_s2: float) -> tuple[Floats, Floats]:
    """(N, 3) true angular rate and (N, 3) true specific force in the sensor's axes; the last pose is held on."""
    rng = np.random.default_rng([seed, 22])
    ups = np.vstack((rng.permutation(FACES), rng.permutation(EDGES)))
    held = [_towards(up, rng) for up in (*ups, ups[0])]
    period = REST_S + TURN_S
    at = np.minimum((t_s // period).astype(int), POSES - 1)
    since = np.where(t_s >= POSES * period, period, t_s - at * period)
    share = 0.5 * (1 - np.cos(np.pi * np.clip((since - REST_S) / TURN_S, 0.0, 1.0)))
    steps = Rotation.concatenate([a.inv() * b for a, b in itertools.pairwise(held)]).as_rotvec()
    q = Rotation.concatenate(held[:POSES])[at] * Rotation.from_rotvec(steps[at] * share[:, None])
    q = q * Rotation.from_rotvec(_waves(rng, t_s, (0.5, 2.5), WOBBLE_RAD))
    force = np.array([0.0, 0.0, gravity_m_s2]) + _waves(rng, t_s, (6.0, 12.0), SHAKE_M_S2)
    force = force + _waves(rng, t_s, (0.4, 1.2), SWAY_M_S2)
    dt = t_s[1] - t_s[0]
    gyr = (q[:-1].inv() * q[1:]).as_rotvec() / dt
    return np.vstack((gyr[:1], gyr)), q.inv().apply(force)


def _towards(up: Floats, rng: np.random.Generator) -> Rotation:
    """Sensor to world with this axis of the sensor about up, as a hand gets it."""
    turn, _ = Rotation.align_vectors([[0.0, 0.0, 1.0]], [up])
    spin = Rotation.from_rotvec([0.0, 0.0, rng.uniform(-0.8, 0.8)])
    return spin * Rotation.from_rotvec(rng.normal(0.0, TILT_RAD, 3) * [1, 1, 0]) * turn


def _waves(rng: np.random.Generator, t_s: Floats, band_hz: tuple[float, float], rms: float) -> Floats:
    """(N, 3) sums of five sines an axis."""
    hz, phase = rng.uniform(*band_hz, (5, 3)), rng.uniform(0, 2 * np.pi, (5, 3))
    return np.asarray(rms * np.sqrt(2 / 5) * np.sin(2 * np.pi * hz * t_s[:, None, None] + phase).sum(axis=1))


def handled_sensor(layout: Layout, serial: str, gravity_m_s2: float, seed: int = 1) -> VirtualSensor:
    """A sensor with errors, on its way through the routine."""
    return VirtualSensor("bench 1", serial, _payloads(layout, seed, gravity_m_s2), layout, temperature_c=24.5)


def _payloads(layout: Layout, seed: int, gravity_m_s2: float) -> Iterator[tuple[int, bytes]]:
    """The motion is made before the radio begins: a second of computing would be a second behind the clock for ever."""
    rng = np.random.default_rng(seed)
    size = layout.samples_per_packet
    n = np.arange(int(ROUTINE_S * layout.rate_hz) // size * size)
    t_s = n / layout.rate_hz
    gyr, acc = handled(t_s, seed, gravity_m_s2)
    gyr = gyr / GYR_SCALE + GYR_BIAS_RAD_S + rng.normal(0.0, 0.002, gyr.shape)
    acc = acc / ACC_SCALE + OFFSET_M_S2 + rng.normal(0.0, 0.02, acc.shape)
    ticks = np.rint(n * layout.nominal_step_ticks).astype(np.int64)
    parts = [slice(k * size, (k + 1) * size) for k in range(len(n) // size)]
    return (
        (
            round((t_s[part.stop - 1] + 0.005) * 1e9),
            encode(layout, k, int(ticks[part.start]), gyr[part], acc[part], ticks[part]),
        )
        for k, part in enumerate(parts)
    )
