"""The order in which many packets of one sensor are handed on, where two of them came in each other's place or one came
again: what `Decoder.feed` does with such, told from numbers, times and bytes.
"""

from __future__ import annotations

from collections.abc import Sequence
from typing import NamedTuple

from imufeedback.packets.order import HOLD_NS, NEWBORN, RECENT, REPEAT_NS

NEAR = 8
"""Packets behind the first one within which a repeat is looked for; fewer than are remembered."""
NUMBERS_LEAST = 2 * RECENT
"""Shorter packet numbers come round within what is remembered: nothing is arranged."""


class Arranged(NamedTuple):
    """Packets are named by the order in which they came."""

    handed_on: list[int]
    """Packets in the order in which they are handed on, without repeats."""
    repeats: dict[int, int]
    """Packets that say again what an earlier one said, and which one."""
    early: set[int]
    """Those that came just before the one before them."""


def arranged(
    numbers: Sequence[int],
    odd: Sequence[int],
    host_ns: Sequence[int],
    payloads: Sequence[bytes],
    places: Sequence[int],
) -> Arranged:
    """Of packets with these numbers; `odd` ones do not follow the one before. `places` among all items: between two
    that are not neighbours time has passed, by which a wait may have ended."""
    handed_on, repeats, early = list(range(len(numbers))), {}, set()
    for k in odd:
        of = _repeated(k, numbers, payloads)
        of = None if of is None else repeats.get(of, of)
        if of is not None and k - of <= NEAR and host_ns[k] - host_ns[of] < REPEAT_NS:
            repeats[k] = of
            continue
        waited = k - 1 not in repeats and k - 2 not in early and numbers[k] == numbers[k - 1] - 1 >= NEWBORN
        if waited and places[k] == places[k - 1] + 1 and host_ns[k] - host_ns[k - 1] < HOLD_NS:
            handed_on[k - 1], handed_on[k] = k, k - 1
            early.add(k - 1)
    if repeats:
        handed_on = [k for k in handed_on if k not in repeats]
    return Arranged(handed_on, repeats, early)


def _repeated(k: int, numbers: Sequence[int], payloads: Sequence[bytes]) -> int | None:
    """The packet near before this one that it repeats."""
    for one in range(k - 1, max(k - NEAR, 0) - 1, -1):
        if numbers[one] == numbers[k]:
            return one if payloads[one] == payloads[k] else None
    return None
