"""Numbers against their sources."""

from __future__ import annotations

import math

import pytest

from imufeedback.constants import CAUTIONS, STANDARD_GRAVITY_M_S2, STILL_GRAVITY_BAND_M_S2, normal_gravity_m_s2


@pytest.mark.parametrize(
    ("latitude_deg", "expected"),
    [
        (0, 9.7803253359),
        (30, 9.793247),
        (45, 9.806198),
        (51.5, 9.812034),
        (60, 9.819177),
        (90, 9.8321849378),
        (-45, 9.806198),
    ],
)
def test_wgs84_normal_gravity(latitude_deg, expected):
    """Somigliana's formula. Equator and pole: NIMA TR8350.2; the others computed from it."""
    digits = 1e-9 if expected in (9.7803253359, 9.8321849378) else 5e-7
    assert normal_gravity_m_s2(math.radians(latitude_deg)) == pytest.approx(expected, abs=digits)


@pytest.mark.parametrize(("latitude_deg", "height_m"), [(0, 2000), (45, 1000), (55, 5000), (80, 3000)])
def test_gravity_falls_with_height(latitude_deg, height_m):
    """Against the second-order WGS84 formula (NIMA TR8350.2, eq. 4-3), which the constant gradient stands in for."""
    a, f, m = 6_378_137.0, 1 / 298.257223563, 0.00344978650684
    s2 = math.sin(math.radians(latitude_deg)) ** 2
    fall = 1 - 2 / a * (1 + f + m - 2 * f * s2) * height_m + 3 / a**2 * height_m**2
    full = normal_gravity_m_s2(math.radians(latitude_deg)) * fall
    assert normal_gravity_m_s2(math.radians(latitude_deg), height_m) == pytest.approx(full, abs=1e-4)


def test_gravity_at_55_degrees_and_5000_m():
    """9.7997: a published worked example of the WGS84 formula (second-hand)."""
    assert normal_gravity_m_s2(math.radians(55.0), 5000.0) == pytest.approx(9.7997, abs=1e-4)


def test_the_still_band_holds_all_of_sea_level_and_standard_gravity():
    low, high = STILL_GRAVITY_BAND_M_S2
    for latitude_deg in (0, 90):
        assert low < normal_gravity_m_s2(math.radians(latitude_deg)) < high
    assert STANDARD_GRAVITY_M_S2 == 9.80665  # 3rd CGPM, exact
    assert low < STANDARD_GRAVITY_M_S2 < high


def test_the_cautions_are_all_there():
    text = " ".join(CAUTIONS).lower()
    for said in ("not a medical device", "slow before fast", "hurts", "clinician", "room to swing", "volume"):
        assert said in text
