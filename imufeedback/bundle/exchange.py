"""What goes into a bundle, and what becomes of it where it is opened: homework, limits and notes in the player's file,
drills and recordings in the data folder, comments beside the recordings they are about."""

from __future__ import annotations

import datetime
import json
from collections.abc import Mapping, Sequence
from contextlib import suppress
from pathlib import Path
from typing import Annotated

import msgspec
from msgspec import Meta

from imufeedback import resources
from imufeedback.bundle import archive
from imufeedback.bundle.archive import REFERENCE, SMALL_MAX, Opened, recording_name, sha256_of
from imufeedback.bundle.manifest import BundleFile, Comment, Given, Manifest, from_json, given_of, to_json
from imufeedback.errors import BadFile, BadToml, UsageError
from imufeedback.people import Homework, People, Person
from imufeedback.record.files import make_folder, make_free, read_small, safe_stem, shown, write_own
from imufeedback.record.library.edits import add_edit, lines_of, read_edits
from imufeedback.record.library.places import edits_of
from imufeedback.record.scan import MAGIC
from imufeedback.records import Json
from imufeedback.rules import parse_rule_set

LAST = ".homework.json"
"""Beside a player's own file: the manifest of the last bundle, for what a newer version wrote into it."""
REPS = ".reps.json"
"""Beside it too: the best reps of earlier days, the newest of which is the reference."""
COACH = "Coach"
"""What begins a comment that came in a bundle."""


class _Curve(msgspec.Struct):
    """What a reference rep must have (`app/best_reps.py`); more may be in it."""

    day: datetime.date
    number: Annotated[int, Meta(ge=1)]
    turn_deg: list[float | None]
    thigh_deg: list[float | None]
    down_from: Annotated[int, Meta(ge=0)]
    at_marks_deg: list[float | None]


# ── out ──────────────────────────────────────────────────────────────────────────────────────────────────────────


def give(people: People, name: str, out: Path, day: datetime.date, notes: str = "", *, overwrite: bool = False) -> None:
    """A player's homework, own limits, drills, and reference rep. Raises UsageError without homework."""
    person = _known(people, name)
    if not person.homework:
        raise UsageError(f"{person.name} has no homework", where="homework", hint="add --drill")
    parts: dict[str, bytes | Path] = {
        f"drills/{one.drill}.toml": resources.text("drills", one.drill).encode()
        for one in person.homework if one.drill in resources.available("drills")
    }  # fmt: skip
    reference = people.beside(person.name, REPS)
    if reference is not None:
        with suppress(OSError):
            parts[REFERENCE] = read_small(reference, SMALL_MAX)
    manifest = Manifest(
        "homework", person.name, day, person.hand, given_of(person), dict(person.limits), notes.strip()
    )  # fmt: skip
    archive.write(out, manifest, parts, _last(people, person.name), overwrite=overwrite)


def hand_back(
    people: People, name: str, recordings: Sequence[Path], out: Path, day: datetime.date, *, overwrite: bool = False
) -> None:
    """What was done at home, with recordings of it. Raises UsageError, BadFile."""
    person = _known(people, name)
    parts: dict[str, bytes | Path] = {recording_name(_digest(one)): one for one in recordings}
    manifest = Manifest("handed-back", person.name, day, person.hand, given_of(person), dict(person.limits))
    archive.write(out, manifest, parts, _last(people, person.name), overwrite=overwrite)


def comments(player: str, recordings: Sequence[Path], out: Path, day: datetime.date, *, overwrite: bool = False) -> int:
    """What the coach wrote about these recordings; how many lines. Raises UsageError when there is none."""
    found = [one for path in recordings for one in _written(path)]
    if not found:
        hint = "write one with homework comment, or as a note in review"
        raise UsageError("nothing was written about these recordings", where="homework", hint=hint)
    manifest = Manifest("comments", player, day, comments=tuple(found))
    archive.write(out, manifest, {}, {}, overwrite=overwrite)
    return len(found)


def comment(recording: Path, text: str, rep: int | None) -> None:
    """Write one line about a recording, or a rep of it (from 0)."""
    _digest(recording)  # it must be a recording
    where = "" if rep is None else f"Rep {rep + 1}: "
    add_edit(recording, "note", text=f"{where}{text.strip()}", rep=rep)


def _written(recording: Path) -> list[Comment]:
    digest = _digest(recording)
    try:
        lines = lines_of(read_small(edits_of(recording), 16 << 20))
    except OSError:
        return []
    notes = [one for one in lines if one is not None and one.verb == "note" and one.text]
    return [Comment(digest, one.text[:4000], one.rep) for one in notes if not one.text.startswith(f"{COACH}: ")]


# ── in ───────────────────────────────────────────────────────────────────────────────────────────────────────────


def take(path: Path, people: People, library: Path) -> list[str]:
    """Open a bundle; what was done with it, line by line. Raises BadFile for one that cannot be trusted."""
    with Opened(path) as bundle:
        bundle.verify()
        manifest = bundle.manifest
        lines = []
        if manifest.format > 1:
            lines.append("It was made by a newer version; what is not known here is kept and handed on.")
        if manifest.kind == "comments":
            return lines + _comments(manifest, library)
        lines += _person(manifest, bundle.raw, people)
        for part in manifest.parts:
            if part.name == REFERENCE:
                lines += _reference(bundle.text(part), people, manifest.player)
            elif part.name.startswith("drills/"):
                lines += _drill(bundle.text(part), Path(part.name).stem)
            else:
                lines += _recording(bundle, part, library / safe_stem(manifest.player))
        return lines


