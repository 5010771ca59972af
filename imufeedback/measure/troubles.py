"""What can befall a session while somebody moves: each trouble changes the packets of some sensors from an instant on.

Only packets of the lossless layout, whose samples carry their own time.
"""

from __future__ import annotations

from collections.abc import Callable, Collection, Sequence
from dataclasses import dataclass, replace
from functools import partial

import msgspec
import numpy as np

from imufeedback.commands import Begin, recorded, settings_of
from imufeedback.constants import STANDARD_GRAVITY_M_S2
from imufeedback.records import Command, RawPacket

_SAMPLE = np.dtype([("tick", "<u8"), ("gyr", "<f8", 3), ("acc", "<f8", 3)])
_HEADER_BYTES, _COUNT_AT, _SEQUENCE_AT = 8, 2, 4
BOOT_S = 0.4
"""A sensor that restarts is silent for so long; chosen."""
FULL_SCALE_RAD_S = float(np.deg2rad(2000.0))
CLIPPED_S = 0.040
SHOCK_S, SHOCK_G, SHOCK_EVERY_S = 0.010, 16.0, 0.1

Packets = Sequence[RawPacket]
Change = Callable[[Packets, float, Collection[str]], list[RawPacket]]
"""(all packets, instant s, ids of the sensors that it befalls) → packets."""


@dataclass(frozen=True, slots=True)
class TroubleKind:
    """One kind."""

    name: str
    lasts_s: float
    change: Change
    blind: bool
    """Samples are missing, or wrong, meanwhile: what rests on them cannot be known."""
    full_scale_rad_s: float | None = None
    """Declared in the layout."""


def samples_of(packet: RawPacket) -> np.ndarray:
    """A copy of its samples, fields ``tick`` (ns), ``gyr`` (3,) rad/s, ``acc`` (3,) m/s²."""
    return np.frombuffer(packet.payload, _SAMPLE, offset=_HEADER_BYTES).copy()


def with_samples(packet: RawPacket, samples: np.ndarray) -> RawPacket:
    """The packet with these samples instead; there may be fewer."""
    head = packet.payload[:_COUNT_AT] + len(samples).to_bytes(2, "little") + packet.payload[_SEQUENCE_AT:_HEADER_BYTES]
    return replace(packet, payload=head + samples.tobytes())


def with_full_scale(first: Command, full_scale_rad_s: float | None) -> Command:
    """The session's first command with the end of the gyroscopes' range in its layouts."""
    if full_scale_rad_s is None:
        return first
    line = 'unit = "rad/s"\nscale = 1.0'
    settings = settings_of(first)
    full = f"{line}\nfull_scale = {full_scale_rad_s!r}"
    layouts = {name: text.replace(line, full) for name, text in settings.layouts.items()}
    return recorded(first.host_ns, Begin.of(msgspec.structs.replace(settings, layouts=layouts)))


# ── the kinds ────────────────────────────────────────────────────────────────────────────────────────────────────


def gap(packets: Packets, at_s: float, sensors: Collection[str], *, lasts_s: float) -> list[RawPacket]:
    """Samples of that time never come."""
    out = []
    for one in packets:
        if one.sensor in sensors and at_s - 1.0 <= one.host_ns * 1e-9 < at_s + lasts_s + 1.0:
            samples = samples_of(one)
            t_s = samples["tick"] * 1e-9
            kept = samples[(t_s < at_s) | (t_s >= at_s + lasts_s)]
            if not len(kept):
                continue
            if len(kept) < len(samples):
                one = with_samples(one, kept)
        out.append(one)
    return out


def loss(packets: Packets, at_s: float, sensors: Collection[str], *, lasts_s: float, share: float) -> list[RawPacket]:
    """Single packets are lost; which ones depends on the instant."""
    rng = np.random.default_rng(int(at_s * 1e3))
    return [
        one
        for one in packets
        if rng.random() >= share or not (one.sensor in sensors and at_s <= one.host_ns * 1e-9 < at_s + lasts_s)
    ]


