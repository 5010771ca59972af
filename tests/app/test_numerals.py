from __future__ import annotations

import math

import pytest

from imufeedback.app import numerals


@pytest.mark.parametrize(
    ("value", "text"),
    [(23.4, "23°"), (-12.3, "−12°"), (-0.3, "0°"), (0.4, "0°"), (None, "–"), (math.nan, "–"), (math.inf, "–")],
)
def test_degrees_are_whole_with_a_true_minus_and_no_minus_zero(value: float | None, text: str) -> None:
    assert numerals.degrees(value) == text


@pytest.mark.parametrize(
    ("value", "unit", "text"),
    [(4.25, "deg", "4.2°"), (-0.04, "deg", "0.0°"), (0.471, "1", "0.47"), (1.5, "s", "1.5 s"), (math.nan, "deg", "–")],
)
def test_quantity_names_its_unit(value: float, unit: str, text: str) -> None:
    assert numerals.quantity(value, unit) == text


@pytest.mark.parametrize(
    ("t_s", "text"), [(0.0, "0:00.0"), (61.53, "1:01.5"), (59.97, "1:00.0"), (3599.99, "60:00.0"), (-1.0, "0:00.0")]
)
def test_clock_time(t_s: float, text: str) -> None:
    assert numerals.clock_time(t_s) == text


def test_spread_has_a_decimal_only_where_it_matters() -> None:
    assert numerals.spread(2.44) == "2.4°"
    assert numerals.spread(12.4) == "12°"
    assert numerals.spread(math.nan) == "–"


def test_decimal_mark_of_the_country_on_screens() -> None:
    numerals.use_decimal_mark(",")
    try:
        assert numerals.quantity(-3.25, "deg") == "−3,2°"
        assert numerals.clock_time(61.5) == "1:01,5"
    finally:
        numerals.use_decimal_mark(".")
