"""Curves: gaps stay gaps, ranges stay sane, pictures agree with data at every scaling, the target can be dragged."""

from __future__ import annotations

import numpy as np
import pytest
from PySide6.QtCore import QPoint, QPointF, QRect, Qt
from PySide6.QtGui import QColor, QImage, QPainter
from pytestqt.qtbot import QtBot

from imufeedback.app import palette
from imufeedback.app.feed import TRACES, Snapshot
from imufeedback.app.trace_marks import PhaseSpans, StateMark, TimeMark, marks_of
from imufeedback.app.traces import TracePlots, TraceRow, finite_runs, row_kinds, tick_places, wanted_range
from imufeedback.phrases import phrase
from imufeedback.records import Hand, Motion, Phase, PhaseChanged, Rep

NAN, INF = np.nan, np.inf


@pytest.fixture
def plots(qtbot: QtBot) -> TracePlots:
    made = TracePlots(Hand.RIGHT)
    qtbot.addWidget(made)
    made.resize(700, 450)
    made.rescale(1.0)
    made.show()
    return made


def snapshot(column: np.ndarray, now_s: float = 10.0, hz: float = 100.0) -> Snapshot:
    """The same in every column but the knees, which nobody wears."""
    angle = np.repeat(np.asarray(column, dtype=float)[:, None], TRACES, axis=1)
    angle[:, 5:] = NAN
    t_s = now_s - np.arange(len(angle))[::-1] / hz
    return Snapshot(now_s, 0.0, t_s, angle, np.where(np.isnan(angle), NAN, 2.0))


def painted(plots: TracePlots, ratio: float = 1.0) -> QImage:
    size = plots.size()
    image = QImage(round(size.width() * ratio), round(size.height() * ratio), QImage.Format.Format_RGB32)
    image.setDevicePixelRatio(ratio)
    plots.render(image)
    return image


def is_near(image: QImage, at: QPointF, colour: str, ratio: float = 1.0) -> bool:
    """Is the colour within a pixel and a half of a point?"""
    wanted = QColor(colour)
    cx, cy, reach = round(at.x() * ratio), round(at.y() * ratio), int(np.ceil(1.5 * ratio))
    around = ((cx + dx, cy + dy) for dx in range(-reach, reach + 1) for dy in range(-reach, reach + 1))
    return any(image.pixelColor(x, y) == wanted for x, y in around if image.rect().contains(QPoint(x, y)))


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
def test_h81_gaps_are_drawn_as_gaps(plots: TracePlots, values: list[float]) -> None:
    column = np.array(values)
    plots.draw(snapshot(column), [], [])
    plots.show_empty("no data")
    painted(plots)
    row = plots.rows[0]
    runs = finite_runs(np.isfinite(row.angle_deg[:, 0]))
    assert len(runs) == len(finite_runs(np.isfinite(column)))
    assert row.nothing == ("" if np.isfinite(column).any() else "no data")


def test_h81_no_pixel_of_a_curve_lies_in_a_gap(plots: TracePlots) -> None:
    values = np.full(1000, 10.0)
    values[400:600] = NAN
    plots.draw(snapshot(values), [], [])
    image, row = painted(plots), plots.rows[0]
    assert is_near(image, QPointF(row.x(-8.0), row.y(10.0)), palette.TRAIL)
    assert not is_near(image, QPointF(row.x(-5.0), row.y(10.0)), palette.TRAIL)
    assert is_near(image, QPointF(row.x(-1.0), row.y(10.0)), palette.TRAIL)


