"""Curves: gaps stay gaps, ranges stay sane, nothing is made anew."""

from __future__ import annotations

import numpy as np
import pyqtgraph as pg
import pytest
from pytestqt.qtbot import QtBot

from imufeedback.app import words
from imufeedback.app.feed import Snapshot
from imufeedback.app.marks import StateMark, TimeMark, marks_of
from imufeedback.app.traces import TracePlots, finite_runs, tick_places, trace_kinds, wanted_range
from imufeedback.records import Hand, Motion, Rep

NAN, INF = np.nan, np.inf


@pytest.fixture
def plots(qtbot: QtBot) -> TracePlots:
    made = TracePlots(Hand.RIGHT)
    qtbot.addWidget(made)
    made.resize(700, 450)
    made.rescale(1.0)
    made.show()
    return made


def snapshot(columns: list[np.ndarray], now_s: float = 10.0) -> Snapshot:
    angle = np.stack(columns, axis=1).astype(float)
    t_s = now_s - 0.01 * np.arange(len(angle))[::-1]
    return Snapshot(now_s, 0.0, t_s, angle, np.full_like(angle, 2.0))


@pytest.mark.parametrize(
    "values",
    [
        [1.0] * 50 + [NAN] + [2.0] * 50,
        [1.0] * 50 + [NAN] * 200 + [2.0] * 50,
        [NAN] * 100,
        [1.0] * 50 + [NAN, NAN] + [2.0],
        [],
    ],
    ids=["one", "two seconds", "all", "at the end", "empty"],
)
def test_gaps_are_drawn_as_gaps(plots: TracePlots, qtbot: QtBot, values: list[float]) -> None:
    column = np.array(values)
    plots.draw(snapshot([column] * 3), [], [])
    plots.show_empty("no data")
    plots.grab()  # paints it
    trace = plots.traces[0]
    np.testing.assert_array_equal(np.isnan(trace.curve.yData), np.isnan(column))
    assert trace.curve.opts["connect"] == "finite"
    assert trace._nothing.isVisible() == (not np.isfinite(column).any())
    assert trace._band.path().elementCount() < 2 * len(column) + 10


def test_no_pixel_of_a_curve_lies_in_a_gap(plots: TracePlots) -> None:
    values = np.full(1000, 10.0)
    values[400:600] = NAN
    plots.draw(snapshot([values] * 3), [], [])
    image = plots.grab().toImage()
    trace = plots.traces[0]

    def colour_at(ago_s: float) -> str:
        at = plots.mapFromScene(trace.plot.getViewBox().mapViewToScene(pg.Point(ago_s, 10.0)))
        return image.pixelColor(at).name().upper()

    assert colour_at(-8.0) == trace_kinds(Hand.RIGHT)[0].colour
    assert colour_at(-5.0) == "#FFFFFF"
    assert colour_at(-1.0) == trace_kinds(Hand.RIGHT)[0].colour


def test_finite_runs() -> None:
    assert finite_runs(np.array([True, True, False, True, False])) == [(0, 2), (3, 4)]
    assert finite_runs(np.zeros(4, bool)) == []
    assert finite_runs(np.ones(3, bool)) == [(0, 3)]


@pytest.mark.parametrize(
    ("low", "high", "expected"),
    [(-10, 20, (-30, 50)), (-10, 49, (-30, 60)), (-95, 20, (-100, 50)), (-180, 180, (-190, 190))],
)
def test_range_is_the_usual_one_until_it_is_too_small(low: float, high: float, expected: tuple[float, float]) -> None:
    assert wanted_range(low, high, (-30.0, 50.0)) == expected


@pytest.mark.parametrize(("low", "high"), [(-30.0, 50.0), (-100.0, 50.0), (-190.0, 190.0)])
def test_ticks_are_few_and_hold_zero(low: float, high: float) -> None:
    places = tick_places(low, high)
    assert 3 <= len(places) <= 7
    assert 0.0 in places


def test_left_hander_has_left_trail(qtbot: QtBot) -> None:
    titles = [kind.title for kind in trace_kinds(Hand.LEFT)]
    assert titles[0] == words.thigh_title("left")
    assert titles[1] == words.trail_rotation_title("left")
    assert titles[2] == words.lead_rotation_title("right")


def test_marks_of_a_rep_are_lines_and_missing_ones_are_not() -> None:
    rep = Rep(4, "swing", 1.0, 3.0, {"top_s": 1.5, "finish_s": 2.5, "level_s": 1.8}, (), {})
    assert marks_of(rep) == [TimeMark("top_s", 1.5, 5), TimeMark("finish_s", 2.5, 5)]


def test_marks_stand_at_their_time_and_leave_with_it(plots: TracePlots) -> None:
    flat = [np.zeros(100)] * 3
    times = [TimeMark("impact_s", 7.0, 2)]
    states = [StateMark(6.5, 12.0, Motion.STALLED), StateMark(6.8, 13.0, Motion.REGAINING)]
    plots.draw(snapshot(flat), times, states)
    for trace in plots.traces:
        assert trace.marks.lines["impact_s"].xData.tolist() == [-3.0, -3.0]
        assert not trace.marks.lines["top_s"].isVisible()
    assert plots.traces[0].marks._names[0].toPlainText() == words.rep_name(2)
    assert plots._states.signs[Motion.STALLED].getData()[0].tolist() == [-3.5]
    assert plots._states.signs[Motion.REGAINING].getData()[1].tolist() == [13.0]
    plots.draw(snapshot(flat, now_s=18.0), times, states)
    assert not plots.traces[0].marks.lines["impact_s"].isVisible()
    assert not plots._states.signs[Motion.STALLED].isVisible()


def test_nothing_is_made_anew_from_frame_to_frame(plots: TracePlots) -> None:
    items = set(plots.scene().items())
    for frame in range(30):
        plots.draw(snapshot([np.sin(np.arange(500) / 20 + frame) * 30] * 3), [TimeMark("top_s", 8.0, 1)], [])
        plots.show_values([1.0, None, 3.0])
        plots.grab()
    assert set(plots.scene().items()) == items
