"""A board that offers another service than it did: told as what it is."""

from __future__ import annotations

import asyncio
from pathlib import Path

import msgspec
import pytest
from packet_streams import HOUSE
from virtual_world import sensor, world

from imufeedback.ble.clock import ManualClock
from imufeedback.ble.roster import KnownSensor, Roster, key
from imufeedback.ble.sensor_check import Desk
from imufeedback.errors import RadioError
from imufeedback.packets.layout import Gatt
from imufeedback.records import Segment

OTHER = Gatt("11111111-7802-44ce-b5b1-b7e45b3fb580", "22222222-7802-44ce-b5b1-b7e45b3fb580")


def looked(known: KnownSensor) -> str:
    other = msgspec.structs.replace(HOUSE, gatt=OTHER)

    async def run() -> str:
        async with world([sensor("SYN-1", [], other)]) as here:
            roster = Roster(Path("none"), {key(known.serial): known})
            desk = Desk(HOUSE, ManualClock(), here.radio, asyncio.sleep, asyncio.Queue())
            with pytest.raises(RadioError) as caught:
                await desk.look(roster, seconds=0.5)
            return str(caught.value)

    return asyncio.run(run())


def test_a_reflashed_board_is_told_as_what_it_is() -> None:
    line = looked(KnownSensor("SYN-1", Segment.PELVIS, address="C0:00:00:00:00:01"))
    assert "pelvis (SYN-1) is in reach" in line
    assert "flashed anew" in line
    assert "bluetoothctl remove C0:00:00:00:00:01" in line


def test_one_that_is_not_there_is_not_said_to_be_flashed() -> None:
    line = looked(KnownSensor("SYN-1", Segment.PELVIS, address="C0:00:00:00:00:77"))
    assert "flashed" not in line
    assert "was not heard" in line


def test_one_of_two_that_was_flashed_is_told_as_that_beside_the_other() -> None:
    other = msgspec.structs.replace(HOUSE, gatt=OTHER)
    known = (
        KnownSensor("SYN-1", Segment.PELVIS, address="C0:00:00:00:00:01"),
        KnownSensor("SYN-2", Segment.LEFT_THIGH, address="C0:00:00:00:00:02"),
        KnownSensor("SYN-3", Segment.RIGHT_THIGH, address="C0:00:00:00:00:77"),
    )

    async def run() -> list[str]:
        async with world([sensor("SYN-1", [], other), sensor("SYN-2", [])]) as here:
            roster = Roster(Path("none"), {key(one.serial): one for one in known})
            desk = Desk(HOUSE, ManualClock(), here.radio, asyncio.sleep, asyncio.Queue())
            return await desk.take(roster, await desk.look(roster, seconds=0.5))

    flashed, missing = asyncio.run(run())
    assert "pelvis (SYN-1) is in reach" in flashed
    assert "flashed anew" in flashed
    assert "right thigh (SYN-3) was not heard" in missing
