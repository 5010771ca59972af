"""All reps of many recordings as one Parquet table. Numbers are packed as they come: a rep costs some 500 bytes."""

from __future__ import annotations

import math
import os
from array import array
from collections.abc import Mapping, Sequence
from pathlib import Path
from typing import TYPE_CHECKING, Any

import numpy as np

from imufeedback.record.exports import needs
from imufeedback.record.exports.reps import FIRST, LAST, Cell, columns
from imufeedback.record.files import part_file, shown

if TYPE_CHECKING:
    import pyarrow as pa

RECORDING = "recording"
TEXTS = (RECORDING, "kind", *LAST)


class RepFile:
    """Takes reps, then writes them sorted by recording and rep. Needs the extra ``export``, or ImuFeedbackError."""

    def __init__(self) -> None:
        try:
            import pyarrow  # noqa: F401 - found out before the long work
        except ImportError:
            raise needs("pyarrow") from None
        self._texts: dict[str, list[str]] = {name: [] for name in TEXTS}
        self._numbers: dict[str, array[float]] = {name: array("d") for name in FIRST if name not in TEXTS}
        self._count = 0

    def __len__(self) -> int:
        return self._count

    def add(self, recording: str, reps: Sequence[Mapping[str, Cell]]) -> None:
        """Take the reps of a recording; rows as `record.exports.reps.row` gives them."""
        for rep in reps:
            for name, texts in self._texts.items():
                texts.append(shown(recording) if name == RECORDING else str(rep[name]))
            for name in rep.keys() - self._numbers.keys() - set(TEXTS):
                self._numbers[name] = array("d", [math.nan]) * self._count
            for name, numbers in self._numbers.items():
                value = rep.get(name)
                numbers.append(math.nan if value is None else float(value))
            self._count += 1

    def write(self, path: Path, *, overwrite: bool = False) -> int:
        """Write the table, whole or not at all; returns the number of rows. Raises CannotWrite."""
        from pyarrow import parquet

        with part_file(path, overwrite=overwrite) as made:
            parquet.write_table(self._table(), os.fspath(made))
        return self._count

    def _table(self) -> pa.Table:
        import pyarrow as pa

        numbers = {name: np.frombuffer(one) if one else np.empty(0) for name, one in self._numbers.items()}
        order = np.lexsort((numbers["rep"], np.array(self._texts[RECORDING], dtype=str)))
        names = [RECORDING, *columns([dict.fromkeys(sorted(numbers))])]
        return pa.table({name: self._column(pa, name, numbers, order) for name in names})

    def _column(self, pa: Any, name: str, numbers: Mapping[str, Any], order: Any) -> pa.Array:
        if name in TEXTS:
            texts = self._texts[name]
            return pa.array([texts[k] for k in order], pa.string())
        values = numbers[name][order]
        return pa.array(values.astype(np.int64)) if name == "rep" else pa.array(values, from_pandas=True)
