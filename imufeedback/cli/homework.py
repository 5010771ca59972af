"""``homework``: what a coach gives for home, as one file that is handed over by any means, and what comes back."""

from __future__ import annotations

import datetime
from pathlib import Path
from typing import TYPE_CHECKING, Annotated

import typer

from imufeedback.cli.output import show

if TYPE_CHECKING:
    from imufeedback.people import People

app = typer.Typer(
    help="Homework between coach and player, as one file. Nothing is sent by this program.",
    no_args_is_help=True,
    rich_markup_mode=None,
)

Name = Annotated[str, typer.Argument(metavar="PLAYER", help="Whose.", show_default=False)]
Out = Annotated[Path, typer.Option("--out", metavar="FILE.zip", help="The file to hand over.", show_default=False)]
Overwrite = Annotated[bool, typer.Option("--overwrite", help="Replace the file if it exists.")]
Files = Annotated[list[Path], typer.Argument(metavar="FILE…", help="Recordings.", show_default=False)]
Root = Annotated[
    Path | None, typer.Option("--library", metavar="DIR", help="Folder of the recordings.", show_default=False)
]


def _people() -> People:
    from imufeedback import people, resources

    found = people.load(resources.data_folder() / "players")
    for line in found.troubles:
        show(f"! {line}")
    return found


def _library(library: Path | None) -> Path:
    from imufeedback.resources import data_folder

    return data_folder() / "recordings" if library is None else library


@app.command("give")
def give(
    player: Name,
    out: Out,
    drill: Annotated[
        str | None, typer.Option(metavar="NAME", help="One more drill; missing: what was given.", show_default=False)
    ] = None,
    reps: Annotated[int, typer.Option(min=1, max=500, help="A day.")] = 20,
    days: Annotated[int, typer.Option(min=1, max=60, help="On so many days.")] = 5,
    notes: Annotated[str, typer.Option(help="A few words to the player.")] = "",
    overwrite: Overwrite = False,
) -> None:
    """Homework, own limits, drills and the reference rep of a player into a file."""
    from imufeedback import resources
    from imufeedback.bundle import exchange
    from imufeedback.errors import UsageError
    from imufeedback.people import Homework, with_homework
    from imufeedback.spelling import meant

    people, today = _people(), datetime.date.today()
    person = people.find(player)
    if drill is not None and person is not None:
        if drill not in resources.available("drills"):
            raise UsageError(f"no drill is called {drill!r}", hint=meant(drill, resources.available("drills")))
        people.save(with_homework(person, Homework(drill, reps, days, today)), was=person.name)
    exchange.give(people, player, out, today, notes, overwrite=overwrite)
    show(f"Hand over: {out}")


@app.command("open")
def open_(
    file: Annotated[Path, typer.Argument(metavar="FILE.zip", help="What was handed over.", show_default=False)],
    library: Root = None,
) -> None:
    """Open a file from a coach or a player: homework, what was done, or comments on reps."""
    from imufeedback.bundle import exchange

    for line in exchange.take(file, _people(), _library(library)):
        show(line)


@app.command("show")
def show_(player: Name) -> None:
    """What is open, and what was done."""
    from imufeedback.errors import UsageError

    person = _people().find(player)
    if person is None:
        raise UsageError(f"no player is called {player!r}", where="homework", hint="see live for the players here")
    if not person.homework:
        show(f"{person.name} has no homework.")
    for one in person.homework:
        done = ", ".join(str(day) for day in one.done) or "not yet"
        show(f"{one.drill}: {one.reps} reps on {one.days} days, given on {one.given}. Done: {done}")


@app.command("hand-back")
def hand_back(player: Name, files: Files, out: Out, overwrite: Overwrite = False) -> None:
    """What was done at home, with its recordings, into a file for the coach."""
    from imufeedback.bundle import exchange

    exchange.hand_back(_people(), player, files, out, datetime.date.today(), overwrite=overwrite)
    show(f"Hand over: {out}")


@app.command("comment")
def comment(
    file: Annotated[Path, typer.Argument(metavar="FILE", help="Recording.", show_default=False)],
    text: Annotated[str, typer.Argument(help="What to say.", show_default=False)],
    rep: Annotated[int | None, typer.Option(min=1, help="About this rep.", show_default=False)] = None,
) -> None:
    """Write a line about a recording, or a rep of it."""
    from imufeedback.bundle import exchange

    exchange.comment(file, text, None if rep is None else rep - 1)


@app.command("comments")
def comments(player: Name, files: Files, out: Out, overwrite: Overwrite = False) -> None:
    """All that was written about these recordings into a file for the player."""
    from imufeedback.bundle import exchange

    count = exchange.comments(player, files, out, datetime.date.today(), overwrite=overwrite)
    show(f"{count} lines. Hand over: {out}")
