"""The TOML files that ship with the package, and the player's or coach's own in the data folder."""

from __future__ import annotations

import os
import sys
from collections.abc import Iterator
from importlib import resources
from pathlib import Path

from imufeedback.errors import BadFile, BadToml
from imufeedback.spelling import meant
from imufeedback.texts import read_text

_FOLDERS = {
    "layouts": "packets/layouts",
    "rules": "rules/sets",
    "drills": "rules/drills",
    "plans": "rules/plans",
    "causes": "rules/causes",
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
    return shared_data_folder() / "imufeedback"


def shared_data_folder() -> Path:
    """Where a user's programs keep their data (XDG Base Directory Specification: a relative path is none)."""
    home = os.environ.get("XDG_DATA_HOME", "")
    return Path(home) if home.startswith("/") else Path.home() / ".local" / "share"


def available(kind: str) -> tuple[str, ...]:
    """Names of all files of a kind (``layouts``, ``rules``, ``drills``, ``plans``, ``causes``, ``radio``), sorted; own
    ones too.

    Raises BadFile for an own folder that cannot be listed.
    """
    shipped = [one.name for one in resources.files("imufeedback").joinpath(_FOLDERS[kind]).iterdir()]
    folder = data_folder() / kind
    try:
        own = os.listdir(folder) if folder.is_dir() else []
    except OSError as error:
        raise BadFile(
            f"the folder cannot be read ({error.strerror})", where=str(folder), hint="change its rights"
        ) from None
    return tuple(sorted({name.removesuffix(".toml") for name in shipped + own if name.endswith(".toml")}))


def text(kind: str, name: str) -> str:
    """The TOML text of one file; an own file goes before a built-in one of the same name. Raises BadToml."""
    if name not in available(kind):
        raise BadToml(f"there is no {kind} file {name!r}", hint=meant(name, available(kind)))
    own = data_folder() / kind / f"{name}.toml"
    try:
        return read_text(own)
    except FileNotFoundError:
        return (resources.files("imufeedback") / _FOLDERS[kind] / f"{name}.toml").read_text(encoding="utf-8")
    except BadFile as error:
        raise BadToml(error.what, where=error.where, hint=error.hint) from None


def shipped(kind: str) -> Iterator[str]:
    """The texts of all files of a kind that came with the package, by their names, without own ones."""
    for file in sorted((resources.files("imufeedback") / _FOLDERS[kind]).iterdir(), key=lambda one: one.name):
        if file.name.endswith(".toml"):
            yield file.read_text(encoding="utf-8")
