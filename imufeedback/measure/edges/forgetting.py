"""A player deleted: not one byte of the name is left, and nothing of anybody else is touched."""

from __future__ import annotations

import hashlib
import json
import os
import unicodedata
from collections.abc import Iterator, Sequence
from pathlib import Path

import numpy as np

from imufeedback import people
from imufeedback.begin import unworn_settings
from imufeedback.commands import Begin, recorded
from imufeedback.document import Document
from imufeedback.measure.archive import make_rep
from imufeedback.measure.checks import Context, Measured, exactly
from imufeedback.record.files import safe_stem, whole_file
from imufeedback.record.journal import JournalWriter
from imufeedback.record.library import Library, places
from imufeedback.record.library.edits import add_edit
from imufeedback.record.library.forget import plan
from imufeedback.record.library.verdicts import add_verdict
from imufeedback.records import RawPacket
from imufeedback.settings import Player

NAMES = ("José Ñandúes", "Łukasz Gżegżółka", "Åsa-Lill O'Neil", "山田太郎左衛門", "Straßenbauer", "Robin Waterfall",
         "J. R. Featherstone", "한국어이름씨")  # fmt: skip
SECRET = "hip-surgery-in-spring"
OTHER = "Somebody Else"


def forms(name: str) -> set[bytes]:
    """The name as it may stand in a file: composed and decomposed, in any case, as a file name, escaped."""
    out = set()
    for text in (name, name.upper(), name.lower(), name.casefold(), safe_stem(name)):
        for form in ("NFC", "NFD", "NFKC", "NFKD"):
            plain = unicodedata.normalize(form, text)
            out |= {plain.encode(), json.dumps(plain)[1:-1].encode()}
    return out


def otherwise(name: str, rng: np.random.Generator) -> str:
    """The same name as somebody else would type it."""
    text = unicodedata.normalize("NFC" if rng.random() < 0.5 else "NFD", name)
    text = str(rng.choice([text, text.upper(), text.lower()]))
    return " " * int(rng.integers(3)) + text.replace(" ", "  ") + " " * int(rng.integers(2))


def fill(data: Path, name: str, rng: np.random.Generator) -> dict[Path, str]:
    """A data folder with much of one player and something of others; returns what must stay, with its digest."""
    root = data / "recordings"
    mine = [
        _record(
            root / f"{safe_stem(name)}_2026-05-0{day}_10-00-00.mcap", name if day < 2 else otherwise(name, rng), rng
        )
        for day in range(1, 4)
    ]
    corrected = _record(root / "wrong.mcap", "", rng)
    add_edit(corrected, "player", text=unicodedata.normalize("NFD", name))
    theirs = [_record(root / OTHER / f"{number}.mcap", OTHER, rng) for number in range(3)]
    damaged = root / "damaged.mcap"
    damaged.write_bytes(theirs[0].read_bytes().replace(b"begin", b"bexin"))  # its checksum does not fit any more
    stay = [*theirs, damaged, *(one for path in theirs for one in places.belongings(path) if one.exists())]
    for path in (*mine, corrected):
        add_edit(path, "note", text=f"{SECRET} of {name}")
        _beside(path, name)
    (root / f"{safe_stem(name)}_2026-05-09_10-00-00.mcap").symlink_to("gone.mcap")
    (root / f"{safe_stem(name)}_2026-05-08_10-00-00.edits.jsonl").write_text(SECRET, encoding="utf-8")
    everybody = people.load(data / "players")
    for one in (name, OTHER):
        everybody.save(people.Person(one, notes=SECRET if one == name else "well"))
        for end in (".reps.json", ".limits.toml", ".homework.toml", ".toml.bak", ".new"):
            beside = everybody.beside(one, end)
            assert beside is not None
            beside.write_text("{}", encoding="utf-8")
            stay += [beside] if one == OTHER and end != ".new" else []
        (data / "fits").mkdir(exist_ok=True)
        for fit in (data / "fits" / f"{safe_stem(one)}.json", data / "fits" / f".{safe_stem(one)}.json.part"):
            with whole_file(fit) as file:
                json.dump({"format": 1, "player": one, "day": "2026-05-01", "fit": {}}, file, ensure_ascii=False)
            stay += [fit] if one == OTHER else []
    (data / "players" / "broken.toml").write_text("name = ", encoding="utf-8")
    return digests([*stay, data / "players" / "broken.toml"])


