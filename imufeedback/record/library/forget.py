"""Everything of one player out of the data folder: first what will go and what cannot, then the deed.

A recording is whose it says, or whom a correction beside it names. Whatever else lies in the folder is theirs when it
names them itself, when it was made of their recording, or when it is named after them and after nobody else. What
cannot be told is never removed, but named.
"""

from __future__ import annotations

import os
import re
import unicodedata
from collections.abc import Iterable, Iterator
from contextlib import suppress
from dataclasses import dataclass, field
from pathlib import Path
from typing import TYPE_CHECKING

from imufeedback.errors import CannotWrite, ImuFeedbackError, UsageError
from imufeedback.record.files import name_key, read_small, shown, temporaries
from imufeedback.record.library import places
from imufeedback.record.library.edits import forget_player, read_edits
from imufeedback.record.library.owners import SHARED, named_after, recorded, said, stem
from imufeedback.record.session_file import SESSION_FILE

if TYPE_CHECKING:
    from imufeedback.record.library.library import Library, SessionRow

MENTION_BYTES_MAX = 4 << 20
"""Larger files are not searched for a mere mention of the name. Chosen."""
_SHORTENED = re.compile(r"\.(.{40})\.part(-\d+)?")
"""How earlier versions named temporary files of long names."""
RECORDINGS = "recordings"
"""The library in the data folder."""
UNKNOWN = "it does not say whose it is"


@dataclass(slots=True)
class Forgetting:
    """What will be done."""

    player: str
    library: Library
    data: Path
    going: list[Path] = field(default_factory=list)
    """Files that will be removed."""
    corrected: list[Path] = field(default_factory=list)
    """Recordings of others that once had this player's name: the line that says so goes."""
    staying: list[tuple[Path, str]] = field(default_factory=list)
    """What stays although it is, or may be, about this player; and why."""

    def carry_out(self) -> list[Path]:
        """Remove it; returns what was removed.

        Raises UsageError when there is nothing of this player, CannotWrite when something could not be removed: all
        else is then gone.
        """
        if not self.going and not self.corrected:
            raise UsageError(f"there is no recording of {self.player!r}, and nothing else", hint="see recordings list")
        gone, failed = [], []
        for path in self.going:
            try:
                path.unlink()
                gone.append(path)
            except FileNotFoundError:
                continue
            except OSError as error:
                failed.append(f"{shown(path)} ({error.strerror})")
        for path in self.corrected:
            try:
                forget_player(path, name_key(self.player))
            except (OSError, ImuFeedbackError) as error:
                failed.append(f"{shown(places.edits_of(path))} ({error})")
        self._remove_empty_folders(gone)
        indexes = [path.parent for path in _files(self.data) if path.name == places.INDEX]
        if not self.library.scrub():
            failed.append(f"{shown(self.library.root / places.INDEX)} (another program uses it)")
        failed += [one for folder in indexes if folder != self.library.root for one in _scrub_other(folder)]
        if failed:
            what = f"could not be removed: {'; '.join(failed)}"
            raise CannotWrite(what, hint="close what uses it, then ask again")
        return gone

    def _remove_empty_folders(self, gone: Iterable[Path]) -> None:
        keep = {self.data, self.library.root, *self.library.root.parents}
        for folder in sorted({path.parent for path in gone}, key=lambda one: -len(one.parts)):
            while folder not in keep and folder.is_relative_to(self.data):
                try:
                    folder.rmdir()
                except OSError:
                    break  # something else is in it
                folder = folder.parent


def _scrub_other(folder: Path) -> list[str]:
    """The index of another folder, which somebody looked at by itself; what could not be done."""
    from imufeedback.record.library.library import Library

    with Library(folder) as other:
        if not other.scrub():
            return [f"{shown(folder / places.INDEX)} (another program uses it)"]
        nothing_left = not other.sessions()
    if nothing_left:
        for path in places.index_files(folder):
            path.unlink(missing_ok=True)
        with suppress(OSError):
            folder.rmdir()
    return []


def plan(library: Library, player: str, data: Path | None = None) -> Forgetting:
    """What deleting a player will do, in the whole data folder `data`; in the library's own folder when that is None,
    or when the library is another one than the data folder's.

    Raises UsageError for an empty name.
    """
    key = name_key(player)
    if not key:
        raise UsageError("a name is needed", hint="see recordings list; recordings without a name are kept")
    library.refresh()
    root = library.root.absolute()
    whole = data is not None and root in (data.absolute(), data.absolute() / RECORDINGS)
    out = Forgetting(player, library, data if data is not None and whole else library.root)
    rows = library.sessions()
    theirs = {row.path for row in rows if name_key(row.player) == key}
    going = set(theirs)
    for row in rows:
        if row.path not in theirs:
            going |= _other(out, row, key)
    going |= _made_of(theirs, [row.path for row in rows])
    known = {row.path for row in rows} | {one for row in rows for one in places.belongings(row.path)}
    _sort(out, key, going, known, [row.player for row in rows])
    out.going = sorted(going)
    _tell_links(out)
    _tell_mentions(out, key)
    return out


