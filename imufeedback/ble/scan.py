"""Find sensors that offer our service."""

from __future__ import annotations

import asyncio
from dataclasses import dataclass

from bleak import BleakScanner
from bleak.backends.device import BLEDevice
from bleak.backends.scanner import AdvertisementData, AdvertisementDataCallback, BaseBleakScanner
from bleak.exc import BleakBluetoothNotAvailableError

from imufeedback.ble.advice import advice
from imufeedback.ble.backends import FAILURES, Backends
from imufeedback.ble.limits import within
from imufeedback.ble.profile import SERVICE
from imufeedback.errors import RadioError

START_STOP_S = 10.0
"""For the system to begin and to end a scan: where it needs longer, it never answers."""


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
        await within(seconds + START_STOP_S, _listen(on_heard, service, scanner_backend, enough, seconds))
    except BleakBluetoothNotAvailableError as error:
        raise _no_bluetooth(error.reason.name.lower().replace("_", " "), error) from error
    except FAILURES as error:
        raise _no_bluetooth(str(error) or type(error).__name__, error) from error
    return sorted(heard.values(), key=lambda one: (-one.rssi_dbm, one.address))


def _no_bluetooth(what: str, error: BaseException) -> RadioError:
    hint = f"{advice(error)}; or try `imufeedback demo`"
    return RadioError(f"no Bluetooth: {what}", where="scan", hint=hint)


async def _listen(
    on_heard: AdvertisementDataCallback,
    service: str,
    backend: type[BaseBleakScanner] | None,
    enough: asyncio.Event,
    seconds: float,
) -> None:
    async with BleakScanner(on_heard, service_uuids=[service], backend=backend):
        await _wait(enough, seconds)


async def _wait(enough: asyncio.Event, seconds: float) -> None:
    try:
        async with asyncio.timeout(seconds):
            await enough.wait()
    except TimeoutError:
        return
