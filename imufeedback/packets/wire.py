"""A layout turned into what reads and writes its bytes: prepared once, used for every packet."""

from __future__ import annotations

import struct
from dataclasses import dataclass
from functools import lru_cache
from typing import Any

import numpy as np
import numpy.typing as npt

from imufeedback.packets.layout import ACC_UNITS, AXIS_NAMES, GYR_UNITS, Layout, Triad
from imufeedback.records import Floats

_STRUCT_CODES = {"u8": "B", "i8": "b", "u16": "H", "i16": "h", "u32": "I", "i32": "i", "u64": "Q", "i64": "q"}
_STRUCT_CODES |= {"f32": "f", "f64": "d"}
_NUMPY_CODES = {name: f"{name[0]}{int(name[1:]) // 8}" for name in _STRUCT_CODES}


@dataclass(frozen=True, slots=True, eq=False)
class Wire:
    """Byte-level forms of one layout. The six axes run gyr x, y, z, acc x, y, z of the frame samples are given in."""

    header: struct.Struct
    header_names: tuple[str, ...]
    sample: np.dtype[Any]
    columns: tuple[str, ...]
    """Field of the sample behind each of the six axes."""
    scale: Floats
    """(6,) from raw numbers to SI, with the sign of the axis."""
    limit: Floats
    """(6,) full scale in SI; infinite where the layout gives none."""
    whole: bool
    """Whether the six axes are whole numbers; they are all or none."""
    lowest: Floats
    """(6,) least raw number: end of the field's range or of full scale."""
    highest: Floats
    """(6,) greatest raw number."""
    block_type: str | None
    """Numpy type when a sample is nothing but the six axes in one type, so that it can be read as one array."""
    block_order: npt.NDArray[np.intp] | None
    """Order of the columns in that array; None when it is theirs already."""


@lru_cache(maxsize=64)
def wire(layout: Layout) -> Wire:
    """The byte-level forms of a layout."""
    order = "<" if layout.byte_order == "little" else ">"
    codes = [_STRUCT_CODES[one.type] for one in layout.header]
    names = [one.name if one.name != "skip" else f"skip_{k}" for k, one in enumerate(layout.sample)]
    columns = _columns("gyr", layout.gyr) + _columns("acc", layout.acc)
    block_type, block_order = _block(layout, order, names, columns)
    sample = np.dtype([(n, order + _NUMPY_CODES[one.type]) for n, one in zip(names, layout.sample, strict=True)])
    scale = np.concatenate([_scale(layout.gyr, GYR_UNITS), _scale(layout.acc, ACC_UNITS)])
    limit = np.concatenate([_limit(layout.gyr, GYR_UNITS), _limit(layout.acc, ACC_UNITS)])
    lowest, highest = _raw_range(sample, columns, limit / np.abs(scale))
    return Wire(
        header=struct.Struct(order + "".join(codes)),
        header_names=tuple(one.name for one in layout.header),
        sample=sample,
        columns=columns,
        scale=scale,
        whole=sample[columns[0]].kind != "f",
        limit=limit,
        lowest=lowest,
        highest=highest,
        block_type=block_type,
        block_order=block_order,
    )


@lru_cache(maxsize=64)
def packet_type(layout: Layout, samples: int) -> np.dtype[Any]:
    """A whole packet of so many samples as one numpy record: the header's fields, then ``body``."""
    form = wire(layout)
    order = "<" if layout.byte_order == "little" else ">"
    names = [one.name if one.name != "skip" else f"skip_{k}" for k, one in enumerate(layout.header)]
    header = [(n, order + _NUMPY_CODES[one.type]) for n, one in zip(names, layout.header, strict=True)]
    return np.dtype([*header, ("body", form.sample, (samples,))])


def _columns(kind: str, triad: Triad) -> tuple[str, ...]:
    return tuple(f"{kind}_{axis[-1]}" for axis in triad.axes)


def _scale(triad: Triad, units: dict[str, float]) -> Floats:
    signs = np.array([-1.0 if axis.startswith("-") else 1.0 for axis in triad.axes])
    return signs * (triad.scale * units[triad.unit])


def _limit(triad: Triad, units: dict[str, float]) -> Floats:
    limit = np.inf if triad.full_scale is None else triad.full_scale * units[triad.unit]
    return np.full(3, limit)


def _raw_range(sample: np.dtype[Any], columns: tuple[str, ...], limit: Floats) -> tuple[Floats, Floats]:
    lowest, highest = -limit, limit.copy()
    for k, column in enumerate(columns):
        if sample[column].kind != "f":
            field = np.iinfo(sample[column])
            lowest[k], highest[k] = max(lowest[k], field.min), min(highest[k], field.max)
    return lowest, highest


def _block(
    layout: Layout, order: str, names: list[str], columns: tuple[str, ...]
) -> tuple[str | None, npt.NDArray[np.intp] | None]:
    types = {one.type for one in layout.sample}
    if set(names) != set(AXIS_NAMES) or len(types) != 1:
        return None, None
    indices = [names.index(column) for column in columns]
    straight = indices == list(range(len(indices)))
    return order + _NUMPY_CODES[types.pop()], None if straight else np.array(indices, dtype=np.intp)