def _other(out: Forgetting, row: SessionRow, key: str) -> set[Path]:
    """A recording that is not theirs by its own word: told where it may be, or once was."""
    if row.trouble and not row.player:
        if os.path.islink(row.path) and not row.path.exists() and named_after(row.path, [key]):
            return {row.path, *(one for one in places.belongings(row.path) if os.path.lexists(one))}
        out.staying.append((row.path, f"{UNKNOWN}: {row.trouble}"))
        return set()
    if key in recorded(row.path):
        why = f"was recorded as {out.player!r}, and is by a later correction {row.player!r}'s: it keeps the first name"
        out.staying.append((row.path, why))
    if key in {name_key(one) for one in read_edits(row.path).players}:
        out.corrected.append(row.path)
    return set()


def _made_of(theirs: set[Path], recordings: list[Path]) -> set[Path]:
    """What lies beside their recordings and was made of them: the longest name of a recording that fits decides."""
    stems: dict[Path, dict[str, Path]] = {}
    for one in recordings:
        stems.setdefault(one.parent, {})[one.stem] = one
    out: set[Path] = set()
    for folder, named in stems.items():
        if not theirs & set(named.values()):
            continue
        for entry in _files(folder, deep=False):
            base = entry.name.lstrip(".")
            calibration = [one for one in named if base.startswith(f"{one}.")]
            if short := _SHORTENED.fullmatch(entry.name):
                calibration = [one for one in named if f"{one}.verdicts".startswith(short[1])]
                calibration = calibration if all(named[one] in theirs for one in calibration) else []
            if calibration and named[max(calibration, key=len)] in theirs:
                out.add(entry)
        for recording in theirs & set(named.values()):
            for one in places.belongings(recording):
                out |= set(temporaries(one))
    return out


def _sort(out: Forgetting, key: str, going: set[Path], known: set[Path], players: list[str]) -> None:
    """All other files of the folder."""
    rest = [path for path in _files(out.data) if path not in going and path not in known and not _of_index(path)]
    owners = {path: said(path) for path in rest if not _shared(out, path)}
    everybody = {name_key(one) for one in players} | {one for names in owners.values() for one in names} | {key}
    loose = [path for path in owners if path.suffix == places.SUFFIX]  # outside of the library
    going |= _made_of({path for path in loose if owners[path] == {key}}, loose)
    stems = {(path.parent, stem(path)): names for path, names in owners.items() if names}
    for path, names in owners.items():
        if path in going:
            continue
        names = names or stems.get((path.parent, stem(path)), frozenset())
        if names == {key}:
            going |= {path, *(path.parent.glob("*.csv") if path.name == SESSION_FILE else ())}
        elif key in names:
            out.staying.append((path, "is about others too"))
        elif not names and (after := named_after(path, everybody - {""})) and key in after:
            if after == {key}:
                going.add(path)
            else:
                out.staying.append((path, f"{UNKNOWN}: {len(after)} players have that file name"))


def _of_index(path: Path) -> bool:
    return path in places.index_files(path.parent)


def _shared(out: Forgetting, path: Path) -> bool:
    parts = path.relative_to(out.data).parts
    return parts[0].split(".")[0] in SHARED


def _files(folder: Path, *, deep: bool = True) -> Iterator[Path]:
    """Files and links in a folder; links are not followed, and what cannot be looked into has none."""
    stack = [folder]
    while stack:
        with suppress(OSError), os.scandir(stack.pop()) as entries:
            for entry in entries:
                if not entry.is_dir(follow_symlinks=False):
                    yield Path(entry.path)
                elif deep:
                    stack.append(Path(entry.path))


def _tell_links(out: Forgetting) -> None:
    """Removing a link leaves the file that it leads to."""
    for path in out.going:
        if path.is_symlink() and path.exists() and (target := path.resolve()) not in out.going:
            out.staying.append((target, f"{path.name} is only a link to it"))


def _tell_mentions(out: Forgetting, key: str) -> None:
    """Texts of others in which the name stands, and files that stay below a folder of that name."""
    done = {*out.going, *(path for path, _ in out.staying), *map(places.edits_of, out.corrected)}
    word = re.compile(rf"(?<!\w){re.escape(key)}(?!\w)")
    for path in _files(out.data):
        if path in done or _of_index(path):
            continue
        if word.search(_plain(shown(path.relative_to(out.data)).replace("_", " "))):
            out.staying.append((path, "somebody else's, in a file or folder of that name"))
        elif path.suffix != places.SUFFIX and word.search(_plain(_text(path))):
            out.staying.append((path, "somebody else's, and mentions the name"))


def _text(path: Path) -> str:
    try:
        return read_small(path, MENTION_BYTES_MAX).decode()
    except (OSError, UnicodeDecodeError):
        return ""


def _plain(text: str) -> str:
    return unicodedata.normalize("NFC", text).casefold()
