"""The door between the engine thread and the windows."""

from __future__ import annotations

import threading
from dataclasses import replace

import numpy as np
import pytest
from bay_events import HandClock, angles, grid, hip, of_hips, rep
from PySide6.QtCore import Qt
from pytestqt.qtbot import QtBot

from imufeedback.app import feed as feed_module
from imufeedback.app.feed import EventFeed, trace_rows
from imufeedback.records import Angles, Hand, Notice, PelvisAngles, Side


def notices(count: int) -> list[Notice]:
    return [Notice(float(i), str(i)) for i in range(count)]


@pytest.mark.parametrize(("hand", "traces"), [(Hand.RIGHT, (20.0, 5.0, -7.0)), (Hand.LEFT, (10.0, -7.0, 5.0))])
def test_traces_are_trail_thigh_trail_rotation_lead_rotation(hand: Hand, traces: tuple[float, ...]) -> None:
    rows = trace_rows(angles(grid(0, 0.05), right_deg=(20.0, 5.0), left_deg=(10.0, -7.0)), hand)
    assert rows.shape == (10, 25)
    np.testing.assert_allclose(rows[:, :3], np.tile(traces, (10, 1)))
    np.testing.assert_allclose(rows[:, 7:10], 2.0)
    assert np.isnan(rows[:, 5:7]).all()  # knees are not worn


def test_pelvis_and_knees_follow_when_they_are_known() -> None:
    t_s = grid(0, 0.02)
    turn = np.radians(np.tile([30.0, -4.0, 9.0], (4, 1)))
    sd, ok = np.full((4, 3), np.radians(1.0)), np.tile([[True], [True], [False], [True]], 3)
    knee = replace(hip(Side.LEFT, t_s, 15.0, 0.0), joint="knee")
    rows = trace_rows(Angles(t_s, PelvisAngles(t_s, turn, turn, sd, ok), (knee,)), Hand.RIGHT)
    np.testing.assert_allclose(rows[[0, 1, 3]][:, [3, 4, 6]], np.tile([30.0, -4.0, 15.0], (3, 1)))
    np.testing.assert_allclose(rows[0, [10, 11]], 1.0)
    assert np.isnan(rows[2, [3, 4, 10, 11]]).all()
    assert np.isnan(rows[:, 5]).all()


def test_not_ok_and_missing_hips_are_nothing() -> None:
    t_s = grid(0, 0.02)
    rows = trace_rows(of_hips(t_s, hip(Side.RIGHT, t_s, 20.0, 5.0, [True, False, True, False])), Hand.RIGHT)
    np.testing.assert_array_equal(np.isnan(rows[:, 0]), [False, True, False, True])
    assert np.isnan(rows[:, 2]).all()


def test_rare_events_arrive_in_order_in_the_qt_thread_with_one_signal(qtbot: QtBot) -> None:
    feed, heard, threads, wakes = EventFeed(Hand.RIGHT), [], set(), []

    def hear() -> None:
        wakes.append(1)
        threads.add(threading.current_thread())
        heard.extend(feed.take())

    feed.woken.connect(hear, Qt.ConnectionType.QueuedConnection)
    engine = threading.Thread(target=lambda: [feed.push([event]) for event in notices(500)])
    engine.start()
    engine.join()
    qtbot.waitUntil(lambda: len(heard) == 500, timeout=2000)
    assert [event.text for event in heard] == [str(i) for i in range(500)]
    assert threads == {threading.main_thread()}
    assert len(wakes) == 1
    assert feed.peak == 500
    assert feed.waiting == 0


def test_a_window_that_never_answers_costs_bounded_memory(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(feed_module, "QUEUE_LIMIT", 100)
    feed = EventFeed(Hand.RIGHT)
    feed.push(notices(130))
    assert (feed.waiting, feed.peak, feed.dropped) == (100, 100, 30)
    assert feed.take()[0] == Notice(30.0, "30")


def test_angles_do_not_go_through_the_queue(clock: HandClock) -> None:
    feed = EventFeed(Hand.RIGHT, clock=clock)
    feed.push([angles(grid(0, 1)), rep(), angles(grid(1, 2))])
    assert feed.take() == [rep()]
    assert len(feed.snapshot(10.0).t_s) == 400


def test_time_runs_on_when_samples_do_not(clock: HandClock) -> None:
    feed = EventFeed(Hand.RIGHT, clock=clock)
    feed.push([angles(grid(0, 1))])
    clock.now_s += 3.0
    seen = feed.snapshot(10.0)
    assert seen.age_s == pytest.approx(3.0)
    assert seen.now_s == pytest.approx(0.995 + 3.0)


def test_time_stands_still_after_the_end(clock: HandClock) -> None:
    feed = EventFeed(Hand.RIGHT, clock=clock)
    feed.push([angles(grid(0, 1))])
    feed.finish()
    clock.now_s += 60.0
    assert feed.snapshot(10.0).finished
    assert feed.snapshot(10.0).now_s == pytest.approx(0.995)


def test_snapshot_before_the_first_sample(clock: HandClock) -> None:
    seen = EventFeed(Hand.RIGHT, clock=clock).snapshot(10.0)
    assert seen.age_s == np.inf
    assert seen.angle_deg.shape == (0, 7)


def test_pushing_from_two_threads_while_reading_loses_nothing(qtbot: QtBot) -> None:
    feed = EventFeed(Hand.RIGHT)
    taken: list[object] = []
    threads = [threading.Thread(target=lambda: [feed.push([event]) for event in notices(300)]) for _ in range(2)]
    for thread in threads:
        thread.start()
    while any(thread.is_alive() for thread in threads):
        taken.extend(feed.take())
        feed.snapshot(10.0)
    taken.extend(feed.take())
    assert len(taken) == 600