def _person(manifest: Manifest, raw: Mapping[str, Json], people: People) -> list[str]:
    before = people.find(manifest.player)
    person = before or Person(manifest.player, manifest.hand)
    homework = list(person.homework)
    lines = [] if before is not None else [f"{manifest.player} is new here."]
    lines += [_merge(one, homework) for one in manifest.homework]
    if manifest.limits and manifest.kind == "homework":
        changed = {**person.limits, **manifest.limits}
        lines += [
            f"Limit {key}: {value:g}" for key, value in manifest.limits.items() if person.limits.get(key) != value
        ]
        person = msgspec.structs.replace(person, limits=changed)
    if manifest.notes and manifest.notes not in person.notes:
        person = msgspec.structs.replace(person, notes=f"{person.notes}\n{manifest.notes}".strip())
        lines.append(f"Note: {manifest.notes}")
    people.save(msgspec.structs.replace(person, homework=tuple(homework)), was=None if before is None else person.name)
    beside = people.beside(person.name, LAST)
    assert beside is not None  # it was just saved
    write_own(beside, to_json(manifest, raw))
    return lines


def _merge(one: Given, homework: list[Homework]) -> str:
    """Into what there is: the days that were done are those of both sides."""
    said = f"{one.drill}: {one.reps} reps on {one.days} days, done on {len(one.done)}"
    for k, here in enumerate(homework):
        if (here.drill, here.given) == (one.drill, one.given):
            done = tuple(sorted({*here.done, *one.done}))
            homework[k] = msgspec.structs.replace(here, reps=one.reps, days=one.days, done=done)
            return said
    homework.append(one.homework)
    return said


def _reference(data: bytes, people: People, player: str) -> list[str]:
    """The best reps of days that are not known here yet."""
    path = people.beside(player, REPS)
    assert path is not None
    came = _reps(data)
    try:
        here = _reps(read_small(path, SMALL_MAX))
    except OSError:
        here = []
    days = {one.get("day") for one in here}
    new = [one for one in came if one.get("day") not in days]
    if new:
        reps = sorted([*here, *new], key=lambda one: str(one.get("day")))
        write_own(path, json.dumps({"reps": reps, "format": 1}, separators=(",", ":")).encode())
    return [f"Reference reps: {len(new)}"] if new else []


def _reps(data: bytes) -> list[dict[str, Json]]:
    with suppress(ValueError, RecursionError):
        found = json.loads(data)
        if isinstance(found, dict) and isinstance(found.get("reps"), list):
            return [one for one in found["reps"] if _is_curve(one)]
    return []


def _is_curve(one: Json) -> bool:
    """Whether it can stand beside the player's own ones: a wrong one would make the whole file unreadable."""
    try:
        msgspec.convert(one, _Curve)
    except msgspec.ValidationError:
        return False
    return True


def _drill(data: bytes, name: str) -> list[str]:
    """A drill that is not known here; one's own of the same name stays."""
    try:
        text = data.decode()
        parse_rule_set(text, f"{name}.toml")
    except (UnicodeDecodeError, BadToml) as error:
        return [f"Drill {name}: cannot be used here ({error})"]
    if name in resources.available("drills"):
        same = resources.text("drills", name) == text
        return [] if same else [f"Drill {name}: yours is another one and stays; the coach's is not used"]
    write_own(resources.data_folder() / "drills" / f"{name}.toml", data)
    return [f"Drill {name}: added"]


def _recording(bundle: Opened, part: BundleFile, folder: Path) -> list[str]:
    """A recording into the player's folder of the library, unless it is there."""
    make_folder(folder)
    size = part.size
    for one in folder.glob("*.mcap"):
        if one.stat().st_size == size and sha256_of(one) == part.sha256:
            return [f"Recording {shown(one)} was here already."]
    out = make_free(folder / f"{folder.name}_{Path(part.name).stem}.mcap")
    bundle.copy(part, out)
    if not _is_recording(out):
        out.unlink()
        raise BadFile(f"{part.name} is no recording", where="bundle", hint="ask for the file again")
    return [f"Recording: {shown(out)}"]


def _comments(manifest: Manifest, library: Path) -> list[str]:
    """Beside the recordings they are about."""
    wanted = {one.recording for one in manifest.comments}
    here = {digest: path for path in sorted(library.rglob("*.mcap")) if (digest := sha256_of(path)) in wanted}
    lines = []
    for one in manifest.comments:
        path = here.get(one.recording)
        if path is None:
            lines.append(f"The recording is not here any more: {one.text}")
            continue
        text = f"{COACH}: {one.text}"
        if text not in read_edits(path).notes:
            add_edit(path, "note", text=text, rep=one.rep)
        lines.append(f"{shown(path.name)}: {one.text}")
    return lines


def _known(people: People, name: str) -> Person:
    person = people.find(name)
    if person is None:
        hint = f"players here: {', '.join(one.name for one in people.all) or 'none'}"
        raise UsageError(f"no player is called {name!r}", where="homework", hint=hint)
    return person


def _last(people: People, name: str) -> Mapping[str, Json]:
    """What the last bundle of this player said, for what is not known here."""
    path = people.beside(name, LAST)
    if path is None:
        return {}
    try:
        return from_json(read_small(path, SMALL_MAX), shown(path))[1]
    except (OSError, BadFile):
        return {}


def _digest(recording: Path) -> str:
    """Raises UsageError for what is no recording."""
    try:
        if _is_recording(recording):
            return sha256_of(recording)
    except OSError as error:
        raise UsageError(f"cannot be read ({error.strerror})", where=shown(recording), hint="check the name") from None
    raise UsageError("it is no recording", where=shown(recording), hint="give a file that ends in .mcap")


def _is_recording(path: Path) -> bool:
    with path.open("rb") as file:
        return file.read(len(MAGIC)) == MAGIC
