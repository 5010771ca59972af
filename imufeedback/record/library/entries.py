"""What the index keeps of one recording: from the recording's two ends and from the files beside it."""

from __future__ import annotations

from dataclasses import dataclass, replace
from datetime import UTC, timedelta
from pathlib import Path

from imufeedback.commands import settings_of
from imufeedback.errors import ImuFeedbackError
from imufeedback.record.files import shown_name
from imufeedback.record.library import verdicts
from imufeedback.record.library.edits import read_edits
from imufeedback.record.library.places import why_no_file
from imufeedback.record.window import open_window


@dataclass(frozen=True, slots=True)
class Entry:
    """One recording with what is beside it."""

    title: str
    player: str = ""
    start_utc: str | None = None
    zone_offset_s: int | None = None
    duration_s: float = 0.0
    hand: str = ""
    trouble: str = ""
    """Why it cannot be read; empty when it can."""
    closed: bool = False
    tags: tuple[str, ...] = ()
    notes: str = ""
    discarded: frozenset[int] = frozenset()
    newest: verdicts.KeptVerdict | None = None
    """The newest verdict."""
    beside: str = ""
    """What is wrong with the files beside it."""

    def without_reps(self, reason: str) -> Entry:
        return replace(self, newest=None, beside=_together(self.beside, f"its results cannot be listed ({reason})"))


def read_entry(path: Path) -> Entry:
    """Raises nothing: whatever is wrong with one recording is told of that recording."""
    try:
        entry = _recording(path)
    except ImuFeedbackError as error:
        entry = Entry(shown_name(path), trouble=error.what)
    except Exception as error:  # noqa: BLE001 - one bad file must not hide the others, whatever is in it
        entry = Entry(shown_name(path), trouble=f"cannot be read ({type(error).__name__})")
    edits, judged = read_edits(path), verdicts.look(path)
    newest = judged.all[-1] if judged.all else None
    return replace(
        entry,
        player=entry.player if edits.player is None else edits.player,
        title=entry.title if edits.title is None else edits.title,
        tags=tuple(edits.tags),
        notes="\n".join(edits.notes),
        discarded=edits.out_of(newest.summary.reps if newest is not None else ()),
        newest=newest,
        beside=_together(edits.words(), f"its results: {judged.trouble}" if judged.trouble else ""),
    )


def _recording(path: Path) -> Entry:
    """Raises ImuFeedbackError for what is no recording."""
    entry = Entry(shown_name(path))
    if why := why_no_file(path):
        return replace(entry, trouble=why)
    window = open_window(path)
    entry = replace(entry, title=window.title or entry.title, duration_s=window.duration_s, closed=window.closed)
    if window.started is not None:
        offset = window.started.utcoffset() or timedelta()
        entry = replace(
            entry,
            start_utc=window.started.astimezone(UTC).isoformat(timespec="microseconds"),
            zone_offset_s=round(offset.total_seconds()),
        )
    if window.begin is None:
        return replace(entry, trouble="its beginning is damaged")
    try:
        player = settings_of(window.begin).player
    except ImuFeedbackError as error:
        return replace(entry, trouble=error.what)
    return replace(entry, player=player.name, hand=str(player.hand))


def _together(*words: str) -> str:
    return "; ".join(one for one in words if one)
