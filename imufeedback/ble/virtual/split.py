"""A packet in smaller ones, as a sensor sends them whose settings ask for fewer samples."""

from __future__ import annotations

from collections.abc import Iterator

from imufeedback.packets import Layout
from imufeedback.packets.wire import wire


def split(layout: Layout, payload: bytes, most: int) -> Iterator[bytes]:
    """The same samples, at most so many a packet, numbers and ticks of their own; what is cut stays cut."""
    form = wire(layout)
    if len(payload) < layout.header_bytes:
        yield payload
        return
    head = dict(zip(form.header_names, form.header.unpack_from(payload), strict=True))
    parts = -(-layout.samples_per_packet // most)
    for k in range(parts):
        begin = layout.header_bytes + k * most * layout.sample_bytes
        samples = payload[begin : begin + most * layout.sample_bytes]
        if not samples:
            return
        mine = dict(head)
        if "count" in mine:
            mine["count"] = min(most, head["count"] - k * most)
        if "sequence" in mine:
            mine["sequence"] = (head["sequence"] * parts + k) % layout.sequence_numbers
        if "tick" in mine:
            mine["tick"] = (head["tick"] + round(k * most * layout.nominal_step_ticks)) % layout.counter_modulus
        yield form.header.pack(*(mine[name] for name in form.header_names)) + samples
