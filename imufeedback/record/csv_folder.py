"""Import: a folder of ``<segment>.csv`` becomes series, and series become the items of a recording.

The header names the units, and nothing is guessed: ``time_s``, ``gyr_x_rad_s`` … ``gyr_z_rad_s`` (or ``_deg_s``),
``acc_x_m_s2`` … ``acc_z_m_s2`` (or ``_g``). Cells are separated by commas, numbers have a decimal dot.
"""

from __future__ import annotations

import csv
import math
import os
from array import array
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass, replace
from heapq import merge
from importlib import resources
from itertools import pairwise
from pathlib import Path

import numpy as np

from imufeedback.constants import STANDARD_GRAVITY_M_S2
from imufeedback.errors import BadFile
from imufeedback.packets.encode import encode
from imufeedback.packets.layout import Layout, parse_layout
from imufeedback.records import Command, Floats, Item, RawPacket, Segment, frozen
from imufeedback.texts import refuse_odd
from imufeedback.timing.merge import BREAK_S

REQUIRED = (Segment.PELVIS, Segment.LEFT_THIGH, Segment.RIGHT_THIGH)
"""Without these there are no hip angles."""

SAMPLES_PER_PACKET = 4
"""As a sensor sends them, so that an import goes through the same steps as live data."""
MOST_S = 9.2e9
"""A recording counts nanoseconds in 63 bits: 292 years."""
EPOCH_S = 86_400.0
"""Times that all begin later are counted from their common start. Chosen: no session lasts a day, so such times count
from a date, or from when a sensor was switched on."""
MOST_HZ = 10_000.0
"""No sensor that is worn measures more often; times that say so are in another unit. Chosen."""

UNITS: Mapping[str, Mapping[str, float]] = {
    "gyr": {"rad_s": 1.0, "deg_s": math.pi / 180.0},
    "acc": {"m_s2": 1.0, "g": STANDARD_GRAVITY_M_S2},
}
"""Units that a header may name, and the factor to SI."""


@dataclass(frozen=True, slots=True)
class CsvSeries:
    """One sensor's samples, as they stand in its file."""

    segment: Segment
    t_s: Floats
    """(N,) strictly rising."""
    gyr_rad_s: Floats
    """(N, 3) sensor frame; NaN where the file has no number."""
    acc_m_s2: Floats
    """(N, 3) sensor frame; NaN where the file has no number."""
    notes: tuple[str, ...]
    """What a person should know about the file, one line each."""
    columns: tuple[str, ...]
    """The headings of time, rates and accelerations, seven."""


def read_folder(folder: str | os.PathLike[str]) -> dict[Segment, CsvSeries]:
    """Read every ``<segment>.csv`` of a folder.

    Raises BadFile, in one line naming file, row and column, for a file of no segment, a missing column, a unit that is
    not known, text that is no number, time that does not rise, an empty file, and a missing pelvis or thigh. A sample
    without a number is kept as NaN, with a note.
    """
    folder = Path(folder)
    paths = _segment_files(folder)
    missing = [f"{one.value}.csv" for one in REQUIRED if one not in paths]
    if missing:
        hint = "hip angles need pelvis, left_thigh and right_thigh"
        raise BadFile(f"{' and '.join(missing)} {_is_are(missing)} missing", where=str(folder), hint=hint)
    return {segment: _read(paths[segment], segment) for segment in Segment if segment in paths}


def refuse_apart(series: Mapping[Segment, CsvSeries], folder: Path) -> None:
    """Every angle needs the pelvis: a file of another time has nothing to be compared with. Raises BadFile."""
    begin_s, end_s = (float(series[Segment.PELVIS].t_s[at]) for at in (0, -1))
    apart = [one for one in series.values() if one.t_s[0] > end_s or one.t_s[-1] < begin_s]
    if apart:
        spans = "; ".join(_span(one) for one in (series[Segment.PELVIS], *apart))
        hint = "the files must be of one session, with times that count from the same instant"
        raise BadFile(f"the times of the files do not overlap: {spans}", where=str(folder), hint=hint)


def _span(series: CsvSeries) -> str:
    return f"{series.segment}.csv {series.t_s[0]:.12g} to {series.t_s[-1]:.12g} s"


def common_start_s(series: Mapping[Segment, CsvSeries]) -> float:
    """What is to be taken off all times: the earliest one where it cannot be the session's own time, else 0."""
    earliest_s = min(float(one.t_s[0]) for one in series.values())
    return earliest_s if earliest_s > EPOCH_S else 0.0


def counted_from(series: Mapping[Segment, CsvSeries], start_s: float) -> dict[Segment, CsvSeries]:
    """The same with times that count from `start_s`."""
    return {segment: replace(one, t_s=frozen(one.t_s - start_s)) for segment, one in series.items()}


