"""``doctor``: is everything there that a session needs? One line each, with what to do about it."""

from __future__ import annotations

import re
import sys
from collections.abc import Callable
from dataclasses import dataclass
from enum import StrEnum
from typing import Annotated

import typer

from imufeedback import unforeseen
from imufeedback.cli.output import show
from imufeedback.errors import BadFile, ImuFeedbackError
from imufeedback.resources import data_folder

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
class DoctorLine:
    """What was asked, and the answer."""

    name: str
    state: State
    text: str


def doctor(
    json_file: Annotated[bool, typer.Option("--json", help="Print the findings as JSON instead.")] = False,
) -> None:
    """Look whether screen, sound, Bluetooth and folders are there, and say what to do. Status 1: something that
    is needed is missing, broken, or did not answer."""
    import json
    from dataclasses import asdict

    found = findings()
    if json_file:
        print(json.dumps([asdict(one) for one in found], ensure_ascii=False, indent=1))
    else:
        signs = _signs(sys.stdout.encoding)
        width = max(len(one.name) for one in found)
        for one in found:
            show(f"{signs[one.state]} {one.name:<{width}}  {one.text}")
    if any(one.state is State.BROKEN for one in found):
        raise typer.Exit(1)


def _signs(encoding: str | None) -> dict[State, str]:
    """A sign for every state, that the terminal's code page has."""
    nice = "✓○✗"
    try:
        nice.encode(encoding or "ascii")
    except (UnicodeEncodeError, LookupError):
        nice = "+-!"
    return dict(zip(State, nice, strict=True))


NEEDED = ("program", "libraries", "folder")
"""Without an answer to these nothing can be said of a session; screen, sound and radio may be slow, or not be there."""


def findings() -> list[DoctorLine]:
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
    out: dict[str, DoctorLine] = {}
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
    return [out.get(name, DoctorLine(name, State.BROKEN if name in NEEDED else State.LACKING, late)) for name in checks]


def _answer(name: str, check: Callable[[], tuple[State, str]]) -> DoctorLine:
    try:
        state, text = check()
    except ImuFeedbackError as error:
        return DoctorLine(
            name, State.BROKEN if name in NEEDED or isinstance(error, BadFile) else State.LACKING, str(error)
        )
    except Exception as error:  # noqa: BLE001 - whatever a check fails with is its answer
        return DoctorLine(name, State.BROKEN, f"the check failed: {unforeseen.line(error, data_folder())}")
    return DoctorLine(name, state, text)


def _program() -> tuple[State, str]:
    import platform

    from imufeedback import __version__, recursions

    system = f"{platform.system()} {platform.machine()}"
    core = "with its compiled core" if recursions.core is not None else "all in Python: slower, same results"
    return State.GOOD, f"imufeedback {__version__} ({core}), Python {platform.python_version()}, {system}"


def _libraries() -> tuple[State, str]:
    """The packages of a plain installation, without importing them: there, and of a version that fits."""
    from importlib.metadata import PackageNotFoundError, requires, version

    wrong = []
    for line in requires("imufeedback") or ():
        name, wanted = _requirement(line)
        if not name:
            continue
        try:
            found = version(name)
        except PackageNotFoundError:
            wrong.append(f"{name} is not installed")
            continue
        if not all(_fits(found, sign, other) for sign, other in wanted):
            wrong.append(f"{name} {found} is not {','.join(sign + other for sign, other in wanted)}")
    if wrong:
        return State.BROKEN, f"{'; '.join(wrong)} – pip install --upgrade --force-reinstall imufeedback"
    return State.GOOD, "all there, of versions that fit"


def _requirement(line: str) -> tuple[str, list[tuple[str, str]]]:
    """Name and wanted versions of a requirement (PEP 508); no name for one that belongs to an extra."""
    need, _, condition = line.partition(";")
    found = re.match(r"\s*([A-Za-z0-9._-]+)\s*(?:\[[^]]*\])?\s*\(?([^)]*)\)?", need)
    if found is None or "extra" in condition:
        return "", []
    return found[1], re.findall(r"(<=|>=|==|!=|~=|<|>)\s*([0-9][0-9A-Za-z.*+!]*)", found[2])


def _fits(found: str, sign: str, wanted: str) -> bool:
    """Whether a version meets one condition. Only the numbers of a release count: ``2.1rc1`` is taken for 2.1."""
    have, want = _numbers(found), _numbers(wanted)
    width = max(len(have), len(want))
    prefix = have[: len(want)] == want
    have, want = have + (0,) * (width - len(have)), want + (0,) * (width - len(want))
    if sign == "==" or sign == "!=":
        same = prefix if wanted.endswith(".*") else have == want
        return same is (sign == "==")
    if sign == "~=":
        kept = len(_numbers(wanted)) - 1
        return have >= want and have[:kept] == want[:kept]
    return {"<": have < want, "<=": have <= want, ">": have > want, ">=": have >= want}[sign]


def _numbers(text: str) -> tuple[int, ...]:
    found = re.match(r"\d+(?:\.\d+)*", text)
    return tuple(int(one) for one in found[0].split(".")) if found else ()


def _folder() -> tuple[State, str]:
    import os
    import shutil

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

    worn = [
        f"{one.serial} on {str(one.role).replace('_', ' ')}" for one in load(data_folder()).known.values() if one.role
    ]
    if not worn:
        return State.LACKING, "none has a place yet – `imufeedback live` or `imufeedback sensors assign`"
    return State.GOOD, ", ".join(worn)
