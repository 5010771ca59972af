"""``sounds``: what the tool can say by sound, and what it is like."""

from __future__ import annotations

import time
from typing import TYPE_CHECKING, Annotated

import typer

from imufeedback.cli.output import say
from imufeedback.errors import SoundError, UsageError

if TYPE_CHECKING:
    from imufeedback.audio import WatchedPlayer

WAIT_S = 5.0
BETWEEN_S = 0.9
ALL = "all"


def sounds(
    play: Annotated[str | None, typer.Option(metavar="NAME", help="Let one be heard; `all` for every one.")] = None,
    level: Annotated[
        float | None, typer.Option(min=0.0, max=1.0, help="Volume; starts low, and has a ceiling.", show_default=False)
    ] = None,
) -> None:
    """List the sounds and what they mean, or let them be heard."""
    from imufeedback.cues.waveforms import MEANINGS

    if play is None:
        for name, meaning in MEANINGS.items():
            print(f"{name:<16}{meaning}")
        return
    if play not in (*MEANINGS, ALL):
        raise UsageError(f"there is no sound {play!r}", hint=f"choose one of {', '.join(MEANINGS)}, or all")
    from imufeedback.audio import SAFE_LISTENING, open_player

    say(SAFE_LISTENING)
    with open_player() as player:
        _wait_for(player)
        if level is not None:
            player.set_level(level)
        for name in MEANINGS if play == ALL else (play,):
            print(f"{name:<16}{MEANINGS[name]}", flush=True)
            _let_hear(player, name)
        for text in player.notices():
            say(text)
    say("did you hear it? If not: turn the output up, or choose another one in the system's settings")


def _wait_for(player: WatchedPlayer) -> None:
    until = time.monotonic() + WAIT_S
    while not player.running:
        if time.monotonic() > until:
            raise SoundError(player.reason, hint="connect a speaker and try again")
        time.sleep(0.02)
    say(player.reason)


def _let_hear(player: WatchedPlayer, name: str) -> None:
    from imufeedback.cues.tone import SPAN_SEMITONES, TARGET_SEMITONES
    from imufeedback.cues.waveforms import HELD

    now = time.monotonic_ns
    if name != HELD:
        player.play(name, now() + 10**9)
        time.sleep(BETWEEN_S)
        return
    for semitones in range(TARGET_SEMITONES - SPAN_SEMITONES, TARGET_SEMITONES + 1):
        player.hold(semitones, now() + 10**9)
        time.sleep(0.12)
    player.hold(None, now())
    time.sleep(0.2)
