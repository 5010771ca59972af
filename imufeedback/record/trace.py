"""Angles of a whole session in a file that is looked into, not loaded: eight hours open at once.

The file is a line of JSON with the names of the columns, filled up to a whole number of pages, and then rows of fixed
size: time as float64, angles and their standard deviations in degrees as float32. The line is written last and has the
number of rows and a CRC-32 of all of them. The file can always be made again from the recording.
"""

from __future__ import annotations

import json
import math
import os
import re
import zlib
from collections.abc import Sequence
from dataclasses import dataclass
from pathlib import Path
from types import TracebackType
from typing import Any, Self

import numpy as np

from imufeedback.errors import BadFile, CannotWrite
from imufeedback.record import unfinished
from imufeedback.record.files import cannot_write, create_new, put_in_place, temporary
from imufeedback.record.table import JOINT_COLUMNS, PELVIS_COLUMNS
from imufeedback.records import Angles, Bools, Floats, Side

FORMAT = 2
_HEAD_BYTES = 4096
_CHUNK_BYTES = 1 << 22
_HEAD = re.compile(
    rb'\{"imufeedback_trace": (?P<format>\d{1,4})(?:, "crc32": "(?P<crc>[0-9a-f]{8})", "rows": (?P<rows>\d{1,12}))?, '
    rb'"columns": (?P<columns>\[[^\]]*\])\} *\n'
)


def _row(names: Sequence[str]) -> np.dtype[np.void]:
    return np.dtype([("t_s", "<f8"), ("angle", "<f4", (len(names),)), ("sd", "<f4", (len(names),))])


class TraceWriter:
    """Appends blocks of angles; the file appears under its name when it is closed without an error."""

    def __init__(self, path: Path) -> None:
        """Raises CannotWrite."""
        self._path = path
        number, self._part = create_new(temporary(path))
        unfinished.begin(self._part)
        self._file = os.fdopen(number, "wb", buffering=1 << 20)
        self._joints: list[tuple[str, Side]] | None = None
        self._names: list[str] = []
        self._row = _row(())
        self._crc = self._count = 0

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
        data = rows.tobytes()
        self._crc, self._count = zlib.crc32(data, self._crc), self._count + len(rows)
        self._file.write(data)

    def _begin(self, block: Angles) -> None:
        self._joints = [(one.joint, one.side) for one in block.joints]
        names = list(PELVIS_COLUMNS)
        for name, side in self._joints:
            names += [f"{side.value}_{name}_{column}" for column in JOINT_COLUMNS[name]]
        self._names, self._row = names, _row(names)
        self._file.write(b" " * len(self._head()))

    def _head(self) -> bytes:
        """The line as it is now; its length depends on the columns only."""
        columns = json.dumps(self._names).encode()
        crc = zlib.crc32(columns, self._crc)
        told = b'{"imufeedback_trace": %d, "crc32": "%08x", "rows": %d' % (FORMAT, crc, self._count)
        length = math.ceil((len(columns) + 128) / _HEAD_BYTES) * _HEAD_BYTES
        return (told + b', "columns": ' + columns + b"}").ljust(length - 1) + b"\n"

    def __enter__(self) -> Self:
        return self

    def __exit__(self, kind: type[BaseException] | None, error: BaseException | None, tb: TracebackType | None) -> None:
        kept = False
        try:
            self._close(error is None)
        except CannotWrite:
            kept = True  # whole, only not under its name
            raise
        except OSError as failed:
            error = failed
            raise cannot_write(self._path, failed) from None
        finally:
            if kept:
                unfinished.keep(self._part)
            else:
                unfinished.remove(self._part)  # after it got its name there is nothing to remove

    def _close(self, whole: bool) -> None:
        with self._file as file:
            if whole:
                file.seek(0)
                file.write(self._head())
        if whole:
            put_in_place(self._part, self._path)


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
        return _checked(path)
    except (OSError, ValueError, RecursionError) as error:
        what = (error.strerror if isinstance(error, OSError) else None) or str(error)
        raise BadFile(
            f"this is no trace of angles ({what})", where=str(path), hint="check the recording again"
        ) from None


def _checked(path: Path) -> tuple[tuple[str, ...], np.ndarray[Any, np.dtype[np.void]]]:
    if not path.is_file():
        raise ValueError("no such file" if not os.path.lexists(path) else "it is no ordinary file")
    with open(path, "rb") as file:
        head = file.readline(1 << 16)
        told = _HEAD.fullmatch(head)
        if told is None or int(told["format"]) != FORMAT:
            raise ValueError("another version" if told else "its first line is damaged")
        if told["crc"] is None:
            raise ValueError("its checksum is missing")
        columns = _columns(told["columns"])
        row, count = _row(columns), int(told["rows"])
        if os.fstat(file.fileno()).st_size - len(head) != count * row.itemsize:
            raise ValueError("rows are missing or too many")
        crc = 0
        while data := file.read(_CHUNK_BYTES):
            crc = zlib.crc32(data, crc)
    if zlib.crc32(told["columns"], crc) != int(told["crc"], 16):
        raise ValueError("its checksum does not fit")
    if not count:
        return columns, np.empty(0, row)
    return columns, np.memmap(path, row, "r", offset=len(head), shape=(count,))


def _columns(text: bytes) -> tuple[str, ...]:
    names = json.loads(text)
    if not all(isinstance(one, str) for one in names):
        raise ValueError("its columns have no names")
    return tuple(names)
