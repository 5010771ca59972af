"""Sessions of the synthetic golfer as lists of items: clean, and as a bad radio would deliver them."""

from __future__ import annotations

from collections.abc import Iterable, Sequence

import numpy as np

from imufeedback import resources
from imufeedback.begin import session_settings
from imufeedback.commands import Begin, recorded
from imufeedback.measure.golfer import fit_command
from imufeedback.packets import parse_layout
from imufeedback.records import Command, Hand, Item, LinkNote, LinkState, RawPacket, Segment, Tick
from imufeedback.settings import Player
from imufeedback.synth.script import Script
from imufeedback.synth.sensors import WORN
from imufeedback.synth.stream import exact_items, raw_packets, sensor_streams, serial_of


def begin(
    layout: str, *, hand: Hand = Hand.RIGHT, filter_name: str = "vqf", segments: Sequence[Segment] = WORN
) -> Command:
    worn = [(serial_of(segment), segment) for segment in segments]
    settings = session_settings(worn, layout, player=Player(hand=hand), filter_name=filter_name, grid_hz=200.0)
    return recorded(0, Begin.of(settings))


def with_fit(packets: Iterable[Item], script: Script) -> list[Item]:
    """The packets with the calibration asked for when its movements are over."""
    return sorted([*packets, fit_command(script)], key=lambda item: item.host_ns)


def house_session(script: Script, *, filter_name: str = "vqf") -> list[Item]:
    """What sensors with our packet send, with losses, swapped neighbours, repeats, ticks and a link that drops."""
    layout = parse_layout(resources.text("layouts", "house"), "house")
    packets = disturbed(list(raw_packets(sensor_streams(script, layout))))
    sensor, half_ns = serial_of(WORN[0]), packets[len(packets) // 2].host_ns
    states = ((0, LinkState.SILENT), (10**8, LinkState.STREAMING))
    notes = [LinkNote(sensor, half_ns + after_ns, state) for after_ns, state in states]
    ticks = [Tick(at) for at in range(0, packets[-1].host_ns, 500_000_000)]
    return [begin("house", hand=script.hand, filter_name=filter_name), *with_fit([*packets, *notes, *ticks], script)]


def steady_session(
    script: Script, *, silent: Segment | None = None, from_s: float = 0.0, to_s: float = 0.0
) -> list[Item]:
    """What sensors with our packet send on a good radio, but that one of them may be silent from one time to another:
    seconds of the script."""
    layout = parse_layout(resources.text("layouts", "house"), "house")
    gone = None if silent is None else serial_of(silent)
    packets = [
        one
        for one in raw_packets(sensor_streams(script, layout))
        if one.sensor != gone or not from_s <= one.host_ns * 1e-9 < to_s
    ]
    return [begin("house", hand=script.hand), *with_fit(packets, script)]


def disturbed(packets: list[RawPacket]) -> list[RawPacket]:
    """Every 41st packet is lost, every 29th comes twice, every 17th changes place with its sensor's next one."""
    out: list[RawPacket] = []
    held: dict[str, RawPacket] = {}
    for k, packet in enumerate(packets):
        waiting = held.pop(packet.sensor, None)
        if k % 41 == 40:
            continue
        if k % 17 == 16 and waiting is None:
            held[packet.sensor] = packet
            continue
        out.append(packet)
        if k % 29 == 28:
            out.append(packet)
        if waiting is not None:
            out.append(RawPacket(waiting.sensor, packet.host_ns, waiting.payload))
    return out


def lossless_session(script: Script, *, filter_name: str = "vqf") -> list[Item]:
    """Perfect sensors, but for one sample of the pelvis, half way, that is not a number."""
    layout = parse_layout(resources.text("layouts", "lossless"), "lossless")
    packets = list(exact_items(script, layout))
    for k in range(len(packets) // 2, len(packets)):
        packet = packets[k]
        if isinstance(packet, RawPacket) and packet.sensor == serial_of(Segment.PELVIS):
            packets[k] = RawPacket(packet.sensor, packet.host_ns, _without_numbers(packet.payload))
            break
    return [begin("lossless", hand=script.hand, filter_name=filter_name), *with_fit(packets, script)]


HEADER_BYTES, TICK_BYTES, SAMPLE_BYTES = 8, 8, 8 + 6 * 8
"""Of the lossless layout."""


def _without_numbers(payload: bytes) -> bytes:
    """The second sample of a lossless packet as NaN; its time stays."""
    begin_at = HEADER_BYTES + SAMPLE_BYTES + TICK_BYTES
    return payload[:begin_at] + np.full(6, np.nan).tobytes() + payload[HEADER_BYTES + 2 * SAMPLE_BYTES :]
