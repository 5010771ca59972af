"""Whose a file in the data folder is: by what it says itself, else by its name."""

from __future__ import annotations

import json
import re
import tomllib
from collections.abc import Iterable, Mapping
from pathlib import Path
from typing import Any

from imufeedback.commands import settings_of
from imufeedback.errors import ImuFeedbackError
from imufeedback.record.files import name_key, read_small
from imufeedback.record.library.edits import lines_of, read_edits
from imufeedback.record.scan import MAGIC
from imufeedback.record.window import open_window

BYTES_MAX = 16 << 20
"""Files of players are smaller by far. Chosen, for what a parser may take of memory."""
PLAYERS = "players"
"""Folder of the players' own files."""
SHARED = ("layouts", "rules", "drills", "plans", "radio", "sensors")
"""Folders, and stems of files in the data folder itself, that belong to nobody alone."""
_DATED = re.compile(r"_\d{4}-\d\d-\d\d_\d\d-\d\d-\d\d(-\d+)?$")
_TRY = " try-it"
"""How the application names a session with the virtual golfer."""
_ENDS = re.compile(
    r"(\.(mcap|edits|jsonl|verdicts|json|trace|toml|reps|limits|homework|html|csv|bak|new|old|tmp|part)(-\d+)?~?)+$"
)


def said(path: Path) -> frozenset[str]:
    """Keys of the players whom a file names as its own; empty when it says nothing, or cannot be read.

    A recording is whose the newest correction beside it says.
    """
    if not path.is_file():
        return frozenset()
    try:
        with open(path, "rb") as file:
            head = file.read(len(MAGIC))
        if head == MAGIC:
            corrected = read_edits(path).player
            return recorded(path) if corrected is None else frozenset([name_key(corrected)]) - {""}
        data = read_small(path, BYTES_MAX)
    except OSError:
        return frozenset()
    found = _parsed(data)
    if isinstance(found, Mapping):
        return _names(found, path.parent.name == PLAYERS)
    return frozenset(name_key(line.text) for line in lines_of(data) if line and line.verb == "player" and line.text)


def recorded(path: Path) -> frozenset[str]:
    """Key of the player whom a recording itself names."""
    try:
        window = open_window(path)
        name = "" if window.begin is None else settings_of(window.begin).player.name
    except (ImuFeedbackError, ValueError, OverflowError, RecursionError):
        return frozenset()
    return frozenset([name_key(name)]) - {""}


def _parsed(data: bytes) -> Any:
    try:
        text = data.decode()
    except UnicodeDecodeError:
        return None
    for read in (json.loads, tomllib.loads):
        try:
            return read(text)
        except (ValueError, RecursionError):
            continue
    return None


def _names(document: Mapping[str, Any], own_file: bool) -> frozenset[str]:
    """``player`` as a name or a table with one, or the ``name`` of a player's own file, or of a copy of it."""
    player = document.get("player")
    told = [player.get("name") if isinstance(player, Mapping) else player]
    if own_file or "format" in document or "hand" in document:
        told.append(document.get("name"))
    return frozenset(name_key(one) for one in told if isinstance(one, str)) - {""}


def stem(path: Path) -> str:
    """A file's name without all that was put behind it; a temporary file's is that of the file it was to become."""
    return _ENDS.sub("", path.name.lstrip("."))


def loose(text: str) -> str:
    """A name as every file name of it begins: letters and digits alone."""
    return re.sub(r"[\W_]+", "_", name_key(text)).strip("_")


def named_after(path: Path, players: Iterable[str]) -> set[str]:
    """Which of the players a file is named after: as theirs alone, or as a recording of theirs of some day."""
    here = stem(path)
    undated = _DATED.sub("", here)
    forms = {loose(here)}
    if undated != here:
        forms |= {loose(undated), loose(undated.removesuffix(_TRY))}
    return {one for one in players if loose(one) and loose(one) in forms}
