"""``recordings``: look after the files. ``check``, ``recover`` and ``list`` touch no original."""

from __future__ import annotations

from pathlib import Path
from typing import Annotated

import typer

from imufeedback.cli.output import say, show
from imufeedback.errors import ImuFeedbackError

app = typer.Typer(
    help="Look after recordings: check, recover, list, note, delete.", no_args_is_help=True, rich_markup_mode=None
)

Files = Annotated[list[Path], typer.Argument(metavar="FILE…", help="Recordings.", show_default=False)]


@app.command("check")
def check(files: Files) -> None:
    """Say in words what is in each recording and what is not; status 1 unless every one is whole."""
    from imufeedback.record.files import shown
    from imufeedback.record.health import examine

    whole = True
    for path in files:
        try:
            health = examine(path)
        except ImuFeedbackError as error:
            show(shown(path))
            show(f"  cannot be read: {error.what}{f' – {error.hint}' if error.hint else ''}")
            whole = False
            continue
        for line in (shown(path), *(f"  {one}" for one in health.words())):
            show(line)
        whole &= health.complete
    if not whole:
        raise typer.Exit(1)


@app.command("recover")
def recover(
    files: Files,
    out: Annotated[
        Path | None, typer.Option("--out", metavar="DIR", help="Folder for the copies.", show_default=False)
    ] = None,
) -> None:
    """Copy what can be read of damaged or unfinished recordings to new files, read back before success is told."""
    from imufeedback.record.files import shown
    from imufeedback.record.recover import SUFFIX
    from imufeedback.record.recover import recover as recover_one

    failed = False
    for path in files:
        target = None if out is None else out / f"{path.stem}{SUFFIX}{path.suffix}"
        try:
            done = recover_one(path, target)
        except ImuFeedbackError as error:
            say(f"{shown(path)}: not recovered: {error.what}{f' – {error.hint}' if error.hint else ''}")
            failed = True
            continue
        show(f"{shown(path)} -> {shown(done.copy.path)}: {done.copy.items} items")
        for note in done.source.notes:
            show(f"  ! {note}")
    if failed:
        raise typer.Exit(1)


Root = Annotated[
    Path | None, typer.Option("--library", metavar="DIR", help="Folder of the recordings.", show_default=False)
]


def _root(library: Path | None) -> Path:
    from imufeedback.record.files import tighten_data
    from imufeedback.resources import data_folder

    if library is None:
        tighten_data(data_folder())
    return library or data_folder() / "recordings"


@app.command("list")
def list_(
    player: Annotated[str | None, typer.Argument(metavar="[PLAYER]", show_default=False)] = None, library: Root = None
) -> None:
    """All sessions, by player and date."""
    from imufeedback.record.files import shown
    from imufeedback.record.health import clock
    from imufeedback.record.library import Library

    with Library(_root(library)) as found:
        for one in found.sessions(player):
            when = "date not known" if one.started is None else f"{one.started:%Y-%m-%d %H:%M %z}"
            reps = "not checked yet" if one.reps is None else f"{one.reps} reps, {one.faults} with a fault"
            reps += f", {one.void} without a result" if one.void else ""
            said = f"CANNOT BE READ: {one.trouble}" if one.trouble else f"{clock(one.duration_s)}, {reps}"
            said += "" if one.closed or one.trouble else ", CUT OFF: see recordings check"
            tags = f" [{', '.join(one.tags)}]" if one.tags else ""
            show(f"{when}  {one.player or '(no name)'}  {one.title}: {said}{tags}  {shown(one.path)}")
            if one.beside:
                show(f"  ! {one.beside}")
        for line in found.troubles:
            show(f"! {line}")


@app.command("edit")
def edit(
    file: Annotated[Path, typer.Argument(metavar="FILE.mcap", show_default=False)],
    tag: Annotated[list[str] | None, typer.Option(help="Add a tag.", show_default=False)] = None,
    untag: Annotated[list[str] | None, typer.Option(help="Remove a tag.", show_default=False)] = None,
    note: Annotated[list[str] | None, typer.Option(help="Add a note.", show_default=False)] = None,
    player: Annotated[str | None, typer.Option(help="Correct the player.", show_default=False)] = None,
    title: Annotated[str | None, typer.Option(help="Another title.", show_default=False)] = None,
    discard: Annotated[list[int] | None, typer.Option(min=1, help="Take a rep out.", show_default=False)] = None,
    keep: Annotated[list[int] | None, typer.Option(min=1, help="Take it in again.", show_default=False)] = None,
) -> None:
    """Tags, notes, a corrected player: written into a file beside the recording, which itself stays as it is."""
    from imufeedback.record.library.edits import add_edit
    from imufeedback.record.replay import read_items

    read_items(file)  # says what is wrong with it, before anything is written
    texts = {"tag": tag or [], "untag": untag or [], "note": note or []}
    texts |= {"player": [] if player is None else [player], "title": [] if title is None else [title]}
    for verb, values in texts.items():
        for text in values:
            add_edit(file, verb, text=text)
    for verb, numbers in (("discard", discard or []), ("keep", keep or [])):
        for number in numbers:
            add_edit(file, verb, rep=number - 1)


@app.command("delete-player")
def delete_player(
    player: Annotated[str, typer.Argument(metavar="PLAYER", show_default=False)],
    yes: Annotated[bool, typer.Option("--yes", help="Do not ask.")] = False,
    library: Root = None,
) -> None:
    """Remove everything of a player from the data folder, after listing it. This cannot be undone.

    Recordings with all that was made of them, notes, calibrations, curves to compare with, the player's own file, the
    name in the index. With --library for another folder: what is in that folder.
    """
    from imufeedback.record.files import shown
    from imufeedback.record.library import Library
    from imufeedback.record.library.forget import plan
    from imufeedback.resources import data_folder

    with Library(_root(library)) as found:
        doing = plan(found, player, data_folder())
        for path in doing.going:
            show(f"goes: {shown(path)}")
        for path in doing.corrected:
            show(f"the name will be taken out of what was written about {shown(path)}")
        for path, why in doing.staying:
            show(f"stays: {shown(path)}: {why}")
        for line in found.troubles:
            show(f"! {line}")
        some = doing.going or doing.corrected
        if some and not yes and not typer.confirm(f"Remove {len(doing.going)} file(s) of {player!r} for ever?"):
            raise typer.Abort
        for path in doing.carry_out():
            show(f"removed {shown(path)}")