@pytest.mark.parametrize("ratio", [1.0, 1.25, 1.5, 2.0])
def test_h83_a_point_is_painted_where_its_value_says_at_every_scaling(plots: TracePlots, ratio: float) -> None:
    values = 25.0 * np.sin(np.arange(1000) / 80)
    seen = snapshot(values)
    plots.draw(seen, [], [])
    image, row = painted(plots, ratio), plots.rows[0]
    for index in (100, 333, 600, 900):
        at = QPointF(row.x(float(seen.t_s[index] - seen.now_s)), row.y(float(values[index])))
        assert is_near(image, at, palette.TRAIL, ratio)
        assert row.degrees_at(at.y()) == pytest.approx(values[index])


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
    assert 2 <= len(places) <= 7
    assert 0.0 in places


def test_left_hander_has_left_trail() -> None:
    assert row_kinds(Hand.LEFT)[0].title == phrase("thigh_title", side="left")


def test_knees_get_a_row_when_they_are_worn(plots: TracePlots) -> None:
    plots.draw(snapshot(np.zeros(100)), [], [])
    assert len(plots.shown_rows) == 3
    seen = snapshot(np.zeros(100))
    seen.angle_deg[:, 5:] = 20.0
    plots.draw(seen, [], [])
    assert len(plots.shown_rows) == 4
    painted(plots)
    assert plots.rows[3].area.top() > plots.rows[2].area.bottom()


def test_marks_of_a_rep_are_lines_and_missing_ones_are_not() -> None:
    rep = Rep(4, "swing", 1.0, 3.0, {"top_s": 1.5, "finish_s": 2.5, "level_s": 1.8}, (), {})
    assert marks_of(rep) == [TimeMark("top_s", 1.5, 5), TimeMark("finish_s", 2.5, 5)]


def test_marks_stand_at_their_time_and_leave_with_it(plots: TracePlots) -> None:
    times = [TimeMark("impact_s", 7.0, 2)]
    states = [StateMark(6.5, 12.0, Motion.STALLED), StateMark(6.8, 13.0, Motion.GROWING)]
    plots.draw(snapshot(np.zeros(100)), times, states)
    image = painted(plots)
    for row in plots.shown_rows:
        assert is_near(image, QPointF(row.x(-3.0), row.area.top() + 10), palette.SOFT_INK)
    row = plots.rows[0]
    assert is_near(image, QPointF(row.x(-3.5), row.y(12.0)), palette.YELLOW)
    assert is_near(image, QPointF(row.x(-3.2), row.y(12.5)), palette.VERMILLION)
    plots.draw(snapshot(np.zeros(100), now_s=18.0), times, states)
    assert (plots._times, plots._states) == ([], [])


def test_phases_are_shaded_from_change_to_change() -> None:
    spans = PhaseSpans()
    for t_s, phase in ((1.0, Phase.ADDRESS), (2.0, Phase.BACKSWING), (3.0, Phase.DOWNSWING), (3.5, Phase.FINISH)):
        spans.hear(PhaseChanged(t_s, phase))
    assert list(spans.between(2.5, 9.0)) == [(Phase.BACKSWING, 2.5, 3.0), (Phase.DOWNSWING, 3.0, 3.5)]
    spans.hear(PhaseChanged(4.0, Phase.BACKSWING))
    assert list(spans.between(3.9, 9.0)) == [(Phase.BACKSWING, 4.0, 9.0)]


def test_shades_lie_where_the_phases_were(plots: TracePlots) -> None:
    plots.draw(snapshot(np.zeros(100)), [], [], [(Phase.DOWNSWING, 4.0, 6.0)])
    image, row = painted(plots), plots.rows[1]
    assert is_near(image, QPointF(row.x(-5.0), row.area.top() + 8), palette.PHASES[Phase.DOWNSWING])
    assert not is_near(image, QPointF(row.x(-8.0), row.area.top() + 8), palette.PHASES[Phase.DOWNSWING])


