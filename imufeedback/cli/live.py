"""``live``: the application, with sensors or with the virtual golfer; or a session without a window."""

from __future__ import annotations

from pathlib import Path
from typing import Annotated

import typer

from imufeedback.errors import UsageError

HANDS = ("right", "left")
VIRTUAL_REPS = 5


def live(
    out: Annotated[
        Path | None, typer.Option("--out", metavar="DIR", help="Folder for the recordings.", show_default=False)
    ] = None,
    layout: Annotated[str, typer.Option("--layout", metavar="NAME", help="Layout of the sensors' packets.")] = "house",
    headless: Annotated[
        bool, typer.Option("--headless", help="No window: your sensors, tones, recording. Ctrl-C ends it.")
    ] = False,
    player: Annotated[
        str | None,
        typer.Option(
            "--player", metavar="NAME", help="Headless: who trains; missing: who trained last.", show_default=False
        ),
    ] = None,
    handed: Annotated[
        str | None,
        typer.Option(metavar="|".join(HANDS), help="Headless: adds a new player with this hand.", show_default=False),
    ] = None,
    work: Annotated[
        str | None,
        typer.Option(
            "--work",
            metavar="NAME",
            help="Headless: rule set, drill or plan; missing: what the player trained last.",
            show_default=False,
        ),
    ] = None,
    minutes: Annotated[
        float | None, typer.Option(min=0.1, max=600, help="Headless: end after so long.", show_default=False)
    ] = None,
    wait: Annotated[float, typer.Option(min=0, max=3600, help="Headless: how many seconds to look for sensors.")] = 60,
    stored_fit: Annotated[
        bool,
        typer.Option(
            "--stored-calibration", help="Headless: use the player's last calibration; straps were not moved."
        ),
    ] = False,
    accept: Annotated[
        bool, typer.Option("--accept-cautions", help="Headless: the player has read the cautions and accepts them.")
    ] = False,
    sound: Annotated[bool, typer.Option("--sound/--no-sound", help="Headless: tones, or silence.")] = True,
    speak: Annotated[
        bool, typer.Option("--speak", help="Say each block aloud. Mind the loudness on headphones.")
    ] = False,
    virtual: Annotated[
        bool, typer.Option("--virtual", help="Headless: sensors on a virtual golfer, to try this out.")
    ] = False,
    reps: Annotated[
        int, typer.Option(min=0, max=500, help="With --virtual: how many reps the golfer does.")
    ] = VIRTUAL_REPS,
    radio: Annotated[
        str | None,
        typer.Option(metavar="FILE", help="With --virtual: fault script of the radio, TOML.", show_default=False),
    ] = None,
    json_file: Annotated[
        Path | None, typer.Option("--json", metavar="FILE", help="Headless: write the summary there.")
    ] = None,
    overwrite: Annotated[bool, typer.Option("--overwrite", help="Replace FILE of --json if it exists.")] = False,
    limits_file: Annotated[
        Path | None,
        typer.Option(
            "--limits", metavar="FILE.toml", help="Headless: limits in place of the player's own.", show_default=False
        ),
    ] = None,
) -> None:
    """The windows for the bay and for the range: player, sensors, calibration, drill; can be tried without sensors.

    With --headless the same session without a window, for a small computer in a bag.
    """
    from imufeedback.resources import data_folder

    recordings = data_folder() / "recordings" if out is None else out
    if headless:
        from imufeedback.cli.headless import Wanted, run
        from imufeedback.cli.output import limits_text

        if handed is not None and handed not in HANDS:
            raise UsageError(f"--handed {handed!r}", hint=f"choose one of {', '.join(HANDS)}")
        run(
            Wanted(
                recordings, layout, player, handed, work, minutes, wait, stored_fit, accept, sound, virtual, reps,
                radio, json_file, overwrite, speak, None if limits_file is None else limits_text(limits_file),
            )
        )  # fmt: skip
        return
    _only_headless(player, handed, work, minutes, stored_fit, accept, virtual, radio, json_file, not sound, limits_file)
    from imufeedback.app.live import show

    status = show(layout, recordings, speak=speak)
    if status:
        raise typer.Exit(status)


def _only_headless(*given: object) -> None:
    """Raises UsageError for options that the windows have keys for."""
    if any(given):
        raise UsageError(
            "these options are for a session without a window", where="live", hint="add --headless, or leave them out"
        )
