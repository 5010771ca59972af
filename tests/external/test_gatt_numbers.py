"""The standard numbers of the profile against the Bluetooth SIG's.

Source: Bluetooth SIG, Assigned Numbers, sections "GATT services" and "GATT characteristics", written down here from
memory and told independently by the two libraries bleak and bumble.
"""

from __future__ import annotations

import pytest
from bleak.uuids import normalize_uuid_16, uuidstr_to_str
from bumble import gatt
from bumble.core import UUID

from imufeedback.ble import profile

BASE = "-0000-1000-8000-00805f9b34fb"
NUMBERS = [
    (profile.BATTERY_LEVEL, 0x2A19, "Battery Level", gatt.GATT_BATTERY_LEVEL_CHARACTERISTIC),
    (profile.MODEL_NUMBER, 0x2A24, "Model Number String", gatt.GATT_MODEL_NUMBER_STRING_CHARACTERISTIC),
    (profile.SERIAL_NUMBER, 0x2A25, "Serial Number String", gatt.GATT_SERIAL_NUMBER_STRING_CHARACTERISTIC),
    (profile.TEMPERATURE, 0x2A6E, "Temperature", UUID.from_16_bits(0x2A6E)),
    (profile.FIRMWARE_REVISION, 0x2A26, "Firmware Revision String", gatt.GATT_FIRMWARE_REVISION_STRING_CHARACTERISTIC),
]


@pytest.mark.parametrize(("uuid", "number", "name", "bumbles"), NUMBERS)
def test_a_standard_number_is_the_sigs(uuid: str, number: int, name: str, bumbles: UUID) -> None:
    assert uuid.lower() == f"0000{number:04x}{BASE}" == normalize_uuid_16(number)
    assert uuidstr_to_str(uuid) == name
    assert UUID(uuid) == bumbles


@pytest.mark.parametrize("uuid", [profile.SERVICE, profile.MOTION, profile.CONTROL, profile.LAYOUT])
def test_our_own_numbers_are_outside_the_sigs_range(uuid: str) -> None:
    assert not uuid.lower().endswith(BASE)
    assert uuidstr_to_str(uuid) in ("Unknown", None, "Vendor specific")