def restart(packets: Packets, at_s: float, sensors: Collection[str]) -> list[RawPacket]:
    """Silent for `BOOT_S`, then counters from 0."""
    first: dict[str, tuple[int, int]] = {}
    out = []
    for one in gap(packets, at_s, sensors, lasts_s=BOOT_S):
        samples = samples_of(one)
        if one.sensor in sensors and samples["tick"][0] * 1e-9 >= at_s:
            number = int.from_bytes(one.payload[_SEQUENCE_AT:_HEADER_BYTES], "little")
            tick, begun = first.setdefault(one.sensor, (int(samples["tick"][0]), number))
            samples["tick"] -= np.uint64(tick)
            head = one.payload[:_SEQUENCE_AT] + (number - begun).to_bytes(4, "little")
            one = with_samples(replace(one, payload=head + one.payload[_HEADER_BYTES:]), samples)
        out.append(one)
    return out


def backlog(packets: Packets, at_s: float, sensors: Collection[str], *, lasts_s: float) -> list[RawPacket]:
    """What should have come during so many seconds comes after them, all at once, complete."""
    late_ns = int((at_s + lasts_s) * 1e9)
    held = [
        replace(one, host_ns=late_ns) if one.sensor in sensors and at_s * 1e9 <= one.host_ns < late_ns else one
        for one in packets
    ]
    return sorted(held, key=lambda one: one.host_ns)


def false_turn(packets: Packets, at_s: float, sensors: Collection[str]) -> list[RawPacket]:
    """One axis stands at the end of its range for 40 ms whatever the sensor does."""

    def change(samples: np.ndarray, inside: np.ndarray) -> None:
        for i in np.flatnonzero(inside):
            axis = int(np.argmax(np.abs(samples["gyr"][i])))
            samples["gyr"][i, axis] = np.copysign(FULL_SCALE_RAD_S, samples["gyr"][i, axis])

    return _changed(packets, sensors, at_s, CLIPPED_S, change)


def shock(packets: Packets, at_s: float, sensors: Collection[str]) -> list[RawPacket]:
    """Three knocks of 16 g on one axis, 10 ms each, a tenth of a second apart."""

    def change(samples: np.ndarray, inside: np.ndarray) -> None:
        samples["acc"][inside, 2] = SHOCK_G * STANDARD_GRAVITY_M_S2

    out = list(packets)
    for k in range(3):
        out = _changed(out, sensors, at_s + k * SHOCK_EVERY_S, SHOCK_S, change)
    return out


def stuck(packets: Packets, at_s: float, sensors: Collection[str], *, lasts_s: float) -> list[RawPacket]:
    """One value again and again."""
    held: dict[str, np.ndarray] = {}
    out = []
    for one in packets:
        if one.sensor in sensors and at_s <= one.host_ns * 1e-9 < at_s + lasts_s:
            samples = samples_of(one)
            value = held.setdefault(one.sensor, samples[:1].copy())
            samples["gyr"], samples["acc"] = value["gyr"][0], value["acc"][0]
            one = with_samples(one, samples)
        out.append(one)
    return out


def _changed(
    packets: Packets,
    sensors: Collection[str],
    at_s: float,
    lasts_s: float,
    change: Callable[[np.ndarray, np.ndarray], None],
) -> list[RawPacket]:
    out = []
    for one in packets:
        if one.sensor in sensors and at_s - 0.1 <= one.host_ns * 1e-9 < at_s + lasts_s + 0.1:
            samples = samples_of(one)
            t_s = samples["tick"] * 1e-9
            inside = (t_s >= at_s) & (t_s < at_s + lasts_s)
            if inside.any():
                change(samples, inside)
                one = with_samples(one, samples)
        out.append(one)
    return out


GAPS_S = (0.06, 0.1, 0.2, 0.3, 0.5, 1.0, 2.0)
TROUBLES: tuple[TroubleKind, ...] = (
    *(TroubleKind(f"gap of {one:g} s", one, partial(gap, lasts_s=one), True) for one in GAPS_S),
    TroubleKind("a tenth of the packets lost", 3.0, partial(loss, lasts_s=3.0, share=0.1), False),
    TroubleKind("restart of the sensor", BOOT_S, restart, True),
    TroubleKind("backlog of 3 s", 3.0, partial(backlog, lasts_s=3.0), False),
    TroubleKind("false turn by clipping", CLIPPED_S, false_turn, True, 0.999 * FULL_SCALE_RAD_S),
    TroubleKind("knocks of 16 g", 2 * SHOCK_EVERY_S + SHOCK_S, shock, False),
    TroubleKind("one value repeated for 1 s", 1.0, partial(stuck, lasts_s=1.0), True),
)
