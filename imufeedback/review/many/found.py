"""Which recordings are meant, and which indexes know of them."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from pathlib import Path

from imufeedback.errors import NoRecording
from imufeedback.record.library import places


def recordings(paths: Iterable[Path]) -> list[Path]:
    """Files as they were named, and every recording below a folder; each once, in the order of the names.

    Raises NoRecording for a folder without any. A file that is not there is found out when it is judged.
    """
    out: dict[Path, Path] = {}
    for path in paths:
        found = sorted(one for one, _ in places.recordings(path)) if path.is_dir() else [path]
        if not found:
            raise NoRecording("no recording is in this folder", where=str(path), hint="name another folder")
        for one in found:
            out.setdefault(one.resolve(), one)
    return list(out.values())


def indexes(paths: Sequence[Path], found: Iterable[Path], library: Path) -> list[Path]:
    """Folders whose index is to be brought up to date: the library when one of these recordings lies in it, and every
    named folder that has an index of its own."""
    home = library.resolve()
    out = [library] if any(one.resolve().is_relative_to(home) for one in found) else []
    own = [one for one in paths if one.is_dir() and (one / places.INDEX).exists()]
    return out + [one for one in own if one.resolve() != home]
