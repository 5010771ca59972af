"""The demo in the bay window."""

from __future__ import annotations

from collections.abc import Sequence
from typing import TYPE_CHECKING

from imufeedback.app.run import run_app
from imufeedback.live.golfer import VirtualGolfer
from imufeedback.live.lesson import Lesson, LessonBlock
from imufeedback.live.practice import Practice
from imufeedback.record.journal import JournalWriter
from imufeedback.report.summary import Summary
from imufeedback.synth.sensors import WORN
from imufeedback.synth.stream import serial_of

if TYPE_CHECKING:
    from imufeedback.app.bay import BayWindow


END_HOLD_MS = 4000
"""The last rep is looked at for so long before the summary takes its place."""


def show_end(window: BayWindow, practice: Practice) -> None:
    """The summary in the same window, with what a demo can do then: its report, and closing."""
    from imufeedback.app.ending import EndPage
    from imufeedback.app.labels import scale_of

    for action in window.actions():
        action.setEnabled(False)  # its keys belong to the summary now
    window.menuBar().hide()
    page, book = EndPage(window.feed.hand), window.view.book
    page.show_session("", book.counted, book.best(), window.view.target_deg, practice.recording)
    page.rescale(scale_of(window))
    for button in (page.again, page.next):
        button.hide()
    page.close_wanted.connect(window.close)
    window.pages.addWidget(page)
    window.pages.setCurrentWidget(page)
    page.close_button.setFocus()


def show(
    golfer: VirtualGolfer,
    journal: JournalWriter,
    summary: Summary,
    blocks: Sequence[LessonBlock] = (),
    *,
    speak: bool = False,
) -> Practice:
    """Show the demo until its window is closed; the session has then been stopped in good order.

    When the golfer has done all reps the recording is closed and the window says so; it stays, for looking at the reps.
    Raises NoDisplay without a screen.
    """
    practices: list[Practice] = []

    def make_window() -> BayWindow:
        from PySide6.QtCore import QTimer

        from imufeedback.app.bay_practice import bay_window
        from imufeedback.app.feed import EventFeed

        feed = EventFeed(golfer.plan.hand)
        practice = Practice(golfer, journal, [summary, feed.push], on_end=feed.finish)
        practices.append(practice)
        roles = {serial_of(segment): segment for segment in WORN}
        lesson = Lesson(blocks, practice.command, on_block=lambda block: window.show_block(block), at_fit=True)
        window = bay_window(practice, feed, roles, on_begin=practice.start, also=lesson.hear, speak=speak)
        window.ended.connect(lambda: QTimer.singleShot(END_HOLD_MS, window, lambda: show_end(window, practice)))
        return window

    run_app(make_window)
    return practices[0]
