"""What the pages for builders say, against the code."""

from __future__ import annotations

import re

import numpy as np
import pytest
from firmware_build import APPLICATION, NOTES

from imufeedback.errors import BadToml
from imufeedback.packets import Decoder, Layout, parse_layout
from imufeedback.records import DeviceBlock, RawPacket

PAGE = (NOTES / "existing_boards.md").read_text(encoding="utf-8")
(BLOCK,) = re.findall(r"```toml\n(.*?)```", PAGE, re.S)


def layout(text: str = BLOCK) -> Layout:
    return parse_layout(text, "mine.toml")


def test_the_declared_boards_packet_is_read_as_the_page_says() -> None:
    data = bytes.fromhex(re.findall(r"`(51 07[0-9a-f ]+)`", PAGE)[0].replace(" ", ""))
    mine = layout()
    assert mine.packet_length == len(data) == 32
    decoder = Decoder("a", mine, 0)
    blocks = [*decoder.feed(RawPacket("a", 0, data)), *decoder.finish()]
    (block,) = (one for one in blocks if isinstance(one, DeviceBlock))
    np.testing.assert_allclose(block.acc_m_s2, [[0, 0, 9.80665]] * 2)
    np.testing.assert_allclose(block.gyr_rad_s, [[0, 0, 0], [np.radians(10), 0, 0]], atol=1e-9)
    assert block.tick[0] == 1000
    gatt = mine.gatt
    assert gatt is not None
    assert (gatt.start, gatt.stop, gatt.blink) == ("10 01", "10 00", "20")


@pytest.mark.parametrize(
    ("old", "new", "says"),
    [
        ('start = "10 01"', 'start = "10 1"', "gatt: start '10 1'"),
        ('blink = "20"', "blink = 20", "gatt.blink: a text in quotes is expected, not a whole number"),
        ('control = "9a3e0d03-6f0b-4d35-8a52-7c1e9b40d2aa"\n', "", "gatt: start is given, but no control"),
        ("service = ", "services = ", "gatt: it has the unknown field `services`"),
        ("rate_hz = 100.0", 'rate_hz = "100"', "rate_hz: a number is expected, not a text in quotes"),
        ("rate_hz = 100.0\n", "", "rate_hz is missing"),
        ("unit_s = 1e-3\n", "", "counter: unit_s is missing"),
        ("packet_length = 32", "packet_length = 31", "packet_length is 31, but header and samples make 32"),
        ("9a3e0d02-6f0b-4d35-8a52-7c1e9b40d2aa", "0xFE41", "gatt: notify '0xFE41'"),
        ("9a3e0d02-6f0b-4d35-8a52-7c1e9b40d2aa", "fe41", "0000fe41-0000-1000-8000-00805f9b34fb"),
        ('{ name = "tick", type = "u16" }', '{ name = "tick", type = "i16" }', "tick has type i16"),
        ("scale = 0.000244140625", "scale = 4096.0", "acc: scale times the range"),
        ('unit = "g"', 'unit = "G"', "acc.unit 'G'"),
        ('name = "acc_z"', 'name = "az"', "sample name 'az'"),
    ],
)
def test_an_error_points_to_the_key(old: str, new: str, says: str) -> None:
    assert old in BLOCK
    with pytest.raises(BadToml) as caught:
        layout(BLOCK.replace(old, new, 1))
    assert says in str(caught.value)
    assert "\n" not in str(caught.value)


def test_the_port_layers_functions_are_those_of_the_page() -> None:
    header = (APPLICATION / "port.h").read_text(encoding="utf-8")
    functions = re.findall(r"^\w+ (port_\w+)\(", header, re.M)
    page = (NOTES / "application.md").read_text(encoding="utf-8")
    assert set(functions) == set(re.findall(r"`(port_\w+)`", page))
    assert len(functions) <= 12
