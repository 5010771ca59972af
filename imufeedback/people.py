"""The players who train here: one small TOML file each in the data folder, that a person can read and edit.

::

    format = 1
    name = "Robin"
    hand = "right"
    height_m = 1.78             # may be missing
    notes = "left hip tight"
    cautions_seen = 2026-05-01  # the cautions were read and accepted on this day; missing: not yet
    last_used = 2026-05-01
    drill = "swing"             # what was trained last

    [limits]                    # the player's own; what is not here is as in the rule set
    trail-thigh-keeps-falling = 7.0
    "live.target_deg" = 4.0

    [[homework]]                # what a coach gave: 20 reps a day on 5 days, of which one is done
    drill = "rehearsal-from-the-top"
    reps = 20
    days = 5
    given = 2026-05-01
    done = [2026-05-02]

A file that cannot be read is left alone and named in `People.troubles`; the others still open.
"""

from __future__ import annotations

import datetime
import os
import re
import unicodedata
from collections.abc import Mapping
from contextlib import suppress
from dataclasses import dataclass, field
from pathlib import Path
from typing import Annotated

import msgspec
from msgspec import Meta

from imufeedback import toml
from imufeedback.errors import BadFile, UsageError
from imufeedback.record.files import name_key, shown, tighten, write_own
from imufeedback.records import Hand
from imufeedback.settings import Player
from imufeedback.texts import read_text

FORMAT = 1
NAME_MAX = 60
BYTES_MAX = 1 << 20
"""A file of a player has a few hundred bytes. Chosen."""
_DAYS = (datetime.date,)
_NOT_IN_A_NAME = re.compile(r"[^\w -]+")


class Homework(msgspec.Struct, frozen=True, forbid_unknown_fields=True):
    """What a coach gave to practise at home; ticked off by doing it."""

    drill: Annotated[str, Meta(min_length=1, max_length=200)]
    """Name of a drill."""
    reps: Annotated[int, Meta(ge=1, le=500)]
    """A day."""
    days: Annotated[int, Meta(ge=1, le=60)]
    """On so many days."""
    given: datetime.date
    done: tuple[datetime.date, ...] = ()

    @property
    def open(self) -> bool:
        return len(self.done) < self.days


class Person(msgspec.Struct, frozen=True, forbid_unknown_fields=True):
    """One player."""

    name: Annotated[str, Meta(min_length=1, max_length=NAME_MAX)]
    hand: Hand = Hand.RIGHT
    height_m: Annotated[float, Meta(gt=0.5, lt=2.6)] | None = None
    notes: Annotated[str, Meta(max_length=4000)] = ""
    cautions_seen: datetime.date | None = None
    last_used: datetime.date | None = None
    drill: str = ""
    """Name of what was trained last."""
    limits: dict[Annotated[str, Meta(max_length=200)], float] = {}
    """The player's own limits, by a rule's id or ``live.`` and a key: only what differs from the rule set."""
    homework: tuple[Homework, ...] = ()
    """The newest last."""
    format: Annotated[int, Meta(ge=1, le=FORMAT)] = FORMAT

    @property
    def player(self) -> Player:
        """What a session is set up with."""
        return Player(hand=self.hand, name=self.name, height_m=self.height_m)


@dataclass
class People:
    """All players of one folder."""

    folder: Path
    _files: dict[str, Path] = field(default_factory=dict)
    """By `key` of the name."""
    _people: dict[str, Person] = field(default_factory=dict)
    troubles: list[str] = field(default_factory=list)
    """One line for each file that could not be read."""

    @property
    def all(self) -> tuple[Person, ...]:
        """Who trained last comes first; then by name."""

        def order(person: Person) -> tuple[int, str]:
            return (-(person.last_used.toordinal() if person.last_used else 0), key(person.name))

        return tuple(sorted(self._people.values(), key=order))

    def find(self, name: str) -> Person | None:
        return self._people.get(key(name))

    def beside(self, name: str, suffix: str) -> Path | None:
        """A file of another kind beside a player's own; None for nobody that is known."""
        path = self._files.get(key(name))
        return None if path is None else path.with_suffix(suffix)

    def save(self, person: Person, *, was: str | None = None) -> Person:
        """Write one player; `was` is the name before, when it was changed.

        Returns the player as written. Raises UsageError for a name that another player has, or a value out of range;
        CannotWrite when the folder does not allow it.
        """
        person = _checked(person)
        old = None if was is None else key(was)
        if key(person.name) in self._people and key(person.name) != old:
            raise UsageError(f"there is a player {person.name!r} already", where="players", hint="choose another name")
        path = (self._files.get(old) if old else None) or self._free_path(person.name)
        write_own(path, to_toml(person).encode())
        if old is not None:
            self._files.pop(old, None)
            self._people.pop(old, None)
        self._files[key(person.name)], self._people[key(person.name)] = path, person
        return person

    def _free_path(self, name: str) -> Path:
        stem = _stem(name)
        taken = {path.name.casefold() for path in self._files.values()}
        number, path = 1, self.folder / f"{stem}.toml"
        while path.name.casefold() in taken or os.path.lexists(path):
            number += 1
            path = self.folder / f"{stem}-{number}.toml"
        return path


