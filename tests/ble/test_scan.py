"""Finding sensors."""

from __future__ import annotations

import asyncio
from typing import Any

import pytest
from bleak.backends.scanner import BaseBleakScanner
from bleak.exc import BleakBluetoothNotAvailableError, BleakBluetoothNotAvailableReason
from virtual_world import sensor, world

from imufeedback.ble.backends import Backends
from imufeedback.ble.scan import scan
from imufeedback.errors import RadioError, UsageError


class NoBluetooth(BaseBleakScanner):
    """A computer whose Bluetooth is switched off."""

    def __init__(self, on_heard: Any, services: Any, *args: Any, **kwargs: Any) -> None:
        super().__init__(on_heard, services)

    async def start(self) -> None:
        raise BleakBluetoothNotAvailableError("off", BleakBluetoothNotAvailableReason.POWERED_OFF)

    async def stop(self) -> None:
        pass


class NoBus(NoBluetooth):
    """A computer without the system's Bluetooth service."""

    async def start(self) -> None:
        raise FileNotFoundError("no socket")


def test_finds_all_sensors_and_ends_early() -> None:
    async def run() -> list[tuple[str, int]]:
        async with world([sensor(f"SYN-{k}", []) for k in range(5)]) as here:
            found = await here.radio.scan(30.0, expect=5)
            return [(one.name, one.rssi_dbm) for one in found]

    found = asyncio.run(asyncio.wait_for(run(), 5))
    assert [name for name, _ in found] == [f"SYN-{k}" for k in range(5)]
    assert all(rssi < 0 for _, rssi in found)


def test_other_services_are_not_found() -> None:
    async def run() -> int:
        async with world([sensor("SYN-1", [])]) as here:
            other = "00001816-0000-1000-8000-00805f9b34fb"
            return len(await scan(0.1, backends=here.virtual.backends, service=other))

    assert asyncio.run(run()) == 0


@pytest.mark.parametrize(("scanner", "says"), [(NoBluetooth, "switched off"), (NoBus, "no socket")])
def test_no_bluetooth_is_one_line_with_advice(scanner: type[BaseBleakScanner], says: str) -> None:
    with pytest.raises(RadioError) as caught:
        asyncio.run(scan(1.0, backends=Backends(scanner=scanner)))
    line = str(caught.value)
    assert says in line
    assert caught.value.hint
    assert "imufeedback" not in line, "a window shows it, too"
    assert "\n" not in line


def test_backends_of_a_closed_virtual_radio_are_misuse() -> None:
    async def run() -> None:
        async with world([sensor("SYN-1", [])]) as here:
            virtual = here.virtual
        with pytest.raises(UsageError, match="not open"):
            _ = virtual.backends

    asyncio.run(run())
