"""A fault script's faults on the links: what happens to a sensor at which time."""

from __future__ import annotations

from collections.abc import Awaitable, Callable, Iterator, Sequence
from functools import partial

from imufeedback.ble.virtual import faults as f
from imufeedback.ble.virtual.sensor import VirtualSensor

Mishap = tuple[int, Callable[[], Awaitable[None]]]
"""When, in ns from the radio's origin, and what to do then."""


def mishaps(script: f.FaultScript, sensors: Sequence[VirtualSensor], until_s: float) -> list[Mishap]:
    """Everything that happens to these sensors up to a time, in its order. A sensor's names are serial and place."""
    found = [
        one
        for sensor in sensors
        for fault in script.of(sensor.serial, sensor.place)
        for one in _of(fault, sensor, until_s)
    ]
    return sorted(found, key=lambda one: one[0])


def _of(fault: f.Fault, sensor: VirtualSensor, until_s: float) -> Iterator[Mishap]:
    if not isinstance(fault, f.Disconnect | f.Reboot | f.Battery):
        return
    for at_s in fault.times_s(until_s):
        match fault:
            case f.Battery():
                yield _ns(at_s), partial(_set_battery, sensor, fault.percent)
            case f.Disconnect() | f.Reboot():
                yield _ns(at_s), partial(sensor.vanish, forget=isinstance(fault, f.Reboot), told=fault.callback)
                yield _ns(at_s + fault.away_s), sensor.move if fault.new_address else sensor.come_back


async def _set_battery(sensor: VirtualSensor, percent: int) -> None:
    sensor.battery_percent = percent


def _ns(seconds: float) -> int:
    return round(seconds * 1e9)
