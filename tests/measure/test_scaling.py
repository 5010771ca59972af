"""Cost against size: the figures of a curve, what is measured, and what the page shows of it."""

from __future__ import annotations

import re
from pathlib import Path

import pytest

from imufeedback.measure import pictures, scaling
from imufeedback.measure.page import page
from imufeedback.measure.run import Report
from imufeedback.measure.scaling import CostCurve
from imufeedback.pipeline import run
from imufeedback.records import Angles, Rep, Segment
from imufeedback.synth.golfer import BODY
from imufeedback.synth.player import Pace
from imufeedback.synth.script import Script, make_script


def curve(costs: tuple[float, ...], sizes: tuple[float, ...] = (1.0, 2.0, 4.0, 8.0)) -> CostCurve:
    return CostCurve("the length", "s", "ms", sizes, costs)


@pytest.fixture(scope="module", name="script")
def make_one_rep() -> Script:
    return make_script(reps=1, seed=1, pace=Pace.FULL)


def test_exponent_tells_proportion_from_square_and_a_fixed_cost_from_both() -> None:
    assert curve((3.0, 6.0, 12.0, 24.0)).exponent == pytest.approx(1.0)
    assert curve((1.0, 4.0, 16.0, 64.0)).exponent == pytest.approx(2.0)
    assert curve((101.0, 102.0, 104.0, 108.0)).exponent < 0.1


def test_straight_line_and_how_much_it_explains() -> None:
    straight = curve((5.0, 7.0, 11.0, 19.0))
    assert straight.line == pytest.approx((2.0, 3.0))
    assert straight.r2 == pytest.approx(1.0)
    assert curve((5.0, 1.0, 9.0, 2.0)).r2 < 0.5


def test_the_least_of_all_tries_counts_and_the_first_call_does_not() -> None:
    told = {1.0: iter([0.1, 5.0, 4.0]), 2.0: iter([9.0, 7.0])}
    works = {size: lambda left=left: next(left) for size, left in told.items()}
    assert scaling.least(works, 2) == (4.0, 7.0)


@pytest.mark.parametrize(("count", "rate_hz", "reps"), [(1, 200.0, 0), (3, 50.0, 1), (6, 200.0, 1)])
def test_a_session_is_judged_with_its_sensors_and_rate(script: Script, count: int, rate_hz: float, reps: int) -> None:
    items = list(scaling.session(script, BODY[:count], rate_hz, scaling.SHORT_S))
    events = list(run(items))
    assert sum(isinstance(one, Rep) for one in events) == reps, "a swing costs what a swing costs"
    blocks = [one for one in events if isinstance(one, Angles)]
    steps = sum(len(one.t_s) for one in blocks)
    # from the zero on, and some of it is held back at the end
    assert (scaling.SHORT_S - scaling.ZERO_S - 0.3) * rate_hz < steps <= scaling.SHORT_S * rate_hz
    worn = {one for one in BODY[:count] if one is not Segment.LEAD_FOREARM}
    assert len(blocks[0].joints) == len(worn) - 1
    assert items[-1].host_ns - items[0].host_ns == pytest.approx(scaling.SHORT_S * 1e9, abs=3e7)


def test_a_whole_session_ends_with_its_script(script: Script) -> None:
    items = list(scaling.session(script, BODY[:1]))
    assert (items[-1].host_ns - items[0].host_ns) * 1e-9 == pytest.approx(scaling.seconds_of(script), abs=0.05)


def test_every_curve_measures_its_sizes(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    judged: list[str] = []
    monkeypatch.setattr(scaling, "judge", lambda path: judged.append(path.stem))
    monkeypatch.setattr(scaling, "SHORT_S", 0.5)
    assert scaling.sensors(tmp_path, 1, (1, 3), tries=1).sizes == (1.0, 3.0)
    assert scaling.rates(tmp_path, 1, (50.0, 100.0), tries=1).sizes == (50.0, 100.0)
    assert judged == ["sensors1", "sensors1", "sensors3", "rate50", "rate50", "rate100"]
    growing = scaling.library(tmp_path, 1, (1, 4), tries=2)
    assert growing.sizes == (100.0, 400.0)
    assert growing.costs[0] < growing.costs[1]


def test_lengths_are_those_of_the_sessions(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(scaling, "judge", lambda path: None)
    monkeypatch.setattr(scaling, "session", lambda script: iter(()))
    sizes = scaling.lengths(tmp_path, 1, (1, 2), tries=1).sizes
    wanted = [scaling.seconds_of(make_script(reps=n, seed=1, pace=Pace.FULL)) for n in (1, 2)]
    assert list(sizes) == wanted
    assert sizes[1] > 1.5 * sizes[0]


def test_the_page_shows_every_point_and_the_exponent() -> None:
    rows = [{"set": "speed", "trial": "memory"}, curve((3.0, 6.0, 12.0, 24.0)).row()]
    shown = page(Report(False, 1, rows=rows))
    assert shown.count("<circle") == 4
    assert shown.count('<tr><td class="n">') == 4
    assert "exponent 1.00" in shown
    assert "<svg" not in page(Report(False, 1, rows=rows[:1]))


@pytest.mark.parametrize(("costs", "side"), [((3.0, 6.0), 0), ((3.0, 4.0), -1), ((3.0, 12.0), 1)])
def test_a_point_above_the_dashed_line_costs_more_than_its_share(costs: tuple[float, ...], side: int) -> None:
    shown = pictures.against_size(curve(costs, (1.0, 2.0)).row(), "t")
    dashed = [float(one) for one in re.findall(r'class="line floor" d="M[0-9.]+ [0-9.]+L[0-9.]+ ([0-9.]+)"', shown)]
    above = dashed[0] - float(re.findall(r' cy="([0-9.]+)"', shown)[-1])
    assert (abs(above) < 0.2) if side == 0 else (above * side > 5)


def test_names_on_the_page_are_text_and_never_markup() -> None:
    nasty = "<b>\"'&"
    shown = page(Report(False, 1, rows=[CostCurve(nasty, nasty, nasty, (1.0, 2.0), (1.0, 2.0)).row()]))
    assert "<b>" not in shown
    assert "&lt;b&gt;" in shown
