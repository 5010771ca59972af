"""The samples of a recording in SI units and session time, before any filter: bytes to `ImuBlock`, nothing more."""

from __future__ import annotations

from collections.abc import Iterable, Iterator

from imufeedback.conduct.sensor_clock import clock_of
from imufeedback.errors import BadFile
from imufeedback.packets import Decoder, parse_layout
from imufeedback.records import Command, DeviceBlock, ImuBlock, Item, RawPacket, Tick
from imufeedback.settings import Settings
from imufeedback.timing import SensorClock


def samples(begin: Command, settings: Settings, items: Iterable[Item]) -> Iterator[ImuBlock]:
    """Decoded and put on the session's clock, in the order in which they come."""
    chains = {}
    for sensor in settings.sensors:
        layout = parse_layout(settings.layouts[sensor.layout], f"layout {sensor.layout}")
        clock = clock_of(sensor.id, layout, begin.host_ns, delay_s=layout.delay_s)
        chains[sensor.id] = Decoder(sensor.id, layout, begin.host_ns), clock
    if not chains:
        raise BadFile("no sensor is named in it", where="samples", hint="choose another recording")
    for item in items:
        for name, (decoder, clock) in chains.items():
            if (isinstance(item, RawPacket) and item.sensor == name) or isinstance(item, Tick):
                yield from _timed(clock, decoder.feed(item))
    for decoder, clock in chains.values():
        yield from _timed(clock, decoder.finish())


def _timed(clock: SensorClock, blocks: Iterable[object]) -> Iterator[ImuBlock]:
    for block in blocks:
        if isinstance(block, DeviceBlock):
            yield from (one for one in clock.feed(block) if isinstance(one, ImuBlock))
