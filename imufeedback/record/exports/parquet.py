"""All angles with their error bars as Parquet, for data frames; the unit of every column stands in its metadata."""

from __future__ import annotations

import os
from pathlib import Path

import numpy as np

from imufeedback.record.exports import ExportSource, needs
from imufeedback.record.exports.csv import columns
from imufeedback.record.files import part_file


def write(source: ExportSource, out: Path) -> str:
    try:
        import pyarrow as pa
        from pyarrow import parquet
    except ImportError:
        raise needs("pyarrow") from None
    part = source.trace.stretch(source.from_s, source.to_s)
    names = columns(source)
    values = [part.t_s, *part.angle_deg.T, *part.sd_deg.T]
    fields = [pa.field(name, pa.float64(), metadata={"unit": "s" if name == "time_s" else "deg"}) for name in names]
    facts = {
        "title": source.title,
        "player": source.player,
        "started": "" if source.started is None else source.started.isoformat(),
        "source": source.recording.name,
    }
    arrays = [pa.array(np.ascontiguousarray(one), from_pandas=True) for one in values]  # NaN becomes "missing"
    with part_file(out) as made:
        parquet.write_table(pa.Table.from_arrays(arrays, schema=pa.schema(fields, metadata=facts)), os.fspath(made))
    return f"{len(part.t_s)} rows of {len(names)} columns"
