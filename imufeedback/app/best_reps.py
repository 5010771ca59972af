"""The best rep of a player's earlier sessions, to compare with: one small JSON file beside the player's own.

Only curves for looking at; what they were measured from is in the recordings.
"""

from __future__ import annotations

import datetime
from pathlib import Path
from typing import Annotated

import msgspec
import numpy as np
from msgspec import Meta

from imufeedback.app.tracks import Track
from imufeedback.errors import BadFile
from imufeedback.figure.pose import POSE
from imufeedback.record.files import put_aside, write_own
from imufeedback.records import Floats
from imufeedback.texts import read_bytes

WEEK = datetime.timedelta(days=7)
KEPT = 60
"""Days that are kept, the newest ones."""


class Best(msgspec.Struct, frozen=True):
    """Best rep of one day; angles in degrees, one decimal, None where not known."""

    day: datetime.date
    number: Annotated[int, Meta(ge=1)]
    turn_deg: list[float | None]
    thigh_deg: list[float | None]
    down_from: Annotated[int, Meta(ge=0)]
    at_marks_deg: list[float | None]
    pose_deg: list[list[float | None]] = []
    """The body at each place (`imufeedback.figure.pose.POSE`), for the outline beside the live one; empty in older
    files."""


class _File(msgspec.Struct, frozen=True):
    reps: list[Best] = []
    format: Annotated[int, Meta(ge=1, le=1)] = 1


def find(path: Path, today: datetime.date) -> Track | None:
    """The rep of the session nearest to a week ago; None when there is none before today, or the file is unreadable."""
    before = [one for one in _read(path) or () if one.day < today and len(one.turn_deg) == len(one.thigh_deg) > 1]
    if not before:
        return None
    best = min(before, key=lambda one: abs((today - WEEK) - one.day))
    down_from = min(best.down_from, len(best.turn_deg) - 1)
    turn, thigh = _array(best.turn_deg), _array(best.thigh_deg)
    pose = np.array([_array(row) for row in best.pose_deg]) if _whole(best) else None
    marks = tuple(best.at_marks_deg)
    return Track(best.number, turn, thigh, down_from, marks, label=best.day.isoformat(), pose_deg=pose)


def _whole(best: Best) -> bool:
    """It has a body for each place."""
    return len(best.pose_deg) == len(best.turn_deg) and all(len(row) == len(POSE) for row in best.pose_deg)


def keep(path: Path, today: datetime.date, track: Track) -> None:
    """The best rep of today, in place of an earlier one of today. Raises CannotWrite."""
    best = Best(
        today,
        track.number,
        _list(track.turn_deg),
        _list(track.thigh_deg),
        track.down_from,
        [None if value is None else round(value, 1) for value in track.at_marks_deg],
        [] if track.pose_deg is None else [_list(row) for row in track.pose_deg],
    )
    found = _read(path)
    if found is None:
        put_aside(path)
    others = [one for one in found or () if one.day != today]
    reps = sorted([*others, best], key=lambda one: one.day)[-KEPT:]
    write_own(path, msgspec.json.encode(_File(reps)))


def _read(path: Path) -> list[Best] | None:
    """None for a file that cannot be read: a curve to compare with is no reason to stop."""
    try:
        return msgspec.json.decode(read_bytes(path), type=_File).reps
    except FileNotFoundError:
        return []
    except (OSError, BadFile, msgspec.MsgspecError, ValueError, RecursionError):
        return None


def _list(values: Floats) -> list[float | None]:
    return [round(float(value), 1) if np.isfinite(value) else None for value in values]


def _array(values: list[float | None]) -> Floats:
    return np.array([np.nan if value is None else value for value in values], dtype=np.float64)
