"""A film beside a rep: the strike in its sound, dragging, and what is said where neither is to be had."""

from __future__ import annotations

from pathlib import Path

import numpy as np
import pytest
from avi import write_avi
from PySide6.QtCore import QPoint, Qt
from pytestqt.qtbot import QtBot

from imufeedback.app.review.film_strip import KEY_S
from imufeedback.app.review.strikes import RISE_DB, STEP_S, Loudness, line_up, strikes
from imufeedback.app.review.video import VideoPanel, available
from imufeedback.records import Floats

RATE_HZ = 48_000
needs_films = pytest.mark.skipif(not available(), reason="needs the extra `video` (QtMultimedia)")


def sound(length_s: float, struck_s: list[float], *, noise: float = 0.004, rate_hz: int = RATE_HZ) -> Floats:
    """Wind and hum, speech that swells, and balls that are struck: noise that dies away within some 15 ms."""
    random = np.random.default_rng(7)
    t_s = np.arange(round(length_s * rate_hz)) / rate_hz
    speech = 0.1 * np.sin(2 * np.pi * 180 * t_s) * np.clip(np.sin(2 * np.pi * 0.7 * t_s), 0, None) ** 2
    out = noise * random.standard_normal(len(t_s)) + speech
    for at_s in struck_s:
        first = round(at_s * rate_hz)
        tail = np.exp(-np.arange(round(0.1 * rate_hz)) / (0.015 * rate_hz)) * random.standard_normal(
            round(0.1 * rate_hz)
        )
        out[first : first + len(tail)] += 0.5 * tail[: len(out) - first]
    return np.clip(out, -1, 1)


def levels(samples: Floats, rate_hz: int = RATE_HZ) -> Floats:
    loudness = Loudness(rate_hz)
    for piece in np.array_split(samples, 37):
        loudness.add(piece)
    return loudness.levels_db


@pytest.mark.parametrize("struck_s", [[2.5], [1.2, 6.0, 9.31]])
def test_a_strike_is_heard_to_a_few_milliseconds_under_speech_and_wind(struck_s: list[float]) -> None:
    found = strikes(levels(sound(11.0, struck_s)))
    assert found == pytest.approx(struck_s, abs=0.003)


def test_speech_wind_and_music_that_sets_in_are_no_strikes() -> None:
    assert not len(strikes(levels(sound(10.0, []))))
    music = sound(10.0, [])
    at = np.arange(5 * RATE_HZ) / RATE_HZ
    music[5 * RATE_HZ :] += 0.4 * np.sign(np.sin(2 * np.pi * 440 * at))
    assert not len(strikes(levels(music)))


def test_a_strike_that_drowns_in_the_wind_is_not_made_up() -> None:
    assert not len(strikes(levels(sound(6.0, [3.0], noise=0.5))))


def test_loudness_does_not_depend_on_the_pieces_it_comes_in() -> None:
    samples, whole = sound(2.0, [1.0]), Loudness(RATE_HZ)
    whole.add(samples)
    assert levels(samples) == pytest.approx(whole.levels_db)
    assert len(whole.levels_db) == round(2.0 / STEP_S)


def test_many_strikes_say_where_the_film_begins_whichever_rep_is_shown() -> None:
    impacts = [20.0, 41.3, 70.9]
    heard = np.array([3.0, 24.3, 40.0, 53.9])  # one of somebody else's
    for shown in impacts:
        found = line_up(heard, impacts, shown)
        assert found is not None
        assert (found.offset_s, found.met, found.alone) == (pytest.approx(17.0), 3, True)


def test_one_strike_among_several_reps_is_the_shown_ones_and_says_so() -> None:
    found = line_up([3.0], [20.0, 41.3], 41.3)
    assert found is not None
    assert (found.offset_s, found.met, found.alone) == (pytest.approx(38.3), 1, False)
    assert line_up([], [20.0], 20.0) is None
    assert line_up([3.0], [], 20.0) is None


@pytest.fixture(name="panel")
def a_panel(qtbot: QtBot) -> VideoPanel:
    panel = VideoPanel()
    qtbot.addWidget(panel)
    panel.resize(400, 300)
    panel.show()
    panel.show_rep(40.0, 44.0, [20.0, 41.3], 41.3)
    return panel


