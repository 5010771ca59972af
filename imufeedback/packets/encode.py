"""Samples -> bytes of a layout: what a sensor's firmware does. Used by virtual sensors, imports and tests."""

from __future__ import annotations

import struct

import numpy as np
import numpy.typing as npt

from imufeedback.errors import UsageError
from imufeedback.packets.layout import Layout
from imufeedback.packets.wire import Wire, wire
from imufeedback.records import Floats


def encode(
    layout: Layout,
    sequence: int,
    tick: int,
    gyr_rad_s: npt.ArrayLike,
    acc_m_s2: npt.ArrayLike,
    ticks: npt.ArrayLike | None = None,
) -> bytes:
    """One packet of N samples, `gyr_rad_s` (N, 3) and `acc_m_s2` (N, 3) in the frame that decoding gives them in.

    `sequence` and `tick` (of the first sample) are taken modulo what the layout says. `ticks` (N,) are needed when the
    layout has a tick in every sample, and ignored when not. Values are rounded to the nearest raw number and clipped
    to full scale. Raises UsageError for shapes that do not fit, and for NaN or infinity where the layout has whole
    numbers.
    """
    form = wire(layout)
    values = _six(gyr_rad_s, acc_m_s2)
    return _header(layout, form, len(values), sequence, tick) + _samples(layout, form, values, ticks)


def _six(gyr_rad_s: npt.ArrayLike, acc_m_s2: npt.ArrayLike) -> Floats:
    gyr, acc = np.asarray(gyr_rad_s, dtype=np.float64), np.asarray(acc_m_s2, dtype=np.float64)
    if gyr.ndim != 2 or gyr.shape[1] != 3 or gyr.shape != acc.shape:
        raise UsageError(f"gyr {gyr.shape} and acc {acc.shape} must both be (N, 3)", where="encode")
    return np.hstack([gyr, acc])


def _samples(layout: Layout, form: Wire, values: Floats, ticks: npt.ArrayLike | None) -> bytes:
    raw = np.minimum(np.maximum(values / form.scale, form.lowest), form.highest)
    if form.whole:
        if not np.isfinite(values).all():
            raise UsageError("a value is not finite, and whole numbers cannot say so", where="encode")
        raw = np.rint(raw)
    if form.block_type is not None and form.block_order is None:
        return raw.astype(form.block_type).tobytes()
    out = np.zeros(len(values), dtype=form.sample)
    for k, column in enumerate(form.columns):
        out[column] = raw[:, k]
    if layout.in_sample("tick"):
        out["tick"] = _own_ticks(layout, ticks, len(values))
    return out.tobytes()


def _own_ticks(layout: Layout, ticks: npt.ArrayLike | None, count: int) -> npt.NDArray[np.int64]:
    if ticks is None or np.shape(ticks) != (count,):
        raise UsageError(f"layout {layout.name} needs a tick for each of the {count} samples", where="encode")
    return layout.around(np.asarray(ticks, dtype=np.int64))


def _header(layout: Layout, form: Wire, count: int, sequence: int, tick: int) -> bytes:
    known = {
        "version_flags": layout.version.value if layout.version else 0,
        "count": count,
        "sequence": sequence % layout.sequence_numbers,
        "tick": tick % layout.counter_modulus,
        "skip": 0,
    }
    try:
        return form.header.pack(*(known[name] for name in form.header_names))
    except struct.error as error:
        raise UsageError(f"{count} samples do not fit the header: {error}", where=f"layout {layout.name}") from error
