"""Samples as they came, a folder of ``<segment>.csv`` that ``import`` takes back to the last digit.

Beside them ``session.json`` keeps what no sample tells: title, start, player, rules and the calibration.
"""

from __future__ import annotations

import os
import tempfile
from contextlib import ExitStack
from pathlib import Path
from typing import IO

import numpy as np

from imufeedback.commands import is_begin, settings_of
from imufeedback.errors import BadFile, CannotWrite, NoRecording
from imufeedback.packets import parse_layout
from imufeedback.record import unfinished
from imufeedback.record.exports import ExportSource
from imufeedback.record.files import cannot_write, create_new, put_in_place, refuse_existing
from imufeedback.record.replay import read_items
from imufeedback.record.samples import samples
from imufeedback.record.session_file import SESSION_FILE, SessionFile, write_session
from imufeedback.records import Flag, ImuBlock
from imufeedback.settings import Settings

HEADER = "time_s,gyr_x_rad_s,gyr_y_rad_s,gyr_z_rad_s,acc_x_m_s2,acc_y_m_s2,acc_z_m_s2\n"


def write(source: ExportSource, out: Path) -> str:
    refuse_existing(out, False)
    try:
        part = Path(tempfile.mkdtemp(prefix=f".{out.stem[:40]}.", dir=out.parent))
    except OSError as error:
        raise cannot_write(out, error) from None
    unfinished.begin(part)
    try:
        count = _write_all(source, part)
        refuse_existing(out, False)
    except BaseException as error:
        unfinished.remove(part)
        if isinstance(error, OSError):
            raise cannot_write(out, error) from None
        raise
    try:
        put_in_place(part, out)
    except CannotWrite:
        unfinished.keep(part)  # whole, only not under its name
        raise
    except OSError as error:
        unfinished.remove(part)
        raise cannot_write(out, error) from None
    unfinished.keep(part)
    return f"{count} samples, and {SESSION_FILE}"


def _write_all(source: ExportSource, folder: Path) -> int:
    items = iter(read_items(source.recording))
    begin = next(items, None)
    if not is_begin(begin):
        raise NoRecording("its beginning is damaged", where=str(source.recording), hint="choose another recording")
    settings = settings_of(begin)
    blocks: dict[str, list[ImuBlock]] = {one.id: [] for one in settings.sensors}
    for block in samples(begin, settings, items):
        blocks[block.sensor].append(block)
    delay_s = _common_delay(settings)
    earliest_s = delay_s + min((float(one[0].t_s[0]) for one in blocks.values() if one), default=0.0)
    shift_s = float(np.ceil(-earliest_s)) if earliest_s < 0 else 0.0
    count = 0
    with ExitStack() as stack:
        for sensor in settings.sensors:
            path = folder / f"{sensor.role}.csv"
            file = stack.enter_context(open(create_new(path)[0], "w", encoding="utf-8", newline=""))
            count += _write_sensor(file, blocks[sensor.id], source, shift_s + delay_s)
            file.flush()
            os.fsync(file.fileno())
    if not count:
        raise BadFile("there are no samples in this stretch", where=str(source.recording), hint="choose another one")
    write_session(
        folder,
        SessionFile(
            title=source.title,
            started=source.started,
            time_shift_s=shift_s,
            delay_s=delay_s,
            player=settings.player,
            filter=settings.filter,
            rule_set=settings.rule_set,
            limits=settings.limits,
            fit=None if source.fit is None else dict(source.fit),
        ),
    )
    return count


def _common_delay(settings: Settings) -> float:
    """The sensors' own delay, when all have the same: then the file has their times as they were. Else 0, and it is
    taken off the times."""
    layouts = {one.layout: parse_layout(settings.layouts[one.layout], one.layout) for one in settings.sensors}
    delays = {one.delay_s for one in layouts.values()}
    return delays.pop() if len(delays) == 1 else 0.0


def _write_sensor(file: IO[str], blocks: list[ImuBlock], source: ExportSource, shift_s: float) -> int:
    file.write(HEADER)
    count, before = 0, -np.inf
    for block in blocks:
        values = np.hstack([block.gyr_rad_s, block.acc_m_s2])
        values[(block.flags & Flag.INVALID) != 0] = np.nan
        for t_s, row in zip(block.t_s.tolist(), values.tolist(), strict=True):
            if not source.from_s <= t_s <= source.to_s or t_s <= before:
                continue
            before = t_s
            cells = ("" if cell != cell else repr(cell) for cell in row)
            file.write(",".join([repr(round(t_s + shift_s, 9)), *cells]) + "\n")
            count += 1
    return count
