"""A kept calibration is told less and less sure of, and the error bar with it."""

from __future__ import annotations

import datetime

import msgspec
import numpy as np
import pytest

from imufeedback.constants import STANDARD_GRAVITY_M_S2
from imufeedback.fusion.ageing import aged, offset_sd_m_s2
from imufeedback.live import station_source
from imufeedback.measure import players
from imufeedback.measure.golfer import items
from imufeedback.measure.sets.sensors import _by_hand
from imufeedback.settings import Calibration
from imufeedback.synth.sensors import WORN

ONE = Calibration(
    acc_offset_m_s2=(0.1, 0.2, 0.3),
    acc_scale=(1.0, 1.0, 1.0),
    acc_cross=(0.0, 0.0, 0.0),
    gyr_matrix=((1.0, 0.0, 0.0), (0.0, 1.0, 0.0), (0.0, 0.0, 1.0)),
    gyr_bias_rad_s=(0.0, 0.0, 0.0),
    acc_offset_sd_m_s2=0.004,
    acc_scale_sd=0.0005,
    gyr_scale_sd=0.001,
    day="2026-03-01",
    temperature_c=22.0,
)
MG = STANDARD_GRAVITY_M_S2 / 1000


def test_on_its_day_at_its_temperature_it_is_as_good_as_it_was() -> None:
    assert aged(ONE, 0, 22.0) == ONE
    assert aged(ONE, -1, 22.0) == ONE  # a clock that was set back
    assert offset_sd_m_s2(ONE) == pytest.approx(np.hypot(0.004, 0.0005 * 9.80665))


def test_days_and_degrees_either_way_widen_it() -> None:
    assert aged(ONE, 100, 22.0).acc_offset_sd_m_s2 == pytest.approx(np.hypot(0.004, 3 * MG))
    for temperature_c in (12.0, 32.0):
        assert aged(ONE, 0, temperature_c).acc_offset_sd_m_s2 == pytest.approx(np.hypot(0.004, 5 * MG))


def test_what_is_not_known_is_taken_for_a_year_and_ten_degrees() -> None:
    assert aged(ONE, None, 22.0) == aged(ONE, 365, 22.0)
    assert aged(ONE, 0, None) == aged(ONE, 0, 32.0)
    assert aged(msgspec.structs.replace(ONE, temperature_c=None), 0, 22.0).acc_offset_sd_m_s2 > ONE.acc_offset_sd_m_s2


@pytest.mark.parametrize(("day", "days"), [("2026-03-01", 9.0), ("", None), ("yesterday", None)])
def test_the_day_of_a_file(day: str, days: float | None) -> None:
    assert station_source._days(day, datetime.date(2026, 3, 10)) == days


def test_the_bar_is_narrow_after_a_calibration_and_widens_with_its_age() -> None:
    session, model = players.script(3, reps=1), players.typical(soft_tissue=False)
    fresh = _by_hand(session, model)
    old = {segment: aged(one, 2000, None) for segment, one in fresh.items()}
    bars = []
    for kept in (fresh, old, None):
        seen = players.errors(session, items(session, WORN, model=model, calibrations=kept))
        inside = seen.inside(session.truth.reps[0])
        bars.append(float(np.nanmean(seen.sd[seen.trail][inside, players.FLEXION])))
        error = np.abs(seen.error[seen.trail][inside, players.FLEXION])
        assert kept is None or np.nanmax(error) < 0.5
    assert bars[0] < bars[1] - 0.05
    assert bars[0] < bars[2] - 0.1
