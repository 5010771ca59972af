"""The TOML files that ship with the package, and the player's or coach's own in the data folder."""

from __future__ import annotations

import os
import sys
from importlib import resources
from pathlib import Path

from imufeedback.errors import BadToml

_FOLDERS = {
    "layouts": "packets/layouts",
    "rules": "rules/sets",
    "drills": "rules/drills",
    "plans": "rules/plans",
    "radio": "ble/virtual/scripts",
}


def data_folder() -> Path:
    """Where own files and recordings live: ``IMUFEEDBACK_HOME``, or the platform's usual place."""
    own = os.environ.get("IMUFEEDBACK_HOME")
    if own:
        return Path(own)
    if sys.platform == "win32":
        return Path(os.environ.get("APPDATA", Path.home())) / "imufeedback"
    if sys.platform == "darwin":
        return Path.home() / "Library" / "Application Support" / "imufeedback"
    return Path(os.environ.get("XDG_DATA_HOME", Path.home() / ".local" / "share")) / "imufeedback"


def available(kind: str) -> tuple[str, ...]:
    """Names of all files of a kind (``layouts``, ``rules``, ``drills``, ``plans``, ``radio``), sorted; own ones too."""
    shipped = [one.name for one in resources.files("imufeedback").joinpath(_FOLDERS[kind]).iterdir()]
    folder = data_folder() / kind
    own = [one.name for one in folder.iterdir()] if folder.is_dir() else []
    return tuple(sorted({name.removesuffix(".toml") for name in shipped + own if name.endswith(".toml")}))


def text(kind: str, name: str) -> str:
    """The TOML text of one file; an own file goes before a built-in one of the same name. Raises BadToml."""
    own = data_folder() / kind / f"{name}.toml"
    try:
        if name not in available(kind):
            raise BadToml(f"there is no {kind} file {name!r}", hint=f"choose one of {', '.join(available(kind))}")
        if own.is_file():
            return own.read_text(encoding="utf-8")
        return (resources.files("imufeedback") / _FOLDERS[kind] / f"{name}.toml").read_text(encoding="utf-8")
    except (OSError, UnicodeDecodeError) as error:
        raise BadToml(f"cannot be read: {error}", where=str(own), hint="save it as UTF-8 text") from error
