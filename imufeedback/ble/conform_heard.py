"""What one sensor advertises, whatever it offers: put together from all that is heard of it."""

from __future__ import annotations

import asyncio
from contextlib import suppress
from dataclasses import dataclass, field

from bleak import BleakScanner
from bleak.backends.device import BLEDevice
from bleak.backends.scanner import AdvertisementData

from imufeedback.ble import profile
from imufeedback.ble.advice import advice, words
from imufeedback.ble.backends import FAILURES, Backends
from imufeedback.ble.limits import within
from imufeedback.ble.roster import key
from imufeedback.ble.scan import START_STOP_S
from imufeedback.errors import RadioError


@dataclass
class Heard:
    """What a sensor's advertising told."""

    device: BLEDevice
    name: str = ""
    services: set[str] = field(default_factory=set)
    announced: bytes | None = None


async def hear(text: str, backends: Backends, seconds: float) -> Heard | None:
    """What the sensor advertises; None when it is not heard, with None for the rest of the time. Raises RadioError."""
    heard: dict[str, Heard] = {}
    complete = asyncio.Event()

    def on_heard(device: BLEDevice, data: AdvertisementData) -> None:
        one = heard.setdefault(device.address, Heard(device))
        one.name = data.local_name or one.name
        one.services |= set(data.service_uuids)
        one.announced = data.service_data.get(profile.SERVICE, one.announced)
        if _is_meant(one, text) and one.name and one.announced is not None and profile.SERVICE in one.services:
            complete.set()

    async def listen() -> None:
        async with BleakScanner(on_heard, backend=backends.scanner):
            with suppress(TimeoutError):
                await asyncio.wait_for(complete.wait(), seconds)

    try:
        await within(seconds + START_STOP_S, listen())
    except FAILURES as error:
        raise RadioError(words(error), where="sensors conform", hint=advice(error)) from error
    return next((one for one in heard.values() if _is_meant(one, text)), None)


def _is_meant(heard: Heard, text: str) -> bool:
    announced = profile.announced(heard.announced or b"")
    names = (heard.device.address, heard.device.address.partition("/")[0], announced, heard.name)
    return key(text) in [key(one) for one in names if one] or (
        bool(announced) and key(announced) == key(profile.announced(profile.announcement(text)))
    )
