"""The demo in the bay window."""

from __future__ import annotations

from collections.abc import Sequence
from typing import TYPE_CHECKING

from imufeedback.app.run import run_app
from imufeedback.live.golfer import VirtualGolfer
from imufeedback.live.lesson import Block, Lesson
from imufeedback.live.practice import Practice
from imufeedback.record.journal import JournalWriter
from imufeedback.report.summary import Summary
from imufeedback.synth.sensors import WORN
from imufeedback.synth.stream import serial_of

if TYPE_CHECKING:
    from imufeedback.app.bay import BayWindow


def show(golfer: VirtualGolfer, journal: JournalWriter, summary: Summary, blocks: Sequence[Block] = ()) -> Practice:
    """Show the demo until its window is closed; the session has then been stopped in good order.

    When the golfer has done all reps the recording is closed and the window says so; it stays, for looking at the reps.
    Raises NoDisplay without a screen.
    """
    practices: list[Practice] = []

    def make_window() -> BayWindow:
        from imufeedback.app.bay_practice import bay_window
        from imufeedback.app.feed import EventFeed

        feed = EventFeed(golfer.plan.hand)
        practice = Practice(golfer, journal, [summary, feed.push], on_end=feed.finish)
        practices.append(practice)
        roles = {serial_of(segment): segment for segment in WORN}
        lesson = Lesson(blocks, practice.command, on_block=lambda block: window.show_block(block), at_fit=True)
        window = bay_window(practice, feed, roles, on_begin=practice.start, also=lesson.hear)
        return window

    run_app(make_window)
    return practices[0]
