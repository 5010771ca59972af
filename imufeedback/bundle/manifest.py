"""What a bundle says about itself: JSON, its version stated. What a newer version wrote is kept and handed on."""

from __future__ import annotations

import datetime
import json
from collections.abc import Mapping
from typing import Annotated, Literal

import msgspec
from msgspec import Meta

from imufeedback import __version__
from imufeedback.errors import BadFile
from imufeedback.people import NAME_MAX, Homework, Person
from imufeedback.records import Hand, Json

FORMAT = 1
Text = Annotated[str, Meta(max_length=4000)]
Short = Annotated[str, Meta(max_length=200)]


class Given(msgspec.Struct, frozen=True):
    """One piece of homework."""

    drill: Annotated[str, Meta(min_length=1, max_length=200)]
    reps: Annotated[int, Meta(ge=1, le=500)]
    days: Annotated[int, Meta(ge=1, le=60)]
    given: datetime.date
    done: tuple[datetime.date, ...] = ()

    @property
    def homework(self) -> Homework:
        return Homework(self.drill, self.reps, self.days, self.given, self.done)


class Comment(msgspec.Struct, frozen=True):
    """What the coach says about a recording, or a rep of it."""

    recording: Short
    """SHA-256 of the recording's file."""
    text: Text
    rep: Annotated[int, Meta(ge=0, le=10**9)] | None = None


class BundleFile(msgspec.Struct, frozen=True):
    """One more file in the bundle."""

    name: Short
    size: Annotated[int, Meta(ge=0)]
    sha256: Annotated[str, Meta(pattern="^[0-9a-f]{64}$")]


class Manifest(msgspec.Struct, frozen=True):
    """All that is in a bundle; `other` and the like are for what this version does not know."""

    kind: Literal["homework", "handed-back", "comments"]
    player: Annotated[str, Meta(min_length=1, max_length=NAME_MAX)]
    day: datetime.date
    hand: Hand = Hand.RIGHT
    homework: tuple[Given, ...] = ()
    limits: dict[Short, float] = {}
    notes: Text = ""
    comments: tuple[Comment, ...] = ()
    parts: tuple[BundleFile, ...] = ()
    made_by: Short = __version__
    format: Annotated[int, Meta(ge=1)] = FORMAT


def given_of(person: Person) -> tuple[Given, ...]:
    """A player's homework."""
    return tuple(Given(one.drill, one.reps, one.days, one.given, one.done) for one in person.homework)


def to_json(manifest: Manifest, unknown: Mapping[str, Json]) -> bytes:
    """The manifest with what a newer version had said, keys sorted: the same always gives the same bytes."""
    known = msgspec.to_builtins(manifest)
    return (json.dumps(_laid_over(unknown, known), sort_keys=True, indent=1, ensure_ascii=False) + "\n").encode()


def from_json(data: bytes, where: str) -> tuple[Manifest, Mapping[str, Json]]:
    """The manifest, and all that stood there, also what is not known. Raises BadFile."""
    hint = "ask for the file again"
    try:
        raw = json.loads(data)
        manifest = msgspec.convert(raw, Manifest)
    except (ValueError, RecursionError, msgspec.ValidationError) as error:
        raise BadFile(f"its manifest cannot be used ({error})", where=where, hint=hint) from None
    assert isinstance(raw, dict)  # it was converted
    return manifest, raw


def _laid_over(unknown: Mapping[str, Json], known: Mapping[str, Json]) -> dict[str, Json]:
    """Known values; of the unknown ones those that no known key has, and so in the homework with the same drill and
    day."""
    out = {key: value for key, value in unknown.items() if key not in Manifest.__struct_fields__} | dict(known)
    before = {_which(one): one for one in _objects(unknown.get("homework"))}
    out["homework"] = [
        {k: v for k, v in before.get(_which(one), {}).items() if k not in Given.__struct_fields__} | dict(one)
        for one in _objects(known["homework"])
    ]
    return out


def _objects(value: Json) -> list[Mapping[str, Json]]:
    """Those of a list."""
    return [one for one in value if isinstance(one, Mapping)] if isinstance(value, list | tuple) else []


def _which(one: Mapping[str, Json]) -> tuple[str, str]:
    return str(one.get("drill")), str(one.get("given"))
