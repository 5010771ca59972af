"""The engine alone: the packets of a run once more, one after the other, with nothing beside them."""

from __future__ import annotations

import gc
import time
from collections.abc import Sequence
from concurrent.futures import ThreadPoolExecutor

import numpy as np
import numpy.typing as npt

from imufeedback.pipeline import Pipeline
from imufeedback.records import Item, RawPacket
from imufeedback.threads import first_turn

TIMES = 3
"""Each packet's best of so many counts: other work on the machine does not."""


def engine_ms(items: Sequence[Item]) -> npt.NDArray[np.float64]:
    """(P,) wall time of every packet from being taken to everything that follows from it being decided.

    In a thread of its own with the engine's turns on the processor, as in a session.
    """
    with ThreadPoolExecutor(1, initializer=first_turn) as thread:
        return thread.submit(_best, items).result()


def _best(items: Sequence[Item]) -> npt.NDArray[np.float64]:
    best: npt.NDArray[np.float64] = np.min([_once(items) for _ in range(TIMES)], axis=0)
    return best


def _once(items: Sequence[Item]) -> npt.NDArray[np.float64]:
    pipeline = Pipeline()
    out = []
    gc.collect()
    gc.freeze()
    try:
        for item in items:
            begun = time.perf_counter()
            pipeline.feed(item)
            if isinstance(item, RawPacket):
                out.append((time.perf_counter() - begun) * 1e3)
    finally:
        gc.unfreeze()
    return np.array(out)
