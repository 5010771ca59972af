"""Bytes of one packet -> its header, and its samples in SI units with flags."""

from __future__ import annotations

from typing import Any, NamedTuple

import numpy as np
import numpy.typing as npt

from imufeedback.packets.layout import Layout, Version
from imufeedback.packets.wire import Wire, wire
from imufeedback.records import Flag, Floats, Ints, RawPacket

SATURATION_MARGIN = 0.01
"""A value this close to full scale, as a share of it, counts as saturated. Common practice, no source."""

Flags = npt.NDArray[np.uint8]


class Packet(NamedTuple):
    """A packet whose length, version and sample count are right; its samples are not decoded yet."""

    host_ns: int
    sequence: int
    """0 when the layout has no packet number."""
    tick: int
    """Of the first sample."""
    samples: int
    payload: bytes


class Unpacker:
    """Reads packets of one layout. Keeps nothing between calls."""

    def __init__(self, layout: Layout) -> None:
        self._form: Wire = wire(layout)
        self._header_bytes = layout.header_bytes
        self._sample_bytes = layout.sample_bytes
        self._own_ticks = layout.in_sample("tick")
        names = {name: k for k, name in enumerate(self._form.header_names)}
        self._header, self._version, self._count_at = self._form.header, layout.version, names.get("count")
        self._version_at, self._sequence_at, self._tick_at = (
            names.get(one, 0) for one in ("version_flags", "sequence", "tick")
        )
        self._tick_mask = (1 << layout.counter.bits) - 1
        self._sequence_mask = (1 << layout.sequence_width) - 1
        self._modulus = layout.counter_modulus
        self._numbers = layout.sequence_numbers
        self._may_exceed = layout.counter.modulus is not None or layout.sequence_modulus is not None
        limit = self._form.limit * (1 - SATURATION_MARGIN)
        self._limit: Floats | None = limit if np.isfinite(limit).any() else None
        self._high = float(np.min(limit / np.abs(self._form.scale)))
        self._zeros = bytes(layout.sample_bytes)
        self._floats = any(one.type.startswith("f") for one in layout.sample)

    def header(self, item: RawPacket) -> Packet | str:
        """The checked packet, or why it cannot be used. Length first: a cut packet is never decoded."""
        payload = item.payload
        body = len(payload) - self._header_bytes
        if body < self._sample_bytes:
            return f"{len(payload)} bytes are too few for one sample"
        values = self._header.unpack_from(payload)
        if self._version is not None:
            wrong = self._wrong_version(values[self._version_at], self._version)
            if wrong:
                return wrong
        count = body // self._sample_bytes if self._count_at is None else values[self._count_at]
        if count == 0 or count * self._sample_bytes != body:
            return f"{len(payload)} bytes do not hold {count} samples exactly"
        packet = Packet(item.host_ns, self._sequence(values), self._first_tick(values, payload), count, payload)
        return self._beyond(packet) or packet if self._may_exceed else packet

    def _beyond(self, packet: Packet) -> str:
        """What contradicts the moduli that the layout states; empty when nothing does."""
        tick = int(self.own_ticks(packet.payload, packet.samples).max()) if self._own_ticks else packet.tick
        if tick >= self._modulus:
            return f"its clock says {tick}, and the layout that it begins again at {self._modulus}: correct modulus"
        if packet.sequence >= self._numbers:
            return (
                f"packet number {packet.sequence}, and the layout says that numbers begin again at {self._numbers}: "
                "correct sequence_modulus"
            )
        return ""

    @staticmethod
    def _wrong_version(flags: int, version: Version) -> str | None:
        found = flags & version.mask
        return None if found == version.value else f"packet version {found}, expected {version.value}"

    def _sequence(self, values: tuple[int, ...]) -> int:
        return values[self._sequence_at] & self._sequence_mask if self._sequence_mask else 0

    def _first_tick(self, values: tuple[int, ...], payload: bytes) -> int:
        if not self._own_ticks:
            return values[self._tick_at] & self._tick_mask
        return int(self.own_ticks(payload, 1)[0])

    def own_ticks(self, payload: bytes, count: int) -> Ints:
        """(N,) ticks that stand in the samples themselves."""
        samples = np.frombuffer(payload, self._form.sample, count, self._header_bytes)
        return (samples["tick"].astype(np.uint64) & np.uint64(self._tick_mask)).astype(np.int64)

    def samples_of(self, rows: npt.NDArray[Any], payloads: bytes) -> tuple[Floats, Flags | None]:
        """The same as `samples` for the sample records (N,) of many packets, whose joined bytes are `payloads`."""
        form = self._form
        if form.block_type is not None:
            raw = np.ascontiguousarray(rows).view(form.block_type).reshape(-1, 6)
            raw = raw if form.block_order is None else raw[:, form.block_order]
        else:
            with np.errstate(invalid="ignore"):
                raw = np.stack([rows[column].astype(np.float64) for column in form.columns], axis=1)
        if self._floats:
            return self._of_floats(raw)
        values: Floats = raw * form.scale
        suspect = payloads.find(self._zeros) >= 0 or raw.max() >= self._high or raw.min() <= -self._high
        return values, self._flags(values) if suspect else None

    def _of_floats(self, raw: npt.NDArray[Any]) -> tuple[Floats, Flags | None]:
        """Numbers sent as floats may be anything: too large, not a number, signalling. They are flagged, not warned
        of."""
        with np.errstate(all="ignore"):
            values: Floats = raw * self._form.scale
            flags = self._flags(values)
            return values, flags if flags.any() else None

    def samples(self, packet: Packet) -> tuple[Floats, Flags | None]:
        """(N, 6) gyr x, y, z in rad/s and acc x, y, z in m/s²; (N,) flags, None when all are OK."""
        if not self._floats:
            raw = self._raw(packet)
            values: Floats = raw * self._form.scale
            return values, self._flags(values) if self._is_suspect(packet, raw) else None
        return self._of_floats(self._raw(packet))

    def _raw(self, packet: Packet) -> npt.NDArray[Any]:
        form, count, start = self._form, packet.samples, self._header_bytes
        if form.block_type is not None:
            block = np.frombuffer(packet.payload, form.block_type, count * 6, start).reshape(count, 6)
            return block if form.block_order is None else block[:, form.block_order]
        samples = np.frombuffer(packet.payload, form.sample, count, start)
        with np.errstate(invalid="ignore"):  # a float of random bytes may be a signalling NaN
            return np.stack([samples[column].astype(np.float64) for column in form.columns], axis=1)

    def _is_suspect(self, packet: Packet, raw: npt.NDArray[Any]) -> bool:
        """Whether some sample may need a flag: a quick look that nearly every packet passes."""
        if packet.payload.find(self._zeros, self._header_bytes) >= 0:
            return True
        numbers: list[int] = raw.ravel().tolist()
        return max(numbers) >= self._high or min(numbers) <= -self._high

    def _flags(self, values: Floats) -> Flags:
        flags = np.zeros(len(values), np.uint8)
        flags[~values.any(axis=1) | ~(np.abs(values) < 1e6).all(axis=1)] |= np.uint8(Flag.INVALID)
        if self._limit is not None:
            flags[(np.abs(values) >= self._limit).any(axis=1)] |= np.uint8(Flag.SATURATED)
        return flags
