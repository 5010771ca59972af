"""Sensors whose axes, signs or units are wrong, worn in calibration movements and turned by hand."""

from __future__ import annotations

from collections.abc import Callable, Iterable, Iterator
from dataclasses import replace

import numpy as np
from scipy.spatial.transform import Rotation

from imufeedback.constants import STANDARD_GRAVITY_M_S2
from imufeedback.measure.fitters import RATE_HZ, TYPICAL, Performance
from imufeedback.records import Floats, RawPacket, Segment
from imufeedback.synth.errors import SensorModel
from imufeedback.synth.stream import serial_of
from imufeedback.synth.worn_sensor import WornSensor

Samples = tuple[Floats, Floats, Floats]
"""(N,) s, (N, 3) rad/s, (N, 3) m/s²"""

DEG = 180.0 / np.pi
UNITS: dict[str, Callable[[Samples], Samples]] = {
    "deg for rad": lambda x: (x[0], x[1] * DEG, x[2]),
    "rad for deg": lambda x: (x[0], x[1] / DEG, x[2]),
    "g for m/s²": lambda x: (x[0], x[1], x[2] / STANDARD_GRAVITY_M_S2),
    "ms for s": lambda x: (x[0] * 1e3, x[1], x[2]),
}
"""Values of one unit under the name of another."""


def inverted(samples: Samples) -> Samples:
    """Gravity where specific force should be."""
    return samples[0], samples[1], -samples[2]


def mapped(samples: Samples, axes: Floats) -> Samples:
    """The gyroscope's axes mixed up by a (3, 3) signed permutation."""
    return samples[0], samples[1] @ axes.T, samples[2]


def worn(session: Performance, model: SensorModel | None = TYPICAL) -> dict[Segment, Samples]:
    """What the sensors of a performance measure, without a radio."""
    numbers = np.arange(int(session.script.duration_s * RATE_HZ))
    t_s: Floats = numbers / RATE_HZ
    out = {}
    for segment, place in session.places.items():
        gyr, acc = WornSensor(session.script, place, model, rate_hz=RATE_HZ).measure(numbers, t_s)
        out[segment] = t_s, gyr, acc
    return out


def rewired(
    packets: Iterable[RawPacket], segment: Segment, change: Callable[[Samples], Samples]
) -> Iterator[RawPacket]:
    """Packets of the lossless layout, one sensor's samples changed; its times are the layout's and stay."""
    for packet in packets:
        if packet.sensor == serial_of(segment):
            samples = np.frombuffer(packet.payload, _SAMPLE, offset=_HEADER_BYTES).copy()
            t_s = samples["tick"] * 1e-9
            _, gyr, acc = change((t_s, samples["value"][:, :3], samples["value"][:, 3:]))
            samples["value"] = np.hstack((gyr, acc))
            packet = replace(packet, payload=packet.payload[:_HEADER_BYTES] + samples.tobytes())
        yield packet


_SAMPLE = np.dtype([("tick", "<u8"), ("value", "<f8", 6)])
_HEADER_BYTES = 8


# ── turned by hand ───────────────────────────────────────────────────────────────────────────────────────────────

HAND_HZ = 100.0
STILL_S = 2.5


def by_hand(seed: int) -> Samples:
    """Two turns of 60 to 120° in 1 to 3 s about two axes of a sensor, still before, between and after them.

    The axes are two of the case's own, as far as a hand gets them right (8°), in any order and sense; the hand trembles
    at 2 to 10 Hz, turns about a pivot up to 0.3 m away, and carries the sensor a little. The sensor is a typical one.
    Chosen; no source says how people turn a sensor.
    """
    rng = np.random.default_rng([seed, 31])
    axes = np.eye(3)[rng.permutation(3)[:2]] * rng.choice([-1.0, 1.0], (2, 1))
    axes = Rotation.from_rotvec(np.radians(8.0) * rng.standard_normal((2, 3))).apply(axes)
    amounts, lasts = np.radians(rng.uniform(60, 120, 2)), rng.uniform(1.0, 3.0, 2)
    begins = np.array([STILL_S, 2 * STILL_S + lasts[0]])
    count = int((begins[1] + lasts[1] + STILL_S) * HAND_HZ)
    t_s: Floats = np.arange(count) / HAND_HZ
    share = [np.clip((t_s - b) / last, 0.0, 1.0) for b, last in zip(begins, lasts, strict=True)]
    smooth = [u**3 * (10 - 15 * u + 6 * u * u) for u in share]
    busy = sum(((u > 0) & (u < 1)).astype(float) for u in share) + 0.1
    busy = np.convolve(np.pad(busy, 25, mode="edge"), np.ones(51) / 51, mode="valid")
    shake = busy[:, None] * np.radians(0.8) * _noise(rng, t_s, 2.0, 10.0)
    pose = Rotation.random(rng=rng) if rng.uniform() < 0.5 else Rotation.from_rotvec(0.2 * rng.standard_normal(3))
    # gravity must not lie along the axis that is turned about: it is told to be level
    level = _level(pose, axes[0], rng)
    pose_of = level * Rotation.from_rotvec(smooth[0][:, None] * amounts[0] * axes[0])
    pose_of = pose_of * Rotation.from_rotvec(smooth[1][:, None] * amounts[1] * axes[1]) * Rotation.from_rotvec(shake)
    gyr = np.vstack(((pose_of[:-1].inv() * pose_of[1:]).as_rotvec() * HAND_HZ, np.zeros((1, 3))))
    gyr[1:-1] = 0.5 * (gyr[1:-1] + gyr[:-2])
    pivot = rng.uniform(0.0, 0.3) * _unit(rng.standard_normal(3))
    place = pose_of.apply(pivot) + busy[:, None] * 0.004 * _noise(rng, t_s, 0.3, 3.0)
    moved = np.gradient(np.gradient(place, 1 / HAND_HZ, axis=0), 1 / HAND_HZ, axis=0)
    acc = pose_of.inv().apply(moved + np.array([0.0, 0.0, STANDARD_GRAVITY_M_S2]))
    return t_s, _measured(rng, gyr, 0.02, 0.005), _measured(rng, acc, 0.25, 0.03)


def _level(pose: Rotation, axis: Floats, rng: np.random.Generator) -> Rotation:
    """The pose, tipped so that an axis of the sensor lies level within 20°."""
    wanted = _unit(np.array([*rng.standard_normal(2), 0.0])) + np.array(
        [0.0, 0.0, np.sin(np.radians(rng.uniform(-20, 20)))]
    )
    now = pose.apply(axis)
    turn, _ = Rotation.align_vectors(_unit(wanted)[None], now[None])
    return turn * pose


def _noise(rng: np.random.Generator, t_s: Floats, low_hz: float, high_hz: float) -> Floats:
    """(N, 3) of size one, a band of frequencies."""
    f, phase = rng.uniform(low_hz, high_hz, (12, 3)), rng.uniform(0, 2 * np.pi, (12, 3))
    out: Floats = np.sin(2 * np.pi * f * t_s[:, None, None] + phase).sum(axis=1) / np.sqrt(6)
    return out


def _measured(rng: np.random.Generator, true: Floats, offset: float, noise: float) -> Floats:
    """With an offset, 1 % of scale and of cross-axis error, and noise."""
    matrix = np.eye(3) + 0.01 * rng.standard_normal((3, 3))
    out: Floats = true @ matrix.T + offset * rng.standard_normal(3) + noise * rng.standard_normal(true.shape)
    return out


def _unit(v: Floats) -> Floats:
    out: Floats = v / np.linalg.norm(v)
    return out
