"""Encoding against bytes worked out by hand, and there and back through decoding."""

from __future__ import annotations

import struct

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from packet_streams import HOUSE, LOSSLESS, decode, values

from imufeedback.constants import STANDARD_GRAVITY_M_S2
from imufeedback.errors import UsageError
from imufeedback.packets import encode, parse_layout
from imufeedback.records import RawPacket


def test_bytes_by_hand() -> None:
    # 90 °/s is 90 / 2000 * 32768 = 1474.56 -> 1475; 1 g is 32768 / 16 = 2048.
    data = encode(HOUSE, 0x1234, 0x89ABCDEF, [[np.radians(90), 0, 0]], [[0, 0, STANDARD_GRAVITY_M_S2]])
    assert data == struct.pack("<BBHI6h", 1, 1, 0x1234, 0x89ABCDEF, 1475, 0, 0, 0, 0, 2048)


def test_values_beyond_the_range_are_clipped_not_wrapped() -> None:
    data = encode(HOUSE, 0, 0, [[1e6, -1e6, np.radians(2000)]], [[1e6, -1e6, 0]])
    assert struct.unpack_from("<6h", data, 8) == (32767, -32768, 32767, 32767, -32768, 0)


def test_number_and_tick_wrap_at_their_widths() -> None:
    data = encode(HOUSE, 65536 + 7, (1 << 32) + 9, [[0, 0, 0]], [[0, 0, 1]])
    assert struct.unpack_from("<HI", data, 2) == (7, 9)


@given(st.integers(0, 2**32 - 1))
@settings(max_examples=30, deadline=None)
def test_there_and_back_within_half_a_step(seed: int) -> None:
    gyr, acc = values(seed)
    blocks, _, _ = decode([RawPacket("a", 0, encode(HOUSE, 0, 0, gyr, acc))])
    assert np.abs(blocks[0].gyr_rad_s - gyr).max() <= np.radians(2000 / 32768) / 2 * (1 + 1e-9)
    assert np.abs(blocks[0].acc_m_s2 - acc).max() <= 16 * STANDARD_GRAVITY_M_S2 / 32768 / 2 * (1 + 1e-9)


def test_lossless_is_exact() -> None:
    gyr, acc = values(3, 10)
    ticks = np.arange(10) * 9_999_999 + 2**40
    blocks, _, _ = decode([RawPacket("a", 0, encode(LOSSLESS, 5, 0, gyr, acc, ticks))], LOSSLESS)
    assert np.array_equal(blocks[0].gyr_rad_s, gyr)
    assert np.array_equal(blocks[0].acc_m_s2, acc)
    assert np.array_equal(blocks[0].tick, ticks)


MIXED = """
name = "mixed"
byte_order = "big"
rate_hz = 100.0
samples_per_packet = 2
header = [{ name = "skip", type = "u8" }, { name = "sequence", type = "u8" }, { name = "tick", type = "u16" }]
sample = [
    { name = "acc_z", type = "i16" }, { name = "acc_y", type = "i16" }, { name = "acc_x", type = "i16" },
    { name = "skip", type = "u16" },
    { name = "gyr_x", type = "i32" }, { name = "gyr_y", type = "i32" }, { name = "gyr_z", type = "i32" },
]
[counter]
bits = 16
unit_s = 1e-3
[gyr]
unit = "mdeg/s"
scale = 1.0
axes = ["y", "-x", "z"]
[acc]
unit = "mg"
scale = 0.5
full_scale = 8000.0
"""


def test_h40_another_sensors_units_axes_and_byte_order() -> None:
    layout = parse_layout(MIXED, "mixed.toml")
    # Sensor: acc (x, y, z) = (100, 200, 2000) half mg; gyr (x, y, z) = (1000, 2000, 90000) m°/s.
    sample = struct.pack(">3hH3i", 2000, 200, 100, 0xFFFF, 1000, 2000, 90_000)
    data = struct.pack(">BBH", 0, 9, 500) + sample * 2
    blocks, rejected, _ = decode([RawPacket("a", 0, data)], layout)
    assert not rejected
    assert blocks[0].gyr_rad_s[1] == pytest.approx(np.radians([2.0, -1.0, 90.0]))
    assert blocks[0].acc_m_s2[1] == pytest.approx(np.array([0.05, 0.1, 1.0]) * STANDARD_GRAVITY_M_S2)
    assert blocks[0].tick.tolist() == [500, 510]


def test_mixed_layout_there_and_back() -> None:
    layout = parse_layout(MIXED, "mixed.toml")
    gyr, acc = values(5, 2)
    blocks, _, _ = decode([RawPacket("a", 0, encode(layout, 1, 2, gyr, acc))], layout)
    assert blocks[0].gyr_rad_s == pytest.approx(gyr, abs=np.radians(0.5e-3) * 1.001)
    assert blocks[0].acc_m_s2 == pytest.approx(acc, abs=0.25e-3 * STANDARD_GRAVITY_M_S2 * 1.001)


def test_misuse_is_said() -> None:
    ok = np.ones((2, 3))
    with pytest.raises(UsageError, match="finite"):
        encode(HOUSE, 0, 0, ok * np.nan, ok)
    with pytest.raises(UsageError, match=r"\(N, 3\)"):
        encode(HOUSE, 0, 0, ok[:1], ok)
    with pytest.raises(UsageError, match="tick for each"):
        encode(LOSSLESS, 0, 0, ok, ok)
    with pytest.raises(UsageError, match="header"):
        encode(HOUSE, 0, 0, np.ones((300, 3)), np.ones((300, 3)))
