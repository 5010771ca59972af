"""The bay window of a practice."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any

from imufeedback import resources
from imufeedback.app.bay import BayWindow
from imufeedback.app.feed import EventFeed
from imufeedback.commands import Mute
from imufeedback.live.practice import Practice
from imufeedback.records import Segment


def bay_window(practice: Practice, feed: EventFeed, roles: Mapping[str, Segment], **more: Any) -> BayWindow:
    """A window that shows `feed`, one of the practice's sinks, and passes on what a person does.

    `roles` tells which sensor is worn where; `more` goes to `BayWindow`.
    """
    return BayWindow(
        feed,
        on_stop=practice.stop,
        on_mute=lambda muted: practice.command(Mute(muted)),
        on_command=practice.command,
        on_preview=practice.preview,
        sound_delay=practice.delay_ms,
        sound_trouble=practice.sound_trouble,
        rule_set=resources.text("rules", "swing"),
        recording=str(practice.recording),
        roles=roles,
        **more,
    )
