"""Sessions of the synthetic golfer as lists of items: clean, and as a bad radio would deliver them."""

from __future__ import annotations

from collections.abc import Iterable, Sequence

import numpy as np

from imufeedback import resources
from imufeedback.packets import encode, parse_layout
from imufeedback.records import Command, Hand, Item, LinkNote, LinkState, RawPacket, Segment, Tick
from imufeedback.settings import Player, Sensor, Settings
from imufeedback.synth.script import Script, make_script
from imufeedback.synth.sensors import WORN
from imufeedback.synth.stream import exact_items, raw_packets, sensor_streams, serial_of
from imufeedback.validate.golfer import fit_command


def begin(
    layout: str, *, hand: Hand = Hand.RIGHT, filter_name: str = "vqf", segments: Sequence[Segment] = WORN
) -> Command:
    settings = Settings(
        sensors=tuple(Sensor(serial_of(one), one, layout) for one in segments),
        layouts={layout: resources.text("layouts", layout)},
        rule_set=resources.text("rules", "swing"),
        player=Player(hand=hand),
        filter=filter_name,
    )
    return Command(0, "begin", settings.to_args())


def with_fit(packets: Iterable[Item], script: Script) -> list[Item]:
    """The packets with the fitting asked for when its movements are over."""
    return sorted([*packets, fit_command(script)], key=lambda item: item.host_ns)


def house_session(script: Script, *, filter_name: str = "vqf") -> list[Item]:
    """What sensors with our packet send, with losses, swapped neighbours, repeats, ticks and a link that drops."""
    layout = parse_layout(resources.text("layouts", "house"), "house")
    packets = disturbed(list(raw_packets(sensor_streams(script, layout))))
    half_ns = packets[len(packets) // 2].host_ns
    notes = [LinkNote(serial_of(WORN[0]), half_ns, LinkState.SILENT), LinkNote(serial_of(WORN[0]), half_ns + 10**8, LinkState.STREAMING)]
    ticks = [Tick(at) for at in range(0, packets[-1].host_ns, 500_000_000)]
    return [begin("house", hand=script.hand, filter_name=filter_name), *with_fit([*packets, *notes, *ticks], script)]


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


def lossless_session(script: Script, *, filter_name: str = "vqf", nan_at: int = 700) -> list[Item]:
    """Perfect sensors, but for one packet whose samples are not numbers."""
    layout = parse_layout(resources.text("layouts", "lossless"), "lossless")
    packets = list(exact_items(script, layout))
    bad = packets[nan_at]
    assert isinstance(bad, RawPacket)
    packets[nan_at] = RawPacket(bad.sensor, bad.host_ns, _without_numbers(bad.payload))
    return [begin("lossless", hand=script.hand, filter_name=filter_name), *with_fit(packets, script)]


def _without_numbers(payload: bytes) -> bytes:
    """The second sample of a lossless packet as NaN; its time stays."""
    layout = parse_layout(resources.text("layouts", "lossless"), "lossless")
    three = np.zeros((3, 3))
    size = (len(encode(layout, 0, 0, three, three, np.zeros(3))) - len(encode(layout, 0, 0, three[:1], three[:1], np.zeros(1)))) // 2
    header = len(payload) % size
    at = header + 2 * size - 48
    return payload[:at] + np.full(6, np.nan).tobytes() + payload[at + 48 :]


def one_rep(**kwargs: object) -> Script:
    return make_script(reps=1, **kwargs)  # type: ignore[arg-type]
