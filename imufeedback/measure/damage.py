"""Damaged files, and what the reader makes of them."""

from __future__ import annotations

from collections.abc import Iterator
from pathlib import Path

import numpy as np

from imufeedback.errors import ImuFeedbackError
from imufeedback.measure.archive import write_items
from imufeedback.record.replay import read_items
from imufeedback.records import Command, Item, LinkNote, LinkState, RawPacket, Tick, same

ITEMS: tuple[Item, ...] = (
    Command(0, "begin", {"hand": "right", "rates": [200.0, 0.1 + 0.2]}),
    LinkNote("SYN-0001", 500, LinkState.STREAMING, "né à 日本", {"battery_percent": 88}),
    *(RawPacket(f"SYN-{k % 3}", 1000 + 7 * k, bytes([k]) * (20 + k)) for k in range(8)),
    Tick(2000),
    Command(3000, "note", {"text": "end"}),
)


def small_recording(path: Path) -> bytes:
    return write_items(path, ITEMS, title="small").read_bytes()


def damaged(whole: bytes, count: int, rng: np.random.Generator) -> Iterator[bytes]:
    """`count` files: cut at every byte first, then single bits flipped, then garbage of several kinds."""
    cuts = range(len(whole)) if count > 2 * len(whole) else rng.choice(len(whole), count // 3, replace=False)
    made = 0
    for cut in cuts:
        yield whole[: int(cut)]
        made += 1
    while made < count:
        kind = made % 4
        yield _bit(whole, rng) if kind < 2 else (_overwritten(whole, rng) if kind == 2 else _garbage(whole, rng))
        made += 1


def _bit(whole: bytes, rng: np.random.Generator) -> bytes:
    out = bytearray(whole)
    out[rng.integers(len(out))] ^= 1 << int(rng.integers(8))
    return bytes(out)


def _overwritten(whole: bytes, rng: np.random.Generator) -> bytes:
    """Random bytes, or zeros, over a stretch."""
    out = bytearray(whole)
    start, length = int(rng.integers(len(out))), int(rng.integers(1, 200))
    out[start : start + length] = rng.bytes(length) if rng.random() < 0.5 else bytes(length)
    return bytes(out)


def _garbage(whole: bytes, rng: np.random.Generator) -> bytes:
    """Nothing but random bytes, with or without a true beginning."""
    keep = int(rng.integers(len(whole))) if rng.random() < 0.7 else 0
    return whole[:keep] + rng.bytes(int(rng.integers(1, 2000)))


def verdict(path: Path, data: bytes, whole: bytes) -> str | None:
    """What the reader did wrong with this file; None when it did right."""
    path.write_bytes(data)
    try:
        recording = read_items(path)
        items = list(recording)
    except ImuFeedbackError as error:
        return None if str(error) and "\n" not in str(error) else "an error without clear words"
    except Exception as error:  # noqa: BLE001 - any other exception is what is looked for
        return f"{type(error).__name__}: {error}"
    rest = iter(ITEMS)
    if not all(any(same(item, other) for other in rest) for item in items):
        return "an item that was never written"
    if recording.complete and (len(items) < len(ITEMS) or recording.notes):
        return "called whole with items missing"
    if len(items) < len(ITEMS) and not recording.notes:
        return "nothing said of missing items"
    if _facts_differ(recording.details, whole, path):
        return "wrong facts shown as right"
    return None


def _facts_differ(details: object, whole: bytes, path: Path) -> bool:
    if not details:
        return False  # said to be damaged, which a note tells
    path.write_bytes(whole)
    return dict(read_items(path).details) != details