def _is_are(words: Sequence[str]) -> str:
    return "is" if len(words) == 1 else "are"


def _segment_files(folder: Path) -> dict[Segment, Path]:
    try:
        names = sorted(one for one in os.listdir(folder) if one.lower().endswith(".csv") and not one.startswith("."))
    except (FileNotFoundError, ValueError):
        raise BadFile("no such folder", where=str(folder), hint="check the name") from None
    except NotADirectoryError:
        raise BadFile("this is no folder", where=str(folder), hint="name the folder with the .csv files") from None
    except OSError as error:
        raise BadFile(f"cannot be read ({error.strerror})", where=str(folder), hint="check its permissions") from None
    out: dict[Segment, Path] = {}
    for name in names:
        segment = _segment(folder / name)
        if segment in out:
            raise BadFile(f"two files for {segment.value}", where=str(folder / name), hint="keep one of them")
        out[segment] = folder / name
    return out


def _segment(path: Path) -> Segment:
    try:
        return Segment(path.stem.lower())
    except ValueError:
        known = ", ".join(f"{one.value}.csv" for one in Segment)
        raise BadFile(f"{path.stem!r} is no segment", where=str(path), hint=f"rename it to one of {known}") from None


@dataclass(frozen=True, slots=True)
class _Columns:
    """Where the seven numbers stand in a row, and what each is multiplied with."""

    at: tuple[int, ...]
    factor: Floats
    width: int
    names: tuple[str, ...]
    unused: tuple[str, ...]


def _read(path: Path, segment: Segment) -> CsvSeries:
    try:
        refuse_odd(path, path.stat().st_mode)
        with open(path, encoding="utf-8-sig", newline="") as file:
            rows = csv.reader(file)
            columns = _columns(path, next(rows, []))
            numbers = _numbers(path, rows, columns)
    except OSError as error:
        raise BadFile(f"cannot be read ({error.strerror})", where=str(path), hint="check its permissions") from None
    except UnicodeDecodeError:
        raise BadFile("this is no UTF-8 text", where=str(path), hint="save it as CSV in UTF-8") from None
    except csv.Error as error:
        raise BadFile(f"this is no CSV text ({error})", where=str(path), hint="save it as CSV in UTF-8") from None
    if not len(numbers):
        raise BadFile("there are no samples in it", where=str(path), hint="export the recording again")
    values = numbers
    values *= columns.factor  # in place: a file may hold millions of rows
    _check_rate(path, values[:, 0])
    notes = _notes(path, values, columns)
    return CsvSeries(
        segment, frozen(values[:, 0]), frozen(values[:, 1:4]), frozen(values[:, 4:7]), notes, columns.names
    )


def _columns(path: Path, header: Sequence[str]) -> _Columns:
    names = [cell.strip() for cell in header]
    if not any(names):
        raise BadFile("the file is empty", where=str(path), hint="the first row must name the columns")
    if len(names) == 1 and ";" in names[0]:
        raise BadFile("cells are separated by ';'", where=str(path), hint="use ',' between cells and '.' in numbers")
    chosen = [_find(path, names, "time", "", {"s": 1.0})]
    chosen += [_find(path, names, kind, f"_{axis}", UNITS[kind]) for kind in ("gyr", "acc") for axis in "xyz"]
    at = tuple(place for place, _ in chosen)
    unused = tuple(name for place, name in enumerate(names) if place not in at and name)
    factor = np.array([factor for _, factor in chosen])
    return _Columns(at, factor, len(names), tuple(names[place] for place in at), unused)


def _find(path: Path, names: Sequence[str], kind: str, axis: str, units: Mapping[str, float]) -> tuple[int, float]:
    """Place and factor of one quantity."""
    stem = f"{kind}{axis}_"
    wanted = " or ".join(f"{stem}{unit}" for unit in units)
    where = f"{path}, row 1"
    alike = [place for place, name in enumerate(names) if name.startswith(stem)]
    found = [place for place in alike if names[place].removeprefix(stem) in units]
    if not alike:
        raise BadFile(f"column {stem}… is missing", where=where, hint=f"add a column {wanted}")
    if not found:
        unit = names[alike[0]].removeprefix(stem)
        what = f"column {names[alike[0]]} has the unit {unit!r}, which is not known"
        raise BadFile(what, where=where, hint=f"convert it and name it {wanted}")
    if len(found) > 1:
        both = " and ".join(names[place] for place in found)
        raise BadFile(f"columns {both} say the same", where=where, hint=f"keep one column {wanted}")
    return found[0], units[names[found[0]].removeprefix(stem)]


