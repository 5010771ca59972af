"""The demo in the bay window."""

from __future__ import annotations

from typing import TYPE_CHECKING

from imufeedback import resources
from imufeedback.app.run import run_app
from imufeedback.demo import DemoPlan
from imufeedback.demo_run import LiveDemo
from imufeedback.record.journal import JournalWriter
from imufeedback.synth.sensors import WORN
from imufeedback.synth.stream import serial_of

if TYPE_CHECKING:
    from imufeedback.app.bay import BayWindow


def show(plan: DemoPlan, journal: JournalWriter) -> LiveDemo:
    """Show the demo until its window is closed; the session has then been stopped in good order.

    When the golfer has done all reps the recording is closed and the window says so; it stays, for looking at the reps.
    Raises NoDisplay without a screen.
    """
    made: list[LiveDemo] = []

    def make_window() -> BayWindow:
        from imufeedback.app.bay import BayWindow
        from imufeedback.app.feed import EventFeed

        feed = EventFeed(plan.hand)
        live = LiveDemo(plan, journal, [feed.push], on_end=feed.finish)
        made.append(live)
        return BayWindow(
            feed,
            on_begin=live.start,
            on_stop=live.stop,
            on_mute=live.set_muted,
            on_preview=live.preview,
            sound_delay=lambda: _rounded_ms(live),
            on_command=live.command,
            rule_set=resources.text("rules", "swing"),
            recording=str(journal.path),
            roles={serial_of(segment): segment for segment in WORN},
        )

    run_app(make_window)
    return made[0]


def _rounded_ms(live: LiveDemo) -> float | None:
    """The estimate, to 5 ms: it is no better than that, and the number should not flicker."""
    delay = live.delay()
    return None if delay is None else 5.0 * round(delay.median_s * 1e3 / 5.0)
