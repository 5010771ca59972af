"""The demo in the bay window."""

from __future__ import annotations

from typing import TYPE_CHECKING

from imufeedback.app.run import run_app
from imufeedback.demo import DemoPlan
from imufeedback.demo_run import LiveDemo
from imufeedback.record.journal import JournalWriter

if TYPE_CHECKING:
    from imufeedback.app.bay import BayWindow


def show(plan: DemoPlan, journal: JournalWriter) -> LiveDemo:
    """Show the demo until its window is closed; the session has then been stopped in good order.

    Raises NoDisplay without a screen.
    """
    made: list[LiveDemo] = []

    def make_window() -> BayWindow:
        from imufeedback.app.bay import BayWindow
        from imufeedback.app.feed import EventFeed

        feed = EventFeed(plan.hand)
        live = LiveDemo(plan, journal, [feed.push])
        made.append(live)
        return BayWindow(
            feed,
            on_begin=live.start,
            on_stop=live.stop,
            on_mute=live.set_muted,
            recording=str(journal.path),
        )

    run_app(make_window)
    return made[0]