def _beside(path: Path, name: str) -> None:
    """Copies and temporary files, as editors, copy programs and cut off writing leave them."""
    for end in (".mcap.bak", ".mcap.part", ".edits.jsonl.bak", ".verdicts.json.bak", ".trace"):
        path.with_name(path.stem + end).write_text(name, encoding="utf-8")
    for temporary in (f".{path.name}.part", f".{path.stem}.verdicts.json.part", f".{path.stem}.verdicts.part-2"):
        path.with_name(temporary).write_text(name, encoding="utf-8")


def _record(path: Path, name: str, rng: np.random.Generator) -> Path:
    path.parent.mkdir(parents=True, exist_ok=True)
    settings = unworn_settings(Player(name=name))
    with JournalWriter(path, title=f"{name or 'nobody'} swings") as journal:
        journal.write(recorded(0, Begin.of(settings)))
        journal.write(RawPacket("A", 10**9, bytes(56)))
    summary = Document(version="1", reps=[make_rep(index, rng) for index in range(3)], notices=[f"for {name}"])
    add_verdict(journal.path, summary, key="1", rules="Swing", duration_s=1.0)
    return journal.path


def digests(paths: Sequence[Path]) -> dict[Path, str]:
    return {path: hashlib.sha256(path.read_bytes()).hexdigest() for path in paths}


def left(data: Path, name: str) -> list[str]:
    """Where the name, or the secret, still stands: in files, names of files, or where links lead."""
    looked = forms(name) | {SECRET.encode()}
    out = []
    for folder, folders, files in os.walk(data):
        for one in (*folders, *files):
            path = Path(folder, one)
            held = os.fsencode(one) + b"\0"
            held += os.fsencode(path.readlink()) if path.is_symlink() else path.read_bytes() if path.is_file() else b""
            out += [f"{path.relative_to(data)}: {form!r}" for form in looked if form in held]
    return out


def forget_one(data: Path, name: str, rng: np.random.Generator) -> tuple[list[str], list[str], list[str]]:
    """Fill a folder and delete the player; where the name is left, what of others has changed, what was not told."""
    stay = fill(data, name, rng)
    Library(data / "recordings").close()
    with Library(data / "recordings") as library:
        doing = plan(library, otherwise(name, rng), data)
        promised = {path for path in doing.going if os.path.lexists(path)}
        gone = set(doing.carry_out())
        found = left(data, name)  # while the index is open: its log too
        untold = [] if gone == promised else [str(one) for one in gone ^ promised]
        if not any(path.name == "damaged.mcap" for path, _ in doing.staying):
            untold.append("damaged.mcap")
    changed = [str(path) for path, digest in stay.items() if not path.exists() or digests([path])[path] != digest]
    return found + left(data, name), changed, untold


def forgotten(context: Context) -> Iterator[Measured]:
    """Names of many scripts, typed otherwise than they were written."""
    rng = np.random.default_rng([context.seed, 163])
    where: list[str] = []
    changed: list[str] = []
    untold: list[str] = []
    names = NAMES[:4] if context.quick else NAMES * 3
    for number, name in enumerate(names):
        found = forget_one(context.work / f"home-{number}", name, rng)
        for total, one in zip((where, changed, untold), found, strict=True):
            total += one
    context.rows.extend({"set": "edges", "left": one} for one in [*where, *changed, *untold][:20])
    yield Measured(f"{len(names)} players deleted: places where the name is left", len(where), exactly(0), "places")
    yield Measured("players deleted: files of others that changed", len(changed), exactly(0), "files")
    yield Measured("players deleted: files not listed before", len(untold), exactly(0), "files")
