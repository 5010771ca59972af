"""Layouts: what is accepted, and what is said about what is not."""

from __future__ import annotations

import pytest
from packet_streams import HOUSE, LOSSLESS, layout_text

from imufeedback.errors import BadToml
from imufeedback.packets import parse_layout


def test_house_is_the_packet_of_the_profile() -> None:
    assert (HOUSE.header_bytes, HOUSE.sample_bytes) == (8, 12)
    assert HOUSE.packet_bytes(4) == 56
    assert HOUSE.max_samples(23 - 3) == 1  # one sample fits the smallest ATT MTU
    assert HOUSE.nominal_step_ticks == pytest.approx(5000)


def test_lossless_has_its_own_ticks_and_float64() -> None:
    assert LOSSLESS.in_sample("tick")
    assert not LOSSLESS.in_header("tick")
    assert LOSSLESS.sample_bytes == 8 * 7


def test_the_delay_of_a_sensors_filters_is_nothing_unless_declared() -> None:
    assert HOUSE.delay_s == 0.0
    text = layout_text("house").replace("rate_hz = 200.0", "rate_hz = 200.0\ndelay_s = 0.0045", 1)
    assert parse_layout(text, "mine.toml").delay_s == 0.0045


@pytest.mark.parametrize(
    ("old", "new", "says"),
    [
        ('"little"', '"middle"', ["byte_order", "little, big"]),
        ('type = "i16"', 'type = "i12"', ["sample[0]", "i16, u32"]),
        ("full_scale = 16.0", "fullscale = 16.0", ["acc", "fullscale", "full_scale"]),
        ('name = "gyr_x"', 'name = "gyr_y"', ["sample", "gyr_y twice"]),
        ('name = "gyr_x"', 'name = "mag_x"', ["sample name", "mag_x", "gyr_x"]),
        ("rate_hz = 200.0", "", ["rate_hz"]),
        ("rate_hz = 200.0", "rate_hz = 200.0\ndelay_s = -0.001", ["delay_s"]),
        ("rate_hz = 200.0", "rate_hz = 200.0\ndelay_s = 4.5", ["delay_s", "0.1"]),
        ("unit_s = 1e-6", "unit_s = 0.0", ["counter", "unit_s"]),
        ("bits = 32", "bits = 33", ["counter.bits", "tick"]),
        ("samples_per_packet = 4", "samples_per_packet = 43", ["samples_per_packet", "42"]),
        ('unit = "deg/s"', 'unit = "rpm"', ["gyr.unit", "rad/s, deg/s"]),
        ("b4531e26-", "b4531e26", ["gatt", "service", "UUID"]),
        ('"tick", type = "u32"', '"tick", type = "i32"', ["tick", "u32"]),
        ("scale = 0.06103515625", "scale = 0.0", ["gyr", "scale"]),
        ("full_scale = 16.0", 'full_scale = 16.0\naxes = ["x", "x", "z"]', ["acc", "axes"]),
        ("rate_hz = 200.0", "rate_hz = = 200", ["not TOML"]),
        # scales that cannot be: a factor of 1000, a unit for another
        ("scale = 0.00048828125", "scale = 0.48828125", ["acc: scale times", "unit"]),
        ('unit = "g"', 'unit = "mg"', ["acc", "m/s²", "unit"]),
        ('unit = "g"', 'unit = "m/s^2"', ["acc: full_scale", "scale"]),
        ('unit = "deg/s"', 'unit = "rad/s"', ["gyr", "rad/s", "unit"]),
        ("full_scale = 2000.0", "full_scale = 4000.0", ["gyr.full_scale 4000"]),
        ("rate_hz = 200.0", "rate_hz = 200.0\npacket_length = 55", ["packet_length is 55", "56"]),
        ('layout = "b4531e29', 'start = "0g"\nlayout = "b4531e29', ["start", "hexadecimal"]),
        ('layout = "b4531e29', 'stop = "00"\nlayout = "b4531e29', ["stop", "start"]),
        ('control = "b4531e28-7802-44ce-b5b1-b7e45b3fb580"', 'start = "01"', ["start", "control"]),
    ],
)
def test_a_bad_layout_names_the_key_and_what_is_allowed(old: str, new: str, says: list[str]) -> None:
    text = layout_text("house")
    assert old in text
    with pytest.raises(BadToml) as caught:
        parse_layout(text.replace(old, new, 1), "mine.toml")
    line = str(caught.value)
    assert line.startswith("mine.toml: ")
    assert "\n" not in line
    for part in says:
        assert part in line


def test_mixed_number_kinds_are_refused() -> None:
    text = layout_text("lossless").replace('"gyr_x", type = "f64"', '"gyr_x", type = "i32"')
    with pytest.raises(BadToml, match="all whole numbers or all floats"):
        parse_layout(text, "x")


@pytest.mark.parametrize("name", ["example_big_endian", "example_floats"])
def test_the_examples_are_complete_and_explained(name: str) -> None:
    """Every example has GATT UUIDs of its own, a full scale, a stated length, and words on nearly every line."""
    text = layout_text(name)
    layout = parse_layout(text, name)
    assert "invented" in text
    assert text.count("#") >= 6
    assert layout.gatt is not None
    assert layout.gatt.service != HOUSE.gatt.service
    assert layout.packet_length == layout.packet_bytes(layout.samples_per_packet)
    assert layout.gyr.full_scale
    assert layout.acc.full_scale
