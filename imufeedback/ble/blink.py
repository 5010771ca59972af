"""Let one sensor show which it is, and do nothing else to it."""

from __future__ import annotations

import asyncio
from contextlib import suppress

from bleak import BleakClient
from bleak.exc import BleakGATTProtocolError

from imufeedback.ble import profile
from imufeedback.ble.advice import words
from imufeedback.ble.backends import FAILURES, Backends
from imufeedback.ble.handshake import Handshake
from imufeedback.ble.limits import TimeLimits, within
from imufeedback.ble.scan import HeardSensor
from imufeedback.errors import RadioError
from imufeedback.packets import Layout


async def blink(
    found: HeardSensor, layout: Layout, seconds: int, backends: Backends, limits: TimeLimits, connecting: asyncio.Lock
) -> None:
    """Connect, ask for the light, disconnect. Only ever for a sensor that a person has pointed at: it may be somebody
    else's. Raises RadioError."""
    where = f"sensor {found.announced or found.address}"
    if layout.gatt is None:
        raise RadioError(f"layout {layout.name} has no [gatt]", hint="give it the UUIDs of the sensor's service")
    for last in (False, True):
        client = BleakClient(found.device, timeout=limits.connect_s, backend=backends.client)
        try:
            async with connecting:
                await within(limits.connect_s, client.connect())
            await Handshake(client, layout, layout.gatt, limits.request_s, where).command(profile.Blink(seconds))
        except FAILURES as error:
            # A busy system may say, right after a scan, that the sensor has gone again: it has not.
            if not last and not isinstance(error, TimeoutError | BleakGATTProtocolError):
                continue
            hint = "come closer; one that is connected to somebody cannot be asked"
            what = f"cannot be asked to blink: {words(error)}"
            raise RadioError(what, where=where, hint=hint) from error
        else:
            return
        finally:
            with suppress(*FAILURES):  # it may be gone already
                await within(limits.disconnect_s, client.disconnect())
