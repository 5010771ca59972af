"""Find sensors that offer our service."""

from __future__ import annotations

import asyncio
from collections.abc import Callable, Coroutine
from dataclasses import dataclass
from typing import Any

from bleak import BleakScanner
from bleak.backends.device import BLEDevice
from bleak.backends.scanner import AdvertisementData, AdvertisementDataCallback, BaseBleakScanner

from imufeedback.ble import profile
from imufeedback.ble.advice import advice, words
from imufeedback.ble.backends import FAILURES, Backends
from imufeedback.ble.limits import within
from imufeedback.ble.profile import SERVICE
from imufeedback.errors import RadioError

LEAST_S = 2.0
"""Even when all that are looked for are heard sooner: others are to be heard too, and told of. Chosen, from the
profile's advertising interval of 0.1 s, and 1 s for sensors that save power."""
LOOK_S = 0.1
START_STOP_S = 10.0
"""For the system to begin and to end a scan: where it needs longer, it never answers."""


@dataclass(frozen=True, slots=True)
class HeardSensor:
    """A sensor that was heard."""

    name: str
    address: str
    """What this computer calls it; another computer may call it otherwise. Its identity is the serial number."""
    rssi_dbm: int
    device: BLEDevice
    announced: str = ""
    """Its serial number, or the end of it, as it announces it (firmware_notes/gatt_profile.md); empty if it does not.
    """


async def scan(
    seconds: float,
    *,
    backends: Backends | None = None,
    service: str = SERVICE,
    expect: int | None = None,
    enough: Callable[[list[HeardSensor]], bool] = lambda heard: False,
    least_s: float = LEAST_S,
) -> list[HeardSensor]:
    """Sensors offering `service`, strongest first, heard within `seconds`; sooner when `expect` of them are heard, or
    when it is `enough`, but then not before `least_s`. Nothing is sent to any of them but requests for what they
    announce.

    Raises RadioError when there is no Bluetooth, it is off, or this program may not use it.
    """
    heard: dict[str, HeardSensor] = {}
    done = asyncio.Event()

    def on_heard(device: BLEDevice, data: AdvertisementData) -> None:
        # Systems filter as well as they can; others' sensors may still come through.
        if service.lower() not in data.service_uuids:
            return
        # What comes by the air may be anything: no control characters reach a screen.
        name = "".join(filter(str.isprintable, data.local_name or device.name or "")) or device.address
        announced = profile.announced(data.service_data.get(SERVICE, b""))
        if not announced and device.address in heard:
            announced = heard[device.address].announced  # systems tell of advertisement and response one by one
        heard[device.address] = HeardSensor(name, device.address, data.rssi, device, announced)
        if expect is not None and len(heard) >= expect:
            done.set()

    async def until_enough() -> None:
        await asyncio.sleep(least_s)
        while not enough(list(heard.values())):
            await asyncio.sleep(LOOK_S)
        done.set()

    scanner_backend = (backends or Backends()).scanner
    try:
        await within(seconds + START_STOP_S, _listen(on_heard, service, scanner_backend, done, until_enough(), seconds))
    except FAILURES as error:
        raise _no_bluetooth(error) from error
    return sorted(heard.values(), key=lambda one: (-one.rssi_dbm, one.address))


def _no_bluetooth(error: BaseException) -> RadioError:
    return RadioError(words(error), where="scan", hint=advice(error))


async def overhear(seconds: float, *, backends: Backends | None = None) -> frozenset[str]:
    """Addresses of all devices that are heard at all, whatever they offer. Raises RadioError, as `scan`."""
    heard: set[str] = set()

    def on_heard(device: BLEDevice, _data: AdvertisementData) -> None:
        heard.add(device.address)

    async def listen() -> None:
        async with BleakScanner(on_heard, backend=(backends or Backends()).scanner):
            await asyncio.sleep(seconds)

    try:
        await within(seconds + START_STOP_S, listen())
    except FAILURES as error:
        raise _no_bluetooth(error) from error
    return frozenset(heard)


async def _listen(
    on_heard: AdvertisementDataCallback,
    service: str,
    backend: type[BaseBleakScanner] | None,
    done: asyncio.Event,
    watch: Coroutine[Any, Any, None],
    seconds: float,
) -> None:
    watching = asyncio.ensure_future(watch)
    try:
        async with BleakScanner(on_heard, service_uuids=[service], backend=backend):
            await _wait(done, seconds)
    finally:
        watching.cancel()


async def _wait(done: asyncio.Event, seconds: float) -> None:
    try:
        async with asyncio.timeout(seconds):
            await done.wait()
    except TimeoutError:
        return