def _numbers(path: Path, rows: Iterator[list[str]], columns: _Columns) -> Floats:
    """(N, 7) as in the file, before units. Empty rows are passed over."""
    flat = array("d")
    before = -math.inf
    for row, cells in enumerate(rows, start=2):
        if not any(cells):
            continue
        if len(cells) != columns.width:
            what = f"{len(cells)} cells where the header has {columns.width}"
            hint = "use ',' between cells and '.' in numbers"
            raise BadFile(what, where=f"{path}, row {row}", hint=hint)
        try:
            values = [_number(cells[place]) for place in columns.at]
        except ValueError:
            values = _slowly(path, row, cells, columns)
        _check_time(path, row, values[0], before)
        before = values[0]
        flat.extend(values)
    return np.frombuffer(flat, dtype=np.float64).reshape(-1, 7)


def _number(cell: str) -> float:
    """Raises ValueError for text that is not clearly a number; Python's own reading takes 1_000 too."""
    if "_" in cell:
        raise ValueError(cell)
    return float(cell)


def _slowly(path: Path, row: int, cells: Sequence[str], columns: _Columns) -> list[float]:
    """The numbers of a row in which an empty cell, or text, stands."""
    out = []
    for place, name in zip(columns.at, columns.names, strict=True):
        try:
            out.append(_number(cells[place]) if cells[place].strip() else math.nan)
        except ValueError:
            where = f"{path}, row {row}, column {name}"
            raise BadFile(f"{cells[place]!r} is no number", where=where, hint="use a decimal dot, no units") from None
    return out


def _check_time(path: Path, row: int, t_s: float, before_s: float) -> None:
    where = f"{path}, row {row}, column time_s"
    if not math.isfinite(t_s):
        raise BadFile("the time is no number", where=where, hint="every sample needs its time")
    if t_s > MOST_S:
        hint = "time_s counts seconds: are these milliseconds, or finer?"
        raise BadFile(f"the time {t_s:g} s is more than a recording can hold", where=where, hint=hint)
    if t_s < 0:
        raise BadFile(f"the time {t_s:g} s is negative", where=where, hint="count from the start of the recording")
    if t_s == before_s:
        raise BadFile(f"the time {t_s:g} s stands there twice", where=where, hint="remove one, or write more decimals")
    if t_s < before_s:
        raise BadFile(f"the time goes back from {before_s:g} s to {t_s:g} s", where=where, hint="sort the rows by time")


def _check_rate(path: Path, t_s: Floats) -> None:
    if len(t_s) < 2:
        return
    step_s = float(np.median(np.diff(t_s)))
    if step_s * MOST_HZ < 1.0:
        where, hint = f"{path}, column time_s", "time_s counts seconds: multiply it by what its unit lacks"
        raise BadFile(f"a sample every {step_s:.3g} s is more than any sensor gives", where=where, hint=hint)


def _notes(path: Path, values: Floats, columns: _Columns) -> tuple[str, ...]:
    out = []
    bad = np.flatnonzero(~np.isfinite(values).all(axis=1))
    if bad.size:
        first_s = values[bad[0], 0]
        out.append(
            f"{path.name}: {bad.size} sample(s) without a number, the first at {first_s:g} s; taken as not valid"
        )
    if columns.unused:
        out.append(f"{path.name}: not used: {', '.join(columns.unused)}")
    return tuple(out)


def lossless_layout() -> Layout:
    """The layout of imported packets: float64 and an own time for every sample."""
    text = resources.files("imufeedback.packets").joinpath("layouts", "lossless.toml").read_text(encoding="utf-8")
    return parse_layout(text, "lossless.toml")


def to_items(series: Mapping[Segment, CsvSeries], begin: Command) -> Iterator[Item]:
    """The series as the pipeline's inputs: the command `begin` at 0, then packets in the order of their time.

    Session time is the files' ``time_s``. A packet's sensor id is the segment's name, its `host_ns` the time of its
    last sample.
    """
    yield begin
    layout = lossless_layout()
    yield from merge(*(_packets(layout, one) for one in series.values()), key=lambda packet: packet.host_ns)


def _packets(layout: Layout, series: CsvSeries) -> Iterator[RawPacket]:
    ticks = np.rint(series.t_s * 1e9).astype(np.int64)
    for sequence, part in enumerate(_parts(series.t_s)):
        own = ticks[part]
        payload = encode(layout, sequence, int(own[0]), series.gyr_rad_s[part], series.acc_m_s2[part], ticks=own)
        yield RawPacket(series.segment.value, int(own[-1]), payload)


def _parts(t_s: Floats) -> Iterator[slice]:
    """The samples of each packet; none reaches over a break of the session."""
    breaks = np.flatnonzero(np.diff(t_s) > BREAK_S) + 1
    for begin, end in pairwise([0, *breaks.tolist(), len(t_s)]):
        for start in range(begin, end, SAMPLES_PER_PACKET):
            yield slice(start, min(start + SAMPLES_PER_PACKET, end))
