"""The range view: readable from three metres, few words, and nothing moves that need not."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import replace

import pytest
from bay_events import HandClock, angles, finding, grid, rep, state
from contrasts import TEXT_CONTRAST_MIN, contrast, text_pairs
from PySide6.QtCore import Qt
from PySide6.QtGui import QFontMetrics
from PySide6.QtWidgets import QWidget
from pytestqt.qtbot import QtBot

from imufeedback import resources
from imufeedback.app import next_words, words
from imufeedback.app.bay import BayWindow
from imufeedback.app.labels import pixel_font
from imufeedback.app.next_words import MOST, SPOKEN_OF, six
from imufeedback.app.palette import PaintedSign, PanelState
from imufeedback.app.range_view import RangeView
from imufeedback.app.theme import DARK, LIGHT, SUNLIGHT, THEMES, Theme
from imufeedback.app.tracks import RepEntry
from imufeedback.phrases import phrase
from imufeedback.records import BlockBegun, Mode, Motion, Phase, PhaseChanged, Role, Verdict
from imufeedback.rules import parse_rule_set

MakeBay = Callable[..., BayWindow]

SHORT = [
    rule.short
    for kind in ("rules", "drills")
    for name in resources.available(kind)
    for rule in parse_rule_set(resources.text(kind, name), name).rules
    if rule.short is not None
]
LAPTOP_HEIGHT_M = 0.166
"""Of a 13.3 inch 16:9 screen, the smallest that will stand on a range: 13.3 in x 0.49 x 25.4 mm."""
LETTER_SHARE = 1 / 200
"""Height of a capital letter for a distance: a usual rule for signs (from memory); 15 mm at 3 m."""


@pytest.fixture
def view(qtbot: QtBot) -> RangeView:
    made = RangeView("right")
    qtbot.addWidget(made)
    made.resize(1280, 720)
    made.show()
    made.rescale()
    return made


@pytest.mark.parametrize("theme", THEMES, ids=lambda theme: theme.name)
def test_every_text_can_be_read_in_every_theme(theme: Theme) -> None:
    least = 7.0 if theme is SUNLIGHT else TEXT_CONTRAST_MIN  # WCAG 2.2, 1.4.6 AAA
    for name, (ink, ground) in text_pairs(theme).items():
        state = theme is SUNLIGHT and ground != theme.ground  # the live states keep their colours
        assert contrast(ink, ground) >= (TEXT_CONTRAST_MIN if state else least), name


def test_state_number_and_words_are_large_enough_for_three_metres(view: RangeView) -> None:
    least_px = 3.0 * LETTER_SHARE / LAPTOP_HEIGHT_M * view.height()

    def capital(pixels: float) -> float:
        return QFontMetrics(pixel_font(pixels, bold=True)).capHeight()

    view.show_angle(-24.0)
    view.grab()
    assert capital(view.number.font().pixelSize()) >= 2 * least_px
    for shown in (PanelState.FALLING, PanelState.STALLED, PanelState.GROWING, PanelState.WAITING):
        word = words.state_word(shown)
        assert capital(view.state.fitted(word, view.state.word_room)) >= least_px
    needed = QFontMetrics(view.number.font()).horizontalAdvance("−24°")
    assert needed <= view.number.width()
    for text in (*dict.fromkeys(SHORT), phrase("next.first"), phrase("next.good"), phrase("next.unsure")):
        view.next.setText(text)
        view._fit_words()
        # two thirds: read in a second look, from the ball
        assert capital(view.next.font().pixelSize()) >= 0.66 * least_px, text
        assert QFontMetrics(view.next.font()).horizontalAdvance(text) <= view.width()


@pytest.mark.parametrize(
    "text",
    [*dict.fromkeys(SHORT), *(phrase(f"next.{one}") for one in SPOKEN_OF), phrase("next.first"), phrase("next.good")],
)
def test_six_words_at_most(text: str) -> None:
    assert len(text.split()) <= MOST


def test_a_rule_without_words_of_its_own_gives_six_of_its_text() -> None:
    assert six("Pelvis and leg turned: turn the pelvis over a quiet thigh.") == "Turn the pelvis over a quiet …"
    assert six("Short.") == "Short"


def test_what_to_do_next_follows_the_last_rep() -> None:
    said = next_words.next_words
    entry = RepEntry(rep(0), None)
    assert said(PanelState.WAITING, None) == phrase("next.first")
    assert said(PanelState.WAITING, entry) == phrase("next.good")
    entry.findings.append(finding(0, Verdict.UNSURE))
    assert said(PanelState.WAITING, entry) == phrase("next.unsure")
    entry.findings.append(finding(0))
    assert said(PanelState.WAITING, entry) == "Keep turning away from trail leg", "the cause's words, not the rule's"
    entry.findings[-1] = replace(finding(0), short="Turn, and turn on")
    assert said(PanelState.WAITING, entry) == "Turn, and turn on"
    assert said(PanelState.NO_SIGNAL, entry) == phrase(f"next.{PanelState.NO_SIGNAL}")
    entry.discarded = True
    assert said(PanelState.WAITING, entry) == phrase("next.dropped")


def test_number_stands_still_while_the_angle_hardly_moves(view: RangeView) -> None:
    texts = []
    for angle in (20.4, 20.6, 21.1, 20.0, 21.3, None, 3.0):
        view.show_angle(angle)
        texts.append(view.number.text())
    assert texts == ["20°", "20°", "20°", "20°", "21°", "–", "3°"]


def test_last_ten_reps_are_marks_with_their_value(view: RangeView) -> None:
    flat = {"trail_thigh_flat_turn_deg": 7.4}
    entries = [RepEntry(rep(index, features=flat if index else {}), None) for index in range(12)]
    entries[11].findings.append(finding(11))
    entries[10].findings.append(finding(10, Verdict.UNSURE))
    entries[9].good = True
    view.show_reps(entries[:1], entries[0])
    assert view.marks.values == [""], "a value that is not known is left out"
    view.show_reps(entries, entries[-1])
    assert [number for _, number, _ in view.marks.signs] == list(range(3, 13))
    assert view.marks.signs[-3:] == [
        (PaintedSign.TICK, 10, True),
        (PaintedSign.RING, 11, False),
        (PaintedSign.CROSS, 12, False),
    ]
    assert view.marks.values == ["7°"] * 10
    assert "12: 1 fault" in view.marks.accessibleName()
    view.grab()


def show(window: BayWindow, *events: object) -> None:
    window.feed.push(events)  # type: ignore[arg-type]
    window._hear()
    window._frame_number = 0
    window._frame()


def test_range_view_by_key_and_back_by_escape(make_bay: MakeBay, qtbot: QtBot) -> None:
    window = make_bay()
    show(window, angles(grid(60, 64)), rep(0), PhaseChanged(63.0, Phase.DOWNSWING), state(Motion.STALLED, 63.5))
    qtbot.keyClick(window, Qt.Key.Key_R)
    assert window.pages.currentWidget() is window.range
    show(window)
    assert window.range.shown is PanelState.STALLED
    assert window.range.number.text() == "20°"
    assert window.range.marks.signs == [(PaintedSign.TICK, 1, False)]
    qtbot.keyClick(window, Qt.Key.Key_F4)
    assert window.range.theme is DARK
    qtbot.keyClick(window, Qt.Key.Key_F4)
    assert window.range.theme is SUNLIGHT
    qtbot.keyClick(window, Qt.Key.Key_F4)
    assert window.range.theme is LIGHT
    qtbot.keyClick(window, Qt.Key.Key_Escape)
    assert window.pages.currentWidget() is window.view
    assert not window._stop.begun


def test_second_window_shows_the_same_and_goes_with_the_session(make_bay: MakeBay, qtbot: QtBot) -> None:
    window = make_bay()
    qtbot.keyClick(window, Qt.Key.Key_R, Qt.KeyboardModifier.ShiftModifier)
    assert window.second.isVisible()
    show(window, angles(grid(60, 64)), rep(0))
    assert window.second.view.number.text() == "20°"
    window.close()
    qtbot.waitUntil(lambda: not window.isVisible(), timeout=3000)
    assert not window.second.isVisible()


def test_letters_do_not_outgrow_the_window_on_a_page_that_is_taller(view: RangeView, qtbot: QtBot) -> None:
    """At 200 % the bay view is taller than its window, and the range view gets its page."""
    before = view.next.font().pixelSize(), view.number.font().pixelSize(), view.caption.font().pixelSize()
    around = QWidget()
    qtbot.addWidget(around)
    around.resize(1280, 720)
    view.setParent(around)
    view.resize(1280, 4000)
    view.rescale()
    after = view.next.font().pixelSize(), view.number.font().pixelSize(), view.caption.font().pixelSize()
    view.setParent(None)
    assert after == before


def test_where_the_result_comes_later_the_body_does_not_tell_it(make_bay: MakeBay, qtbot: QtBot) -> None:
    window = make_bay()
    qtbot.keyClick(window, Qt.Key.Key_R)
    show(window, angles(grid(60, 64)))
    assert window.range.body.pose is not None
    show(window, BlockBegun(64.0, "test", Role.TEST, "swing", Mode.NONE, 0.0))
    assert window.range.body.pose is None


def test_less_motion_moves_twice_a_second(make_bay: MakeBay, qtbot: QtBot, clock: HandClock) -> None:
    window = make_bay()
    qtbot.keyClick(window, Qt.Key.Key_M)
    assert window._frames.interval() == 500
    window._painted(0.001)
    assert window._frames.interval() == 500
    qtbot.keyClick(window, Qt.Key.Key_M)
    assert window._frames.interval() == 33


VOID = "right hip: rotation not known after a gap – set up to the ball again"


@pytest.mark.parametrize("size", [(1280, 720), (900, 560), (1920, 1080)])
@pytest.mark.parametrize("theme", THEMES)
def test_a_rep_that_did_not_count_is_told_in_large_words_with_its_reason(
    view: RangeView, size: tuple[int, int], theme: Theme
) -> None:
    view.resize(*size)
    view.show_theme(theme)
    view.show_state(PanelState.WAITING)
    good, void = RepEntry(rep(0), None), RepEntry(replace(rep(1), void=VOID), None)
    view.show_reps([good], void)
    view.rescale()
    assert view.next.text() == "That rep did not count"
    assert view.why.text() == VOID
    assert view.why.isVisible()
    for label in (view.next, view.why):
        assert QFontMetrics(label.font()).horizontalAdvance(label.text()) <= view.width()
        assert QFontMetrics(label.font()).height() <= 1.25 * label.height()
    assert [number for _, number, _ in view.marks.signs] == [1], "no mark: it counts neither way"
    view.show_reps([good], RepEntry(rep(2), None))
    assert not view.why.isVisible()
    view.show_reps([good], void)
    view.show_state(PanelState.NO_SIGNAL)
    assert not view.why.isVisible(), "what to do now is more urgent"
