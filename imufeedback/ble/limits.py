"""How long things may take, and waiting that keeps to it."""

from __future__ import annotations

import asyncio
from collections.abc import Coroutine, Sequence
from dataclasses import dataclass
from typing import Any, TypeVar

T = TypeVar("T")

GRACE_S = 0.5
"""What is given up has this long to clean up after itself."""


@dataclass(frozen=True, slots=True)
class TimeLimits:
    """How long things may take, in seconds. Chosen, no source, where none is given."""

    connect_s: float = 8.0
    reconnect_s: float = 3.0
    """The first attempt to come back; every further one may take a second longer, up to `connect_s`. Adapters take one
    attempt at a time, so a sensor that is gone must not stand in the way of one that is back."""
    request_s: float = 5.0
    """One read, write or subscription. (The protocol's own limit is 30 s: far too long to stand and wait.)"""
    close_s: float = 2.0
    """For what is asked of a sensor before it is let go of, and for one that was only connected for a moment."""
    disconnect_s: float = 3.0
    """For the system to end a link. BlueZ waits 2 s before it really does (``DISCONNECT_TIMER``, src/device.c), so that
    a new attempt within that time meets a link that is half closed."""
    look_s: float = 2.0
    """For finding a sensor anew that does not answer where it was."""
    silence_s: float = 0.8
    """Without data for longer the link counts as dead: with the watch's step this is noticed within 1 s."""
    watch_s: float = 0.1
    backoff_s: tuple[float, ...] = (0.25, 0.5, 1.0, 2.0, 2.0, 2.0, 4.0, 8.0)
    """Pauses between attempts; the last one repeats. For the first ten seconds none is longer than 2 s: after an
    outage of
    5 s the link must be back within 3 s."""
    adapter_s: float = 1.0
    """The pause while Bluetooth itself is away: asking whether it is back costs no sensor anything."""
    advise_after: int = 3
    """Failed attempts in a row after which a person is told what to try."""
    busy_s: float = 0.5
    """When this program itself was so much late, packets wait inside it: nothing is wrong with the link."""
    catch_up_s: float = 0.3
    """So long after that they must have come; a sensor that has sent none is silent. Chosen: a packet comes every
    20 ms, and a system hands over in one go what has waited."""
    vitals_s: float = 60.0
    """Battery and temperature are read anew after so long: a level without an age is worth nothing."""
    first_tries: int = 3
    """Attempts at the first connection, before a person is told that it failed. Later ones go on until closed."""


async def within(seconds: float, work: Coroutine[Any, Any, T]) -> T:
    """The work's result, or TimeoutError after `seconds`.

    Below bleak are layers that at times swallow a cancellation, so the work is a task of its own that can be left
    behind: the wait ends in any case.
    """
    task = asyncio.ensure_future(work)
    try:
        await asyncio.wait({task}, timeout=seconds)
    except asyncio.CancelledError:
        await _give_up(task)
        raise
    if not task.done():
        await _give_up(task)
    if not task.done() or task.cancelled():
        raise TimeoutError(f"no answer within {seconds:g} s")
    return task.result()


_left: set[asyncio.Task[Any]] = set()
"""Nobody else holds what was left behind: it would be told as destroyed, in the words of the library."""


async def _give_up(task: asyncio.Task[Any]) -> None:
    task.add_done_callback(_retrieve)
    task.cancel()
    await asyncio.wait({task}, timeout=GRACE_S)
    if not task.done():
        _left.add(task)
        task.add_done_callback(_left.discard)


def _retrieve(task: asyncio.Task[Any]) -> None:
    """Take the outcome of work that nobody waits for any more, so that it is not reported as forgotten."""
    if not task.cancelled():
        task.exception()


async def end(tasks: Sequence[asyncio.Task[None]], seconds: float) -> None:
    """Cancel the tasks until they end, for about so long."""
    pending = {task for task in tasks if not task.done()}
    rounds = 5
    for _ in range(rounds):
        if not pending:
            return
        for task in pending:
            task.cancel()
        _, pending = await asyncio.wait(pending, timeout=seconds / rounds)
