"""``doctor``: is everything there that a session needs? One line each, with what to do about it."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from enum import StrEnum
from typing import Annotated

import typer

from imufeedback.errors import ImuFeedbackError

SCAN_S = 0.05
"""Long enough for the system to say that there is no adapter."""
LIMIT_S = 1.2
"""What has not answered by then is told as such."""
ROOM_GB = 1.0
"""An hour of three sensors takes about 50 MB."""


class State(StrEnum):
    GOOD = "good"
    LACKING = "lacking"
    """The tool works without it, and says so."""
    BROKEN = "broken"


@dataclass(frozen=True, slots=True)
class Finding:
    """What was asked, and the answer."""

    name: str
    state: State
    text: str


def doctor(
    json_file: Annotated[bool, typer.Option("--json", help="Print the findings as JSON instead.")] = False,
) -> None:
    """Look whether screen, sound, Bluetooth and folders are there, and say what to do. Status 1: something broken."""
    import json
    from dataclasses import asdict

    found = findings()
    if json_file:
        print(json.dumps([asdict(one) for one in found], ensure_ascii=False, indent=1))
    else:
        signs = {State.GOOD: "✓", State.LACKING: "○", State.BROKEN: "✗"}
        width = max(len(one.name) for one in found)
        for one in found:
            print(f"{signs[one.state]} {one.name:<{width}}  {one.text}")
    if any(one.state is State.BROKEN for one in found):
        raise typer.Exit(1)


def findings() -> list[Finding]:
    """All of them, asked at the same time; screen and radio answer slowly."""
    import threading
    import time

    checks = {
        "program": _program,
        "libraries": _libraries,
        "folder": _folder,
        "screen": _screen,
        "sound": _sound,
        "bluetooth": _bluetooth,
        "sensors": _sensors,
    }
    out: dict[str, Finding] = {}
    asked = [
        # daemons: what never answers must not keep the program from ending
        threading.Thread(target=lambda name=name, check=check: out.update({name: _answer(name, check)}), daemon=True)
        for name, check in checks.items()
    ]
    until = time.monotonic() + LIMIT_S
    for one in asked:
        one.start()
    for one in asked:
        one.join(max(until - time.monotonic(), 0.0))
    late = f"no answer within {LIMIT_S:g} s – ask again"
    return [out.get(name, Finding(name, State.LACKING, late)) for name in checks]


def _answer(name: str, check: Callable[[], tuple[State, str]]) -> Finding:
    try:
        state, text = check()
    except ImuFeedbackError as error:
        return Finding(name, State.LACKING, str(error))
    return Finding(name, state, text)


def _program() -> tuple[State, str]:
    import platform

    from imufeedback import __version__

    system = f"{platform.system()} {platform.machine()}"
    return State.GOOD, f"imufeedback {__version__}, Python {platform.python_version()}, {system}"


def _libraries() -> tuple[State, str]:
    """The packages of a plain installation: there or not, without importing them."""
    from importlib.metadata import PackageNotFoundError, requires, version

    missing = []
    for line in requires("imufeedback") or ():
        if "extra ==" in line:
            continue
        name = line.split(";")[0]
        for sign in "<>=!~[ ":
            name = name.split(sign)[0]
        try:
            version(name)
        except PackageNotFoundError:
            missing.append(name)
    if missing:
        return State.BROKEN, f"not installed: {', '.join(missing)} – pip install --force-reinstall imufeedback"
    return State.GOOD, "all there"


def _folder() -> tuple[State, str]:
    import os
    import shutil

    from imufeedback.resources import data_folder

    folder = data_folder()
    there = next(one for one in (folder, *folder.parents) if one.exists())
    if not os.access(there, os.W_OK | os.X_OK):
        return State.BROKEN, f"{there}: may not be written – change its rights, or set IMUFEEDBACK_HOME"
    free_gb = shutil.disk_usage(there).free / 1e9
    if free_gb < ROOM_GB:
        return State.BROKEN, f"{folder}: {free_gb:.1f} GB left – make room before a session"
    return State.GOOD, f"{folder}, {free_gb:.0f} GB left"


def _screen() -> tuple[State, str]:
    from imufeedback.app.display import require_display

    require_display()
    return State.GOOD, "a window can be opened"


def _sound() -> tuple[State, str]:
    from imufeedback.audio.device import Lister

    output = Lister().default_output()
    if output is None:
        return State.LACKING, "no output – connect a speaker; a session goes on without tones"
    return (State.GOOD, output.name) if output.warning is None else (State.LACKING, output.warning)


def _bluetooth() -> tuple[State, str]:
    import asyncio

    from imufeedback.ble.scan import scan

    asyncio.run(scan(SCAN_S))
    return State.GOOD, "the adapter answers; `imufeedback sensors scan` looks for sensors"


def _sensors() -> tuple[State, str]:
    from imufeedback.ble.roster import load
    from imufeedback.resources import data_folder

    worn = [
        f"{one.serial} on {str(one.role).replace('_', ' ')}" for one in load(data_folder()).known.values() if one.role
    ]
    if not worn:
        return State.LACKING, "none has a place yet – `imufeedback live` or `imufeedback sensors assign`"
    return State.GOOD, ", ".join(worn)
