"""``desktop``: an entry in the menu of the desktop, for who does not want a terminal. Linux and other systems of
freedesktop.org; its Desktop Entry and Icon Theme specifications say where the files lie."""

from __future__ import annotations

import shutil
import sys
from pathlib import Path
from typing import Annotated

import typer

from imufeedback.cli.output import say
from imufeedback.errors import UsageError
from imufeedback.resources import shared_data_folder

ENTRY = """[Desktop Entry]
Type=Application
Name=imufeedback
Comment=Live hip-angle feedback for golfers
Exec={program} live
Icon=imufeedback
Terminal=false
Categories=Sports;Education;
StartupWMClass=imufeedback
"""


def desktop(
    remove: Annotated[bool, typer.Option("--remove", help="Take the entry out again.")] = False,
) -> None:
    """Put the program into the menu of your desktop (Linux), so that it starts without a terminal."""
    if sys.platform in ("win32", "darwin"):
        raise UsageError("this is for Linux desktops", hint="make a shortcut to the command imufeedback instead")
    entry, icon = _places()
    if remove:
        for one in (entry, icon):
            one.unlink(missing_ok=True)
        say(f"Taken out: {entry}")
        return
    entry.parent.mkdir(parents=True, exist_ok=True)
    icon.parent.mkdir(parents=True, exist_ok=True)
    entry.write_text(ENTRY.format(program=_quoted(_program())), encoding="utf-8")
    shutil.copyfile(Path(__file__).parents[1] / "app" / "icon.svg", icon)
    say(f"In the menu: {entry}")


def _places() -> tuple[Path, Path]:
    """Where entry and icon lie."""
    data = shared_data_folder()
    return data / "applications/imufeedback.desktop", data / "icons/hicolor/scalable/apps/imufeedback.svg"


def _program() -> str:
    """The command beside this Python; else what the shell would find."""
    beside = Path(sys.executable).parent / "imufeedback"
    return str(beside) if beside.is_file() else shutil.which("imufeedback") or "imufeedback"


def _quoted(path: str) -> str:
    """As the key Exec wants a path with blanks and reserved characters."""
    escaped = path.replace("%", "%%")
    for one in '\\"`$':
        escaped = escaped.replace(one, "\\" + one)
    return f'"{escaped}"' if escaped != path or " " in path else path
