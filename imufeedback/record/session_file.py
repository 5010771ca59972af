"""What ``export --format raw`` keeps beside the samples, and ``import`` takes back: ``session.json``."""

from __future__ import annotations

from datetime import datetime
from pathlib import Path
from typing import Any

import msgspec

from imufeedback.errors import BadFile
from imufeedback.record.files import write_whole
from imufeedback.settings import Player
from imufeedback.texts import read_bytes

SESSION_FILE = "session.json"
FORMAT = 1


class SessionFile(msgspec.Struct, frozen=True, kw_only=True):
    """All that no sample tells."""

    imufeedback_session: int = FORMAT
    title: str = ""
    started: datetime | None = None
    time_shift_s: float = 0.0
    """What was added to the session's times, so that none is negative."""
    delay_s: float = 0.0
    """How long before its time a sample tells of the motion; the same for all sensors."""
    player: Player = Player()
    filter: str = "vqf"
    rule_set: str = ""
    """TOML text."""
    limits: str = ""
    """TOML text of the player's own limits."""
    fit: dict[str, Any] | None = None
    """Arguments of the command ``set-fit``."""


def write_session(folder: Path, session: SessionFile) -> None:
    """Raises CannotWrite."""
    write_whole(folder / SESSION_FILE, msgspec.json.format(msgspec.json.encode(session), indent=1) + b"\n")


def read_session(folder: Path) -> SessionFile | None:
    """The file of a folder; None when there is none. Raises BadFile."""
    path = folder / SESSION_FILE
    try:
        session = msgspec.json.decode(read_bytes(path), type=SessionFile)
    except FileNotFoundError:
        return None
    except RecursionError:
        raise BadFile("it is nested too deeply", where=str(path), hint="remove it, or export again") from None
    except (msgspec.MsgspecError, ValueError) as error:
        raise BadFile(f"cannot be read ({error})", where=str(path), hint="remove it, or export again") from None
    if session.imufeedback_session > FORMAT:
        what = f"it has format {session.imufeedback_session}; this version reads up to {FORMAT}"
        raise BadFile(what, where=str(path), hint="update imufeedback")
    return session