def load(folder: Path) -> People:
    """Everybody in a folder; nobody when it is not there yet. Others lose their rights on what is in it."""
    people = People(folder)
    try:
        names = sorted(os.listdir(folder))
    except FileNotFoundError:
        return people
    except OSError as error:
        people.troubles.append(f"{folder}: cannot be looked into ({error.strerror})")
        return people
    tighten(folder)
    for path in (folder / one for one in names if one.endswith(".toml") and not one.startswith(".")):
        try:
            person = parse(read_text(path, limit=BYTES_MAX), str(path))
        except (OSError, BadFile) as error:
            reason = (error.strerror if isinstance(error, OSError) else None) or str(error)
            people.troubles.append(str(error) if isinstance(error, BadFile) else f"{shown(path)}: {reason}")
            continue
        if key(person.name) in people._people:
            people.troubles.append(f"{path}: a second player {person.name!r}")
            continue
        people._files[key(person.name)], people._people[key(person.name)] = path, person
    for path in (folder / one for one in names if one.endswith(".new")):
        _settle(path, people)
    return people


def _settle(left: Path, people: People) -> None:
    """What an earlier version left behind of a save that did not end: removed where the file itself is good."""
    if any(path.with_suffix(".new").name == left.name for path in people._files.values()):
        with suppress(OSError):
            left.unlink()
    elif not left.name.endswith(".reps.new"):
        what = f"left of a save that did not end; rename it to {left.stem}.toml to use it"
        people.troubles.append(f"{shown(left)}: {what}")


def parse(text: str, where: str) -> Person:
    """Read one player; `where` names the file in errors. Raises BadToml."""
    hint = "correct the key or value, or move the file away"
    return toml.decode(text, Person, where, hint=hint, times=(datetime.date,))


def to_toml(person: Person) -> str:
    """The file's text; what is not known is left out."""
    lines = [f"format = {person.format}", f"name = {toml.quoted(person.name)}", f"hand = {toml.quoted(person.hand)}"]
    if person.height_m is not None:
        lines.append(f"height_m = {person.height_m:g}" + (".0" if float(person.height_m).is_integer() else ""))
    if person.notes:
        lines.append(f"notes = {toml.quoted(person.notes)}")
    lines += [f"{name} = {day}" for name in ("cautions_seen", "last_used") if (day := getattr(person, name))]
    if person.drill:
        lines.append(f"drill = {toml.quoted(person.drill)}")
    if person.limits:
        lines += ["", "[limits]", *(f"{toml.quoted(name)} = {float(value)}" for name, value in person.limits.items())]
    for one in person.homework:
        lines += ["", "[[homework]]", f"drill = {toml.quoted(one.drill)}", f"reps = {one.reps}", f"days = {one.days}"]
        lines += [f"given = {one.given}", f"done = [{', '.join(str(day) for day in one.done)}]"]
    return "\n".join(lines) + "\n"


def with_homework(person: Person, given: Homework) -> Person:
    """The player with one more; what was given before of the same drill, or is done, goes."""
    others = tuple(one for one in person.homework if one.open and one.drill != given.drill)
    return msgspec.structs.replace(person, homework=(*others, given))


def with_done(person: Person, reps: Mapping[str, int], day: datetime.date) -> Person:
    """The player after a session of `reps`, by drill: homework whose daily count was done is ticked off, once a day."""
    homework = tuple(
        msgspec.structs.replace(one, done=(*one.done, day))
        if one.open and day not in one.done and reps.get(one.drill, 0) >= one.reps
        else one
        for one in person.homework
    )
    return msgspec.structs.replace(person, homework=homework)


def open_homework(person: Person) -> Homework | None:
    """The newest that is not done yet."""
    return next((one for one in reversed(person.homework) if one.open), None)


def with_limit(person: Person, key: str, value: float | None) -> Person:
    """The player with a limit of his own; None puts the rule set's back."""
    limits = {name: one for name, one in person.limits.items() if name != key}
    if value is not None:
        limits[key] = value
    return msgspec.structs.replace(person, limits=limits)


def limits_text(person: Person) -> str:
    """The player's own limits as the TOML text that a session is set up with; empty without any."""
    if not person.limits:
        return ""
    live = {key.removeprefix("live."): one for key, one in person.limits.items() if key.startswith("live.")}
    rules = {key: one for key, one in person.limits.items() if not key.startswith("live.")}
    lines = ["format = 1", f"player = {toml.quoted(person.name)}"]
    for section, values in (("limits", rules), ("live", live)):
        lines += [f"[{section}]", *(f"{toml.quoted(key)} = {float(value)}" for key, value in values.items())]
    return "\n".join(lines) + "\n"


def key(name: str) -> str:
    """What names are compared by: case, composition and blanks around are no difference."""
    return name_key(name)


def parse_height(text: str) -> float | None:
    """A height in metres or centimetres, with decimal point or comma; None for an empty text. Raises UsageError."""
    text = text.strip().removesuffix("cm").removesuffix("m").strip().replace(",", ".")
    if not text:
        return None
    try:
        value = float(text)
    except ValueError:
        raise UsageError(f"the height {text!r} is no number", where="players", hint="write 1.78 or 178") from None
    value = value / 100 if value > 3 else value
    if not 0.5 < value < 2.6:
        raise UsageError(f"a height of {value:g} m", where="players", hint="write 1.78 or 178")
    return round(value, 3)


def _checked(person: Person) -> Person:
    person = msgspec.structs.replace(person, name=" ".join(person.name.split()))
    try:
        to_toml(person).encode()
        return msgspec.convert(msgspec.to_builtins(person, builtin_types=_DAYS), Person, builtin_types=_DAYS)
    except UnicodeEncodeError:
        raise UsageError("a character cannot be kept", where="players", hint="write it anew") from None
    except msgspec.ValidationError as error:
        what = "a player needs a name" if not person.name else str(error)
        raise UsageError(what, where="players", hint="correct it") from error


def _stem(name: str) -> str:
    stem = _NOT_IN_A_NAME.sub("_", unicodedata.normalize("NFC", name)).strip(" .")
    return stem.encode()[:120].decode("utf-8", "ignore").strip() or "player"
