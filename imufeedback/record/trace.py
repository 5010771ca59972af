"""Angles of a whole session in a file that is looked into, not loaded: eight hours open at once.

The file is a line of JSON with the names of the columns, filled up to a whole number of pages, and then rows of fixed
size: time as float64, angles and their standard deviations in degrees as float32. It can always be made again from
the recording.
"""

from __future__ import annotations

import json
import math
import os
from collections.abc import Sequence
from dataclasses import dataclass
from pathlib import Path
from types import TracebackType
from typing import Any, Self

import numpy as np

from imufeedback.errors import BadFile
from imufeedback.record import unfinished
from imufeedback.record.files import cannot_write, create_new
from imufeedback.record.table import JOINT_COLUMNS, PELVIS_COLUMNS
from imufeedback.records import Angles, Bools, Floats, Side

FORMAT = 1
_HEAD_BYTES = 4096


def _row(names: Sequence[str]) -> np.dtype[np.void]:
    return np.dtype([("t_s", "<f8"), ("angle", "<f4", (len(names),)), ("sd", "<f4", (len(names),))])


class TraceWriter:
    """Appends blocks of angles; the file appears under its name when it is closed without an error."""

    def __init__(self, path: Path) -> None:
        """Raises CannotWrite."""
        self._path = path
        number, self._part = create_new(path.with_name(f".{path.stem[:40]}.part"))
        unfinished.begin(self._part)
        self._file = os.fdopen(number, "wb", buffering=1 << 20)
        self._joints: list[tuple[str, Side]] | None = None
        self._row = _row(())

    def add(self, block: Angles) -> None:
        """Raises OSError when the disk does not take it."""
        if self._joints is None:
            self._begin(block)
        assert self._joints is not None
        angle, sd = [_deg(block.pelvis.angle_rad, block.pelvis.ok)], [_deg(block.pelvis.sd_rad, block.pelvis.ok)]
        for name, side in self._joints:
            width = len(JOINT_COLUMNS[name])
            joint = next((one for one in block.joints if (one.joint, one.side) == (name, side)), None)
            nothing = np.full((len(block.t_s), width), np.nan)
            angle.append(nothing if joint is None else _deg(joint.angle_rad, joint.ok)[:, :width])
            sd.append(nothing if joint is None else _deg(joint.sd_rad, joint.ok)[:, :width])
        rows = np.empty(len(block.t_s), self._row)
        rows["t_s"], rows["angle"], rows["sd"] = block.t_s, np.hstack(angle), np.hstack(sd)
        self._file.write(rows.tobytes())

    def _begin(self, block: Angles) -> None:
        self._joints = [(one.joint, one.side) for one in block.joints]
        names = list(PELVIS_COLUMNS)
        for name, side in self._joints:
            names += [f"{side.value}_{name}_{column}" for column in JOINT_COLUMNS[name]]
        self._row = _row(names)
        self._write_head(names)

    def _write_head(self, names: Sequence[str]) -> None:
        head = json.dumps({"imufeedback_trace": FORMAT, "columns": list(names)}).encode()
        self._file.write(head.ljust(math.ceil((len(head) + 1) / _HEAD_BYTES) * _HEAD_BYTES - 1) + b"\n")

    def __enter__(self) -> Self:
        return self

    def __exit__(self, kind: type[BaseException] | None, error: BaseException | None, tb: TracebackType | None) -> None:
        try:
            if error is None and self._joints is None:
                self._write_head(())
            self._file.close()
            if error is None:
                os.replace(self._part, self._path)
        except OSError as failed:
            error = failed
            raise cannot_write(self._path, failed) from None
        finally:
            unfinished.remove(self._part)  # after it got its name there is nothing to remove


def _deg(values_rad: Floats, ok: Bools) -> Floats:
    return np.where(ok, np.degrees(values_rad), np.nan)


@dataclass(frozen=True, slots=True)
class Stretch:
    """Some of the rows, in memory."""

    columns: tuple[str, ...]
    t_s: Floats
    """(N,)"""
    angle_deg: Floats
    """(N, K) NaN where an angle is not known."""
    sd_deg: Floats
    """(N, K)"""

    def angle(self, column: str) -> Floats:
        """(N,) one column; all NaN when the session has no such angle."""
        return self._pick(self.angle_deg, column)

    def sd(self, column: str) -> Floats:
        return self._pick(self.sd_deg, column)

    def _pick(self, values: Floats, column: str) -> Floats:
        if column not in self.columns:
            return np.full(len(self.t_s), np.nan)
        return values[:, self.columns.index(column)]


class Trace:
    """A trace file, mapped into memory. Raises BadFile when it is not one."""

    def __init__(self, path: str | os.PathLike[str]) -> None:
        self.path = Path(path)
        self.columns, self._rows = _open(self.path)

    def __len__(self) -> int:
        return len(self._rows)

    @property
    def span_s(self) -> tuple[float, float]:
        """Time of the first and of the last row; twice 0 when there are none."""
        return (float(self._rows["t_s"][0]), float(self._rows["t_s"][-1])) if len(self._rows) else (0.0, 0.0)

    def stretch(self, from_s: float = -math.inf, to_s: float = math.inf, *, at_most: int | None = None) -> Stretch:
        """The rows of a stretch of time; thinned evenly when there are more than `at_most`."""
        times = self._rows["t_s"]
        first, last = int(np.searchsorted(times, from_s, "left")), int(np.searchsorted(times, to_s, "right"))
        step = 1 if at_most is None else max(-(-(last - first) // at_most), 1)
        rows = np.asarray(self._rows[first:last:step])
        return Stretch(
            self.columns, rows["t_s"].copy(), rows["angle"].astype(np.float64), rows["sd"].astype(np.float64)
        )


def _open(path: Path) -> tuple[tuple[str, ...], np.ndarray[Any, np.dtype[np.void]]]:
    try:
        with open(path, "rb") as file:
            head = file.readline(1 << 16)
        told = json.loads(head)
        if told["imufeedback_trace"] != FORMAT:
            raise ValueError("another version")
        columns = tuple(str(one) for one in told["columns"])
        row = _row(columns)
        count = (path.stat().st_size - len(head)) // row.itemsize
        if not count:
            return columns, np.empty(0, row)
        return columns, np.memmap(path, row, "r", offset=len(head), shape=(count,))
    except (OSError, ValueError, KeyError, TypeError) as error:
        raise BadFile(
            f"this is no trace of angles ({error})", where=str(path), hint="judge the recording again"
        ) from None
