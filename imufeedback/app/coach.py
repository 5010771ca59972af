"""What a coach does to a running session by key: pause, good, discard, note, compare, limits; all is journalled."""

from __future__ import annotations

from collections import Counter
from collections.abc import Callable
from dataclasses import dataclass

from PySide6.QtCore import QTimer
from PySide6.QtWidgets import QWidget

from imufeedback import shipped
from imufeedback.app import numerals, words
from imufeedback.app.bay_view import BayView
from imufeedback.app.dialogs import HomeworkDialog, Limit, NoteDialog
from imufeedback.app.limits import TARGET, limits_of, of_worn, rule_set_of
from imufeedback.app.limits_dialog import LimitsDialog
from imufeedback.app.practice_choices import drill_titles
from imufeedback.app.tracks import RepEntry
from imufeedback.commands import AddNote, AnyCommand, Discard, Estimate, GoToStep, MarkGood, Mute, Pause, SetLimit
from imufeedback.live.lesson import ANSWER_S, NO_ANSWER
from imufeedback.phrases import phrase
from imufeedback.records import BlockBegun, Event, Rep, SelfEstimate, StepTold
from imufeedback.rules import Changed, Layers, RuleSet, Whose
from imufeedback.rules.cause import causes_of

OnCommand = Callable[[AnyCommand], None]
TARGET_STEP_DEG = 1.0


@dataclass(frozen=True, slots=True)
class Keeper:
    """Keeps a player's own limits from session to session."""

    name: str
    """The player's."""
    keep: Callable[[str, float | None], None]
    """Takes key and value; None: the rule set's again."""
    assign: Callable[[str, int, int], None] = lambda drill, reps, days: None
    """Takes homework: name of a drill, reps a day, days."""


ANSWERS = ("good", "fault", "do not know")
"""What a player can think of a rep before being told, in the order of the keys 1, 2, 3."""


