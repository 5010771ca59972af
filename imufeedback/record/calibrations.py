"""What was found of each sensor's own errors: one small JSON file a sensor in the data folder's ``calibrations``."""

from __future__ import annotations

from collections.abc import Iterable
from pathlib import Path

import msgspec

from imufeedback.errors import BadFile
from imufeedback.record.files import name_key, safe_stem, write_own
from imufeedback.settings import Calibration
from imufeedback.texts import read_text

FOLDER = "calibrations"
_HINT = "remove the file, and run `imufeedback sensors calibrate` again"


class _File(msgspec.Struct, frozen=True):
    serial: str
    calibration: Calibration
    format: int = 1


def _path(folder: Path, serial: str) -> Path:
    return folder / FOLDER / f"{safe_stem(name_key(serial))}.json"


def keep(folder: Path, serial: str, found: Calibration) -> Path:
    """Keep it as the sensor's; an earlier one goes. Raises CannotWrite."""
    path = _path(folder, serial)
    write_own(path, msgspec.json.format(msgspec.json.encode(_File(serial, found)), indent=1))
    return path


def calibration(folder: Path, serial: str) -> Calibration | None:
    """The sensor's; None when there is none. Raises BadFile."""
    path = _path(folder, serial)
    try:
        file = msgspec.json.decode(read_text(path, hint=_HINT), type=_File)
    except FileNotFoundError:
        return None
    except msgspec.DecodeError as error:
        raise BadFile(f"no calibration ({error})", where=str(path), hint=_HINT) from None
    return file.calibration if name_key(file.serial) == name_key(serial) else None


def calibrations(folder: Path, serials: Iterable[str]) -> dict[str, Calibration]:
    """Of those that have one. Raises BadFile."""
    found = {serial: calibration(folder, serial) for serial in serials}
    return {serial: one for serial, one in found.items() if one is not None}
