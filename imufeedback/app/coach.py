"""What a coach does to a running session by key: pause, good, discard, note, compare, limits; all is journalled."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import replace

from PySide6.QtWidgets import QWidget

from imufeedback.app import numerals, words
from imufeedback.app.bay_view import BayView
from imufeedback.app.dialogs import Limit, LimitsDialog, NoteDialog
from imufeedback.app.limits import TARGET, limits_of
from imufeedback.app.tracks import Entry
from imufeedback.commands import AnyCommand, Discard, MarkGood, Mute, Note, Pause, SetLimit
from imufeedback.records import Event, Rep

OnCommand = Callable[[AnyCommand], None]
TARGET_STEP_DEG = 1.0


class Coach:
    """Turns keys into commands, and shows at once what they did."""

    def __init__(self, view: BayView, command: OnCommand) -> None:
        self._view = view
        self._command = command
        self.paused = False
        self.over = False
        """The recording is closed: nothing can be said any more."""
        self.limits: dict[str, Limit] = {}
        view.plots.target_moved.connect(self._target_moved)
        view.turn.target_moved.connect(self._target_moved)

    def hear(self, event: Event) -> None:
        """A rep that ends in a pause does not count."""
        if isinstance(event, Rep) and self.paused:
            entry = self._view.book.find(event.index)
            if entry is not None and entry.counts:
                self._discard(entry)

    # ── pause ────────────────────────────────────────────────────────────────────────────────────────────────────

    def pause(self, *, muted: bool) -> None:
        """Talk in peace: no tones, and what moves does not count; or go on. `muted` is how it was before."""
        self.paused = not self.paused
        self._command(Pause(self.paused))
        if not muted:
            self._command(Mute(self.paused))
        self._view.show_paused(self.paused)
        self._say(words.paused() if self.paused else words.goes_on())

    # ── the last rep ─────────────────────────────────────────────────────────────────────────────────────────────

    def good(self) -> None:
        """This one was good; or not any more."""
        entry = self._last_judged()
        if entry is not None:
            entry.good = not entry.good
            self._command(MarkGood(entry.rep.index, entry.good))
            self._changed(entry, words.marked_good(entry.rep.index + 1, entry.good))

    def discard(self) -> None:
        """It does not count; or it does again."""
        entry = self._last_judged()
        if entry is not None:
            self._discard(entry)

    def _discard(self, entry: Entry) -> None:
        entry.discarded = not entry.discarded
        self._command(Discard(entry.rep.index, entry.discarded))
        self._changed(entry, words.discarded(entry.rep.index + 1, entry.discarded))

    def note(self, parent: QWidget, scale: float) -> None:
        """Ask for a line of text."""
        entry = self._view.book.last
        dialog = NoteDialog(parent, scale, entry.rep.index + 1 if entry else None)
        dialog.noted.connect(lambda text: self._note(entry, text))
        dialog.open()

    def _note(self, entry: Entry | None, text: str) -> None:
        if self.over:  # it ended while the note was written
            self._say(words.all_over())
            return
        if entry is None:
            self._say(words.noted(text))
        else:
            entry.note = f"{entry.note}; {text}" if entry.note else text
            self._changed(entry, words.noted(text))
        self._command(Note(text, None if entry is None else entry.rep.index))

    def compare(self) -> None:
        """Compare with the next one that there is."""
        possible = self._view.book.possible()
        now = possible.index(self._view.choice) if self._view.choice in possible else -1
        self._view.show_choice(possible[(now + 1) % len(possible)])

    def _last(self) -> Entry | None:
        entry = self._view.book.last
        if entry is None:
            self._say(words.no_rep_to_mark())
        return entry

    def _last_judged(self) -> Entry | None:
        entry = self._last()
        if entry is not None and entry.rep.void:
            self._say(words.void_stays(entry.rep.index + 1))
            return None
        return entry

    def _changed(self, entry: Entry, text: str) -> None:
        self._view.show_entry(entry)
        self._say(text)

    # ── limits ───────────────────────────────────────────────────────────────────────────────────────────────────

    def show_rule_set(self, text: str) -> None:
        """The rule set or drill that is in use now, TOML."""
        self.limits = limits_of(text)
        self._show_target()

    def ask_limits(self, parent: QWidget, scale: float) -> None:
        """Show all limits to be changed."""
        dialog = LimitsDialog(parent, scale, self.limits)
        dialog.changed.connect(self.set_limit)
        dialog.open()

    def set_limit(self, key: str, value: float) -> None:
        """A limit from the next rep on; out of its range it is brought to the end of it."""
        limit = self.limits.get(key)
        if limit is None:
            return
        if self.over:
            self._say(words.all_over())
            return
        value = min(max(value, limit.low), limit.high)
        self.limits[key] = replace(limit, value=value)
        self._command(SetLimit(key, value))
        self._show_target()
        self._say(words.limit_set(limit.name, numerals.quantity(value, limit.unit)))

    def target_by(self, step_deg: float) -> None:
        """Move the target."""
        if TARGET in self.limits:
            self.set_limit(TARGET, self.limits[TARGET].value + step_deg)

    def _target_moved(self, value_deg: float) -> None:
        self.set_limit(TARGET, value_deg)

    def _show_target(self) -> None:
        self._view.show_target(self.limits[TARGET].value if TARGET in self.limits else None)

    def _say(self, text: str) -> None:
        self._view.messages.show_notice(text)