class Coach:
    """Turns keys into commands, and shows at once what they did."""

    def __init__(
        self, view: BayView, command: OnCommand, *, layers: Layers | None = None, keeper: Keeper | None = None
    ) -> None:
        """`layers` are the player's own limits; `keeper` keeps them, None where there is nobody to keep them for."""
        self._view = view
        self._command, self._keeper = command, keeper
        self.paused = False
        self.over = False
        """The recording is closed: nothing can be said any more."""
        self.limits: dict[str, Limit] = {}
        self._rule_set = ""
        self.layers = layers or Layers()
        """Limits that lie over the rule set's: the player's own, and those of today."""
        self._waiting = QTimer(view)
        self._waiting.setSingleShot(True)
        self._waiting.setInterval(round(1000 * ANSWER_S))
        self._waiting.timeout.connect(self._time_out)
        self._asked: int | None = None
        self.step: StepTold | None = None
        """Of the drill; None where none with steps is done."""
        view.plots.target_moved.connect(self._target_moved)
        view.turn.target_moved.connect(self._target_moved)

    def hear(self, event: Event) -> None:
        """A rep that ends in a pause does not count; one whose estimate is asked for is answered in time."""
        asks = self._view.telling.asks
        if asks != self._asked:
            self._asked = asks
            self._waiting.stop() if asks is None else self._waiting.start()
        if isinstance(event, SelfEstimate) and event.answer in ANSWERS:
            self._say(words.estimated(event.rep + 1, event.answer))  # by a tap, or once more as the key was
        if isinstance(event, BlockBegun | StepTold):
            self.step = event if isinstance(event, StepTold) else None
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
        self._say(phrase("paused") if self.paused else phrase("goes_on"))

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

    def _discard(self, entry: RepEntry) -> None:
        entry.discarded = not entry.discarded
        self._command(Discard(entry.rep.index, entry.discarded))
        self._changed(entry, words.discarded(entry.rep.index + 1, entry.discarded))

    def estimate(self, answer: str) -> None:
        """What the player thinks of the rep that was just done; its result comes then."""
        rep = self._view.telling.asks
        if rep is None:
            self._say(phrase("nothing_asked"))
            return
        self._command(Estimate(rep, answer))
        self._say(words.estimated(rep + 1, answer))

    def _time_out(self) -> None:
        rep = self._view.telling.asks
        if rep is not None:
            self._command(Estimate(rep, NO_ANSWER))

    def note(self, parent: QWidget, scale: float) -> None:
        """Ask for a line of text."""
        entry = self._view.book.last
        dialog = NoteDialog(parent, scale, entry.rep.index + 1 if entry else None)
        dialog.noted.connect(lambda text: self._note(entry, text))
        dialog.open()

    def _note(self, entry: RepEntry | None, text: str) -> None:
        if self.over:  # it ended while the note was written
            self._say(phrase("all_over"))
            return
        if entry is None:
            self._say(phrase("noted", text=text))
        else:
            entry.note = f"{entry.note}; {text}" if entry.note else text
            self._changed(entry, phrase("noted", text=text))
        self._command(AddNote(text, None if entry is None else entry.rep.index))

    def compare(self) -> None:
        """Compare with the next one that there is."""
        possible = self._view.book.possible()
        now = possible.index(self._view.choice) if self._view.choice in possible else -1
        self._view.show_choice(possible[(now + 1) % len(possible)])

    def _last(self) -> RepEntry | None:
        entry = self._view.book.last
        if entry is None:
            self._say(phrase("no_rep_to_mark"))
        return entry

    def _last_judged(self) -> RepEntry | None:
        entry = self._last()
        if entry is not None and entry.rep.void:
            self._say(phrase("void_stays", number=entry.rep.index + 1))
            return None
        return entry

    def _changed(self, entry: RepEntry, text: str) -> None:
        self._view.show_entry(entry)
        self._say(text)

    # ── the drill's steps ────────────────────────────────────────────────────────────────────────────────────────

    def step_by(self, many: int) -> None:
        """On or back, whatever was counted."""
        if self.step is None:
            self._say(phrase("no_steps"))
            return
        self._command(GoToStep(max(self.step.number + many, 0)))

    @property
    def rule_set(self) -> str:
        """The rule set or drill that is in use now, TOML."""
        return self._rule_set

    # ── homework ─────────────────────────────────────────────────────────────────────────────────────────────────

    def ask_homework(self, parent: QWidget, scale: float) -> None:
        """Suggest the drill against what was most often the cause today; the coach decides."""
        if self._keeper is None:
            self._say(phrase("nobody_for_homework"))
            return
        drills = drill_titles()
        dialog = HomeworkDialog(parent, scale, self._keeper.name, drills, self.suggested())
        dialog.given.connect(self._give)
        dialog.open()

    def suggested(self) -> str:
        """Name of the drill against the most frequent cause of the reps that were told; empty without one."""
        causes = shipped.causes()
        firsts = Counter(
            found[0].drill
            for one in self._view.book.counted
            if (found := causes_of(causes, one.findings, one.rep.features))
        )
        return firsts.most_common(1)[0][0] if firsts else ""

    def _give(self, drill: str, reps: int, days: int) -> None:
        text = phrase("homework_given", title=drill_titles().get(drill, drill), reps=reps, days=days)
        self._command(AddNote(text))
        self._say(text)
        if self._keeper is not None:
            self._keeper.assign(drill, reps, days)

    # ── limits ───────────────────────────────────────────────────────────────────────────────────────────────────

    def show_rule_set(self, text: str) -> None:
        """The rule set or drill that is in use now, TOML."""
        self._rule_set = text
        self.limits = limits_of(text, self.layers)
        self._show_target()

    def ask_limits(self, parent: QWidget, scale: float) -> None:
        """Show all limits to be changed."""
        limits = of_worn(self.limits, self._view.sensors.worn)
        reps = [entry.rep.features for entry in self._view.book.counted]
        name = self._keeper.name if self._keeper else ""
        dialog = LimitsDialog(parent, scale, limits, name, self._view.body.hand, reps)

        def change(key: str, value: float) -> None:
            self.set_limit(key, value, keep=dialog.for_player)
            if key in self.limits:
                dialog.show_limit(self.limits[key])

        dialog.changed.connect(change)
        dialog.open()

    def set_limit(self, key: str, value: float, *, keep: bool = False) -> None:
        """A limit from the next rep on, in every block that has it; out of its range it is brought to the end of it.
        With `keep` it is the player's from now on, unless it is the rule set's own again."""
        limit, base = self.limits.get(key), rule_set_of(self._rule_set)
        if limit is None or base is None:
            return
        if self.over:
            self._say(phrase("all_over"))
            return
        value = min(max(value, limit.low), limit.high)
        keep = keep and self._keeper is not None
        self._command(SetLimit(key, value, keep))
        usual = value if limit.usual is None else limit.usual
        if keep and self._keeper is not None:
            self._keeper.keep(key, None if value == usual else value)
        self._remember(base, key, value, usual, keep=keep)
        self.limits = limits_of(self._rule_set, self.layers)
        self._show_target()
        limit = self.limits[key]
        self._say(words.limit_of(limit.name, numerals.quantity(value, limit.unit), limit.whose))

    def _remember(self, base: RuleSet, key: str, value: float, usual: float, *, keep: bool) -> None:
        """The same layers as the session's, for what is shown."""
        player, today = dict(self.layers.player), dict(self.layers.today)
        today.pop(key, None)
        if keep:
            player.pop(key, None)
            if value != usual:
                player[key] = Changed(value, usual, Whose.PLAYER)
        else:
            beneath = Layers(player).of(base, key)
            if value != (usual if beneath is None else beneath.value):
                today[key] = Changed(value, usual, Whose.TODAY)
        self.layers = Layers(player, today)

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
