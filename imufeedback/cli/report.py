"""``report``: one HTML file that can be printed, sent by hand and read on a phone."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING, Annotated

import typer

from imufeedback.cli.output import check_writable, say, show
from imufeedback.errors import UsageError

if TYPE_CHECKING:
    from imufeedback.report.session import SessionReport

SESSIONS_MAX = 200
"""Newest sessions of a player that a report looks at."""


def report(
    what: Annotated[str, typer.Argument(metavar="FILE|PLAYER", help="Recording, or a name.", show_default=False)],
    out: Annotated[Path, typer.Option("--out", metavar="X.html", help="Report to write.", show_default=False)],
    overwrite: Annotated[bool, typer.Option("--overwrite", help="Replace the report if it exists.")] = False,
    library: Annotated[
        Path | None, typer.Option("--library", metavar="DIR", help="Folder of the recordings.", show_default=False)
    ] = None,
) -> None:
    """Write a report: what was worked on, the best and worst reps and why, the trend, the next drill."""
    check_writable(out, overwrite=overwrite)
    from imufeedback.record.files import tighten_data, whole_file
    from imufeedback.record.unfinished import scratch_folder
    from imufeedback.report.page import player_page, session_page
    from imufeedback.resources import data_folder

    if library is None:
        tighten_data(data_folder())
    root = library or data_folder() / "recordings"
    with scratch_folder("report") as folder:
        if Path(what).is_file() or what.endswith(".mcap"):
            text = session_page(_session(Path(what), folder, root))
        else:
            text = player_page(what, [_session(one, folder, root) for one in _recordings(what, root)])
    with whole_file(out, overwrite=overwrite) as page:
        page.write(text)
    show(f"{out}: {len(text.encode()) / 1e3:.0f} kB")


def _session(path: Path, work: Path, root: Path) -> SessionReport:
    """The verdict is kept beside recordings of the library, and nowhere else."""
    from imufeedback.review.reporting import judgement, session_of

    keep = path.resolve().is_relative_to(root.resolve())
    session = session_of(judgement(path, work, keep=keep))
    for note in session.summary.file_notes:
        say(f"{path}: {note}")
    return session


def _recordings(player: str, root: Path) -> list[Path]:
    from imufeedback.record.library import Library

    with Library(root) as library:
        found = [one.path for one in library.sessions(player) if not one.trouble]
        if not found:
            names = ", ".join(name for name, _ in library.players() if name) or "none yet"
            raise UsageError(f"there is no file and no player called {player!r}", hint=f"players are: {names}")
    return found[-SESSIONS_MAX:]