def test_dragging_the_strip_moves_the_film_and_is_kept_once(panel: VideoPanel, qtbot: QtBot) -> None:
    told: list[tuple[str, float]] = []
    panel.changed.connect(lambda path, offset_s: told.append((path, offset_s)))
    panel.load({"path": "a.mp4", "offset_s": 40.0})
    strip = panel.strip
    qtbot.mousePress(strip, Qt.MouseButton.LeftButton, pos=QPoint(100, 10))
    for x in (120, 150, 200):
        qtbot.mouseMove(strip, QPoint(x, 10))
    assert not told, "while it is held nothing is written"
    qtbot.mouseRelease(strip, Qt.MouseButton.LeftButton, pos=QPoint(200, 10))
    by_s = 100 / strip.width() * 4.0
    assert told == [("a.mp4", pytest.approx(40.0 + by_s, abs=0.02))]
    qtbot.keyClick(strip, Qt.Key.Key_Left)
    assert told[-1][1] == pytest.approx(told[0][1] - KEY_S, abs=0.005)


def test_the_strip_shows_the_strike_where_it_lies(panel: VideoPanel) -> None:
    panel.load({"path": "a.mp4", "offset_s": 38.8})
    panel.strip.show_sound(levels(sound(6.0, [2.5])))
    loud = panel.strip.columns()
    at = (38.8 + 2.5 - 40.0) / 4.0 * panel.strip.width()
    assert int(np.nanargmax(loud)) == pytest.approx(at, abs=2)
    panel.strip.show_sound(None)
    assert np.isnan(panel.strip.columns()).all()


def test_what_was_heard_lines_the_film_up_and_says_what_it_rests_on(panel: VideoPanel) -> None:
    panel.load({"path": "a.mp4", "offset_s": 0.0})
    panel._line_up(levels(sound(26.0, [2.5, 23.8])))
    assert panel.offset.value() == pytest.approx(17.5, abs=0.01)
    assert "2 of them at an impact" in panel.words.text()
    panel._line_up(levels(sound(6.0, [2.5])))
    assert panel.offset.value() == pytest.approx(38.8, abs=0.01)
    assert "check against the figure" in panel.words.text()
    panel._line_up(levels(sound(6.0, [])))
    assert panel.offset.value() == pytest.approx(38.8, abs=0.01), "nothing heard moves nothing"
    assert "No strike" in panel.words.text()


@needs_films
@pytest.mark.qt_log_ignore("No RHI backend", extend=True)
def test_a_film_is_lined_up_by_its_sound(panel: VideoPanel, qtbot: QtBot, tmp_path: Path) -> None:
    film = write_avi(tmp_path / "film.avi", 26.0, sound(26.0, [2.5, 23.8]), RATE_HZ)
    panel.load({"path": film, "offset_s": 0.0})
    panel.by_sound.click()
    qtbot.waitUntil(lambda: "at an impact" in panel.words.text(), timeout=20_000)
    assert panel.offset.value() == pytest.approx(17.5, abs=0.01)


@needs_films
def test_a_film_without_sound_says_so(panel: VideoPanel, qtbot: QtBot, tmp_path: Path) -> None:
    panel.load({"path": write_avi(tmp_path / "film.avi", 2.0, None, RATE_HZ), "offset_s": 0.0})
    panel.by_sound.click()
    qtbot.waitUntil(lambda: "No sound" in panel.words.text(), timeout=20_000)


@needs_films
@pytest.mark.qt_log_ignore("Could not open media", extend=True)
def test_a_film_whose_sound_cannot_be_read_says_so(panel: VideoPanel, qtbot: QtBot, tmp_path: Path) -> None:
    (tmp_path / "film.mp4").write_bytes(b"no film")
    panel.load({"path": str(tmp_path / "film.mp4"), "offset_s": 0.0})
    panel.by_sound.click()
    qtbot.waitUntil(lambda: "No sound" in panel.words.text(), timeout=20_000)


def test_the_rise_asked_for_is_far_from_what_speech_does() -> None:
    """Speech of the test's kind rises by less than half of it in a millisecond."""
    assert np.diff(levels(sound(10.0, [], noise=0.02))).max() < RISE_DB / 2
