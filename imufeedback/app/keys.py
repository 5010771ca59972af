"""Every key of every screen, in one table: actions, menus, hints and the list on F1 are made from it."""

from __future__ import annotations

from dataclasses import dataclass
from enum import StrEnum

from imufeedback.app.start.readiness import StartStep
from imufeedback.phrases import phrase


class Screen(StrEnum):
    """Where a key works."""

    ANYWHERE = "anywhere"
    START = "start"
    BAY = "bay"
    RANGE = "range"
    LIMITS = "limits"
    END = "end"
    REVIEW = "review"


@dataclass(frozen=True, slots=True)
class Key:
    """One thing that keys do on a screen."""

    screen: Screen
    name: str
    keys: tuple[str, ...]
    """As Qt spells them; the first is the one that is named."""
    said: str
    """Key of what it does in the table of texts."""

    def text(self) -> str:
        """What it does, as menus and the list say it: a button's text without the key behind it."""
        return phrase(self.said).partition("  (")[0]

    @property
    def told(self) -> str:
        """The keys as a person reads them."""
        return ", ".join(dict.fromkeys(_SPELT.get(one, one) for one in self.keys))


_SPELT = {
    "Return": "Enter",
    "Ctrl+Return": "Ctrl+Enter",
    "Ctrl+=": "Ctrl++",
    "Left": "←",
    "Right": "→",
    "-": "−",
    "Ctrl+-": "Ctrl+−",
}
"""Where a keyboard has two of a key, or prints a sign on it."""


def _keys(screen: Screen, *rows: tuple[str, str, str]) -> tuple[Key, ...]:
    return tuple(Key(screen, name, tuple(keys.split(" ")), said) for name, keys, said in rows)


_ANYWHERE = _keys(
    Screen.ANYWHERE,
    ("keys", "F1", "keys_action"),
    ("cautions", "Shift+F1", "cautions_action"),
    ("larger", "Ctrl++ Ctrl+=", "larger_action"),
    ("smaller", "Ctrl+-", "smaller_action"),
    ("plain", "Ctrl+0", "plain_action"),
    ("look", "F4", "look_action"),
)
_START = _keys(
    Screen.START,
    ("go-on", "Ctrl+Return Ctrl+Enter", "start.next_button.go_on_ctrl_enter"),
    *((f"step-{number}", f"Alt+{number}", f"start.title.{step}") for number, step in enumerate(StartStep, start=1)),
    ("take", "Return Enter", "start.take_player"),
    ("add", "Ctrl+N", "start.add_player"),
    ("change", "Ctrl+E", "start.change_player"),
    ("open", "Ctrl+I", "start.open_bundle"),
    ("give", "Ctrl+H", "start.give_bundle"),
    ("search", "Ctrl+F", "start.search_button.search_ctrl_f"),
    ("try", "Ctrl+T", "start.try_button"),
    ("others", "Ctrl+L", "start.show_others"),
    ("mine", "Ctrl+M", "start.mine_button"),
    ("blink", "Ctrl+B", "start.blink_button"),
    ("fit", "Ctrl+R", "start.fit_start"),
    ("stored", "Ctrl+O", "start.use_stored"),
    ("swap", "Ctrl+Y", "start.swapped_yes"),
    ("keep", "Ctrl+K", "start.swapped_no"),
    ("leave", "Esc", "start.leave"),
)
_BAY = _keys(
    Screen.BAY,
    ("pause", "P", "pause_action"),
    ("mute", "Space", "mute_action"),
    ("pain", "X", "pain_action"),
    ("zero", "Z", "zero_action"),
    ("limits", "L", "limits_action"),
    ("higher", "+", "higher_action"),
    ("lower", "-", "lower_action"),
    ("homework", "H", "homework_action"),
    ("good", "G", "good_action"),
    ("discard", "D", "discard_action"),
    ("further", "PgDown", "next_step_action"),
    ("step-back", "PgUp", "step_back_action"),
    ("note", "N", "note_action"),
    ("compare", "C", "reference_action"),
    ("estimate-1", "1", "estimate_actions.i_think_it_was_good"),
    ("estimate-2", "2", "estimate_actions.i_think_it_was_not"),
    ("estimate-3", "3", "estimate_actions.i_am_not_sure"),
    ("range", "R", "range_action"),
    ("second", "Shift+R", "second_action"),
    ("full", "F11", "full_action"),
    ("calm", "M", "calm_action"),
    ("delays", "F2", "delays_action"),
    ("purposes", "F3", "purposes_action"),
    ("stop", "Esc", "stop_action"),
)
_RANGE = _keys(Screen.RANGE, ("close", "R Esc", "close_range"), ("full", "F11", "full_action"))
_LIMITS = _keys(Screen.LIMITS, ("back", "Ctrl+B", "put_back_action"))
_END = _keys(
    Screen.END,
    ("again", "Return Enter", "again_button"),
    ("report", "R", "report_button"),
    ("next", "N", "next_player_button"),
    ("close", "Esc", "end_close_button"),
)
_REVIEW = _keys(
    Screen.REVIEW,
    ("play", "Space", "play_action"),
    ("back", "Left", "picture_back_action"),
    ("forward", "Right", "picture_forward_action"),
    ("report", "R", "report_button"),
    ("note", "N", "note_action"),
    ("all", "Ctrl+A", "all_reps_action"),
    ("find", "Ctrl+F", "find_action"),
    ("close", "Esc", "close_review"),
)

TABLE = (*_START, *_BAY, *_RANGE, *_LIMITS, *_END, *_REVIEW, *_ANYWHERE)
_FOUND = {(one.screen, one.name): one for one in TABLE}


def key(screen: Screen, name: str) -> Key:
    """One row of the table."""
    return _FOUND[screen, name]


def on(screen: Screen) -> list[Key]:
    """The keys of one screen, in the order in which they are told."""
    return [one for one in TABLE if one.screen is screen]
