"""Find sensors that offer our service."""

from __future__ import annotations

import asyncio
from dataclasses import dataclass

from bleak import BleakScanner
from bleak.backends.device import BLEDevice
from bleak.backends.scanner import AdvertisementData
from bleak.exc import BleakBluetoothNotAvailableError

from imufeedback.ble.backends import FAILURES, Backends
from imufeedback.ble.profile import SERVICE
from imufeedback.errors import RadioError


@dataclass(frozen=True, slots=True)
class Found:
    """A sensor that was heard."""

    name: str
    address: str
    """What this computer calls it; another computer may call it otherwise. Its identity is the serial number."""
    rssi_dbm: int
    device: BLEDevice


async def scan(
    seconds: float, *, backends: Backends | None = None, service: str = SERVICE, expect: int | None = None
) -> list[Found]:
    """Sensors offering `service`, strongest first, heard within `seconds`; sooner when `expect` of them are heard.

    Raises RadioError when there is no Bluetooth, it is off, or this program may not use it.
    """
    heard: dict[str, Found] = {}
    enough = asyncio.Event()

    def on_heard(device: BLEDevice, data: AdvertisementData) -> None:
        # Systems filter as well as they can; others' sensors may still come through.
        if service.lower() not in data.service_uuids:
            return
        name = data.local_name or device.name or device.address
        heard[device.address] = Found(name, device.address, data.rssi, device)
        if expect is not None and len(heard) >= expect:
            enough.set()

    scanner_backend = (backends or Backends()).scanner
    try:
        async with BleakScanner(on_heard, service_uuids=[service], backend=scanner_backend):
            await _wait(enough, seconds)
    except BleakBluetoothNotAvailableError as error:
        raise _no_bluetooth(f"no Bluetooth: {error.reason.name.lower().replace('_', ' ')}") from error
    except FAILURES as error:
        raise _no_bluetooth(f"no Bluetooth: {error}") from error
    return sorted(heard.values(), key=lambda one: (-one.rssi_dbm, one.address))


def _no_bluetooth(what: str) -> RadioError:
    return RadioError(what, where="scan", hint="switch Bluetooth on, allow this program to use it, or try `demo`")


async def _wait(enough: asyncio.Event, seconds: float) -> None:
    try:
        async with asyncio.timeout(seconds):
            await enough.wait()
    except TimeoutError:
        return
