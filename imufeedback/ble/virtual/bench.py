"""Three virtual sensors on a table: still, turned by 90° and back, then shaken together, again and again.

For trying `sensors` without hardware, and for its tests.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass

import numpy as np
from scipy.spatial.transform import Rotation

from imufeedback.ble.virtual.sensor import VirtualSensor
from imufeedback.packets import Layout, encode
from imufeedback.records import Floats, Segment

ROUND_S = 18.0
TURN_S = ((4.0, 6.0, 1.0), (9.0, 11.0, -1.0))
SHAKE_S = (13.0, 16.5)
NAMES = ("BENCH-1", "BENCH-2", "BENCH-3")
PLACES = (Segment.PELVIS, Segment.LEFT_THIGH, Segment.RIGHT_THIGH)


@dataclass(frozen=True, slots=True)
class Quirk:
    """How one sensor of the bench differs from the others."""

    skew_ppm: float = 0.0
    delay_s: float = 0.0
    """Of its low-pass filter."""
    gyr_gain: float = 1.0
    acc_gain: float = 1.0


QUIRKS = (Quirk(20.0), Quirk(-30.0, 0.006), Quirk(5.0, 0.002))


def motion(t_s: Floats) -> tuple[Floats, Floats]:
    """(N, 3) angular rate in the body's frame and (N, 3) specific force; the turn and the shake are about its x
    axis."""
    now = t_s % ROUND_S
    rate, angle = np.zeros(len(now)), np.zeros(len(now))
    for begin, end, sign in TURN_S:
        share = np.clip((now - begin) / (end - begin), 0.0, 1.0)
        angle += sign * np.pi / 2 * 0.5 * (1 - np.cos(np.pi * share))
        inside = (share > 0) & (share < 1)
        rate += np.where(inside, sign * np.pi / 2 * 0.5 * np.pi / (end - begin) * np.sin(np.pi * share), 0.0)
    shaken = (now >= SHAKE_S[0]) & (now < SHAKE_S[1])
    wave = 2 * np.pi * np.array([2.3, 3.7])
    since = now - SHAKE_S[0]
    for k, w in enumerate(wave):
        rate += np.where(shaken, (4.0 - k) * np.sin(w * since), 0.0)
        angle += np.where(shaken, (4.0 - k) / w * (1 - np.cos(w * since)), 0.0)
    gyr = np.column_stack([rate, np.zeros_like(rate), np.zeros_like(rate)])
    acc = Rotation.from_rotvec(np.column_stack([angle, 0 * angle, 0 * angle])).inv().apply([0.0, 0.0, 9.81])
    return gyr, acc


def payloads(layout: Layout, number: int, quirk: Quirk, seconds: float) -> Iterator[tuple[int, bytes]]:
    """What sensor `number` sends: its own way up, noise, clock, filter."""
    rng = np.random.default_rng(number)
    mounting = Rotation.random(rng=np.random.default_rng(number + 50))
    size = layout.samples_per_packet
    at_once = max(1, round(layout.rate_hz / size))
    for first in range(0, int(seconds * layout.rate_hz) // size, at_once):
        n = first * size + np.arange(at_once * size)
        t_s = n / layout.rate_hz
        gyr, acc = motion(t_s - quirk.delay_s)
        gyr = quirk.gyr_gain * mounting.apply(gyr) + rng.normal(0.0, 0.004, gyr.shape)
        acc = quirk.acc_gain * mounting.apply(acc) + rng.normal(0.0, 0.02, acc.shape)
        ticks = np.rint(n * layout.nominal_step_ticks * (1 + quirk.skew_ppm * 1e-6)).astype(np.int64)
        delays = 0.002 + rng.exponential(0.003, at_once)
        for k in range(at_once):
            part = slice(k * size, (k + 1) * size)
            payload = encode(layout, first + k, int(ticks[part.start]), gyr[part], acc[part], ticks[part])
            yield round((t_s[part.stop - 1] + delays[k]) * 1e9), payload


def sensors(layout: Layout, seconds: float, quirks: tuple[Quirk, ...] = QUIRKS) -> list[VirtualSensor]:
    """The bench's sensors, with so much to send."""
    return [
        VirtualSensor(
            f"bench {k + 1}",
            NAMES[k],
            _in_order(payloads(layout, k, quirk, seconds)),
            layout,
            place=str(PLACES[k]),
            temperature_c=24.5 + k,
        )
        for k, quirk in enumerate(quirks)
    ]


def _in_order(made: Iterator[tuple[int, bytes]]) -> Iterator[tuple[int, bytes]]:
    """A radio that keeps the order: nothing arrives before what was sent earlier."""
    latest = 0
    for deliver_ns, payload in made:
        latest = max(latest, deliver_ns)
        yield latest, payload
