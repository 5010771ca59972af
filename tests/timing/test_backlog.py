"""Backlogs, losses, restarts and sleep, through decoder and clock: numbers and ticks overrule the arrivals."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest

from imufeedback import resources
from imufeedback.measure import clocks
from imufeedback.packets import parse_layout
from imufeedback.records import RawPacket

RIGHT_S = 0.003


def layout(name: str):
    return parse_layout(resources.text("layouts", name), name)


@pytest.mark.parametrize("name", clocks.LAYOUTS)
@pytest.mark.parametrize("seconds", [0.7, 3.5, 10.0, 60.0])
@pytest.mark.parametrize("lossy", [False, True])
def test_a_backlog_of_any_age_is_no_restart(name: str, seconds: float, lossy: bool) -> None:
    error_s, restarts = clocks.after_backlog_s(layout(name), np.random.default_rng(21), seconds, lossy=lossy)
    assert restarts == 0
    assert error_s <= RIGHT_S


def test_a_backlog_that_comes_in_two_parts_and_slowly() -> None:
    """Half of it at once, eight seconds of nothing, and the rest at twice the pace of the sensor."""
    house, rng = layout("house"), np.random.default_rng(4)
    packets = clocks.stream(house, rng, 90.0)
    given: list[tuple[int, RawPacket]] = []
    for k, one in enumerate(packets):
        t_s = one.host_ns * 1e-9
        if 40.0 <= t_s < 45.0:
            t_s = 50.0
        elif 45.0 <= t_s < 71.0:
            t_s = max(58.0 + (t_s - 45.0) / 2, t_s)
        given.append((k, replace(one, host_ns=round(t_s * 1e9) + k)))
    error_s, found = clocks.compared(house, packets, given)
    assert found.restarts == 0
    assert np.nanmax(np.abs(error_s)) <= RIGHT_S


def test_a_clock_that_stood_still_is_no_backlog() -> None:
    """Ticks and numbers go on where they were, but nothing is made up for: the sensor slept for 20 s. After two seconds
    of samples that is sure, and times are right."""
    house, rng = layout("house"), np.random.default_rng(5)
    packets = clocks.stream(house, rng, 80.0)
    given = [
        (k, one if one.host_ns < 40e9 else replace(one, host_ns=one.host_ns + 20_000_000_000))
        for k, one in enumerate(packets)
    ]
    error_s, found = clocks.compared(house, packets, given, 20.0)
    arrived_s = np.array([one.host_ns for one in packets]) * 1e-9
    assert found.restarts == 1
    assert np.abs(error_s[arrived_s > 43.5]).max() <= RIGHT_S


@pytest.mark.parametrize("name", clocks.LAYOUTS)
@pytest.mark.parametrize("away_s", [0.8, 4.0, 25.0])
def test_after_a_restart_times_are_right_within_a_second(name: str, away_s: float) -> None:
    _, later_s, restarts = clocks.after_restart_s(layout(name), np.random.default_rng([6, int(away_s)]), away_s)
    assert restarts == 1
    assert later_s <= RIGHT_S


@pytest.mark.parametrize("name", ["house", "example_big_endian", "example_floats"])
@pytest.mark.parametrize(("seconds", "counted_s"), [(40.0, 2.0), (40.0, 40.0), (12.0, 3.0), (5.0, 1.0)])
def test_after_the_computer_slept_times_are_right_within_a_second(name: str, seconds: float, counted_s: float) -> None:
    _, later_s = clocks.after_sleep_s(layout(name), np.random.default_rng([7, int(seconds)]), seconds, counted_s)
    assert later_s <= RIGHT_S


@pytest.mark.parametrize("lost_s", [1.3, 2.6, 7.0])
def test_numbers_count_the_rounds_of_a_clock_that_goes_round_every_second(lost_s: float) -> None:
    """A clock modulo one second, 16 bits of packet number: a gap of any length is as long as it was, without a
    restart."""
    text = resources.text("layouts", "example_modulus").replace("modulus = 10000", "modulus = 1000")
    text = text.replace("sequence_modulus = 250", "sequence_modulus = 60000").replace('"u8"', '"u16"')
    kind = parse_layout(text.replace("packet_length = 51", "packet_length = 52"), "x")
    packets = clocks.stream(kind, np.random.default_rng(8), 60.0)
    given = [(k, one) for k, one in enumerate(packets) if not 40.0 <= one.host_ns * 1e-9 < 40.0 + lost_s]
    error_s, found = clocks.compared(kind, packets, given)
    assert found.restarts == 0
    assert np.nanmax(np.abs(error_s)) <= RIGHT_S