def test_target_is_dragged_with_the_mouse_and_told_once(plots: TracePlots, qtbot: QtBot) -> None:
    told: list[float] = []
    plots.target_moved.connect(told.append)
    plots.draw(snapshot(np.zeros(100)), [], [])
    plots.show_target(2.0)
    row = plots.rows[0]
    start, end = (QPoint(300, round(row.y(at))) for at in (2.0, 12.0))
    qtbot.mousePress(plots, Qt.MouseButton.LeftButton, pos=start)
    qtbot.mouseMove(plots, QPoint(300, (start.y() + end.y()) // 2))
    qtbot.mouseMove(plots, end)
    assert told == []
    qtbot.mouseRelease(plots, Qt.MouseButton.LeftButton, pos=end)
    assert len(told) == 1
    assert told[0] == pytest.approx(12.0, abs=0.6)
    qtbot.mousePress(plots, Qt.MouseButton.LeftButton, pos=QPoint(300, start.y()))
    qtbot.mouseRelease(plots, Qt.MouseButton.LeftButton, pos=end)
    assert len(told) == 1


def test_axes_are_painted_once_not_in_every_frame(plots: TracePlots) -> None:
    plots.draw(snapshot(np.zeros(500)), [], [])
    painted(plots)
    axes = plots._axes
    for frame in range(30):
        plots.draw(snapshot(np.sin(np.arange(500) / 20 + frame) * 25), [TimeMark("top_s", 8.0, 1)], [])
        plots.show_values([1.0, None, 3.0, 4.0, 5.0, None, None])
        painted(plots)
    assert plots._axes is axes


@pytest.mark.parametrize("at", [400, 401, 402, 403, 611, 877])
def test_a_spike_of_one_sample_is_in_the_picture(plots: TracePlots, at: int) -> None:
    """At 200 Hz and four pixels to a bin, most samples are not the first of their bin."""
    column = np.zeros(2000)
    column[at] = 40.0
    plots.draw(snapshot(column, hz=200.0), [], [])
    row = plots.rows[0]
    assert float(np.nanmax(row.angle_deg)) == 40.0
    ago_s = -(len(column) - 1 - at) / 200.0
    image = painted(plots)
    where = [QPointF(row.x(ago_s) + dx, row.y(20.0)) for dx in range(-5, 6)]
    assert any(is_near(image, one, palette.TRAIL) for one in where)


def moved(plots: TracePlots, frames: int) -> None:
    """Frames as they come: of uneven lengths, with a gap."""
    t_s = np.arange(6000) / 200.0
    angle = np.column_stack([20.0 * np.sin(t_s * (1 + 0.3 * k)) for k in range(TRACES)])
    angle[3400:3460] = NAN
    now_s = 15.0
    for k in range(frames):
        now_s += (0.005, 0.035, 0.06)[k % 3]
        there = (t_s > now_s - 10.0) & (t_s <= now_s)
        sd = np.where(np.isnan(angle[there]), NAN, 3.0)
        plots.draw(Snapshot(now_s, 0.0, t_s[there], angle[there], sd), [], [])
        painted(plots)


def test_curves_that_were_moved_on_are_those_that_are_painted_anew(plots: TracePlots) -> None:
    moved(plots, 120)
    kept = painted(plots)
    plots._curves.forget()
    anew = painted(plots)
    edge = round(plots.rows[0].area.left()) + 8  # the oldest bin is cut off by the snapshot
    beside = QRect(edge, 0, kept.width() - edge, kept.height())
    assert kept.copy(beside) == anew.copy(beside)


def test_only_the_end_of_the_curves_is_painted_anew(plots: TracePlots, monkeypatch: pytest.MonkeyPatch) -> None:
    moved(plots, 30)
    from_s: list[float] = []
    paint = TraceRow.paint_curves

    def noting(row: TraceRow, painter: QPainter, since_s: float) -> None:
        from_s.append(since_s)
        paint(row, painter, since_s)

    monkeypatch.setattr(TraceRow, "paint_curves", noting)
    moved(plots, 3)  # time goes back: the first frame is painted whole
    assert min(from_s) < -9.0
    assert all(one > -1.5 for one in from_s[-8:])
