"""A sensor that a person points at shows its light, also where the system first says that it has gone."""

from __future__ import annotations

import asyncio
from dataclasses import replace
from typing import Any

import pytest
from bleak.backends.client import BaseBleakClient
from bleak.exc import BleakError
from virtual_world import sensor, world

from imufeedback.ble import profile
from imufeedback.ble.virtual import VirtualSensor
from imufeedback.errors import RadioError


def blink(one: VirtualSensor, fails: int, error: Exception, tries: list[int]) -> None:
    """Asks it to blink, where the system fails so many attempts to connect; each is put down."""

    async def run() -> None:
        async with world([one]) as here:
            (found,) = await here.radio.scan(5.0, expect=1)
            client = here.virtual.backends.client
            assert client is not None

            class Failing(client):  # type: ignore[valid-type,misc]
                async def connect(self, *given: Any, **named: Any) -> None:
                    tries.append(1)
                    if len(tries) <= fails:
                        raise error
                    await super().connect(*given, **named)

            assert issubclass(Failing, BaseBleakClient)
            here.radio._backends = replace(here.radio._backends, client=Failing)
            await here.radio.blink(found, 3)

    asyncio.run(run())


def test_a_sensor_that_the_system_takes_for_gone_is_asked_again() -> None:
    one, tries = sensor("SYN-1", []), list[int]()
    blink(one, 1, BleakError("failed to discover services, device disconnected"), tries)
    assert len(tries) == 2
    assert one.commands.count(profile.Blink(3)) == 1


@pytest.mark.parametrize(("error", "attempts"), [(BleakError("gone"), 2), (TimeoutError("no answer within 8 s"), 1)])
def test_then_it_is_told(error: Exception, attempts: int) -> None:
    one, tries = sensor("SYN-1", []), list[int]()
    with pytest.raises(RadioError, match=r"cannot be asked to blink.*come closer"):
        blink(one, attempts, error, tries)
    assert len(tries) == attempts
    assert profile.Blink(3) not in one.commands
