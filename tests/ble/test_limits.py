"""Waiting that ends, also when what is waited for does not listen."""

from __future__ import annotations

import asyncio
import contextlib

import pytest

from imufeedback.ble.limits import end, within


async def _deaf(rounds: int) -> str:
    """Swallows so many cancellations."""
    for _ in range(rounds):
        with contextlib.suppress(asyncio.CancelledError):
            await asyncio.sleep(30)
    return "late"


def test_a_result_in_time_and_an_error_come_through() -> None:
    async def right() -> int:
        return 7

    async def wrong() -> int:
        raise KeyError("x")

    async def run() -> int:
        with pytest.raises(KeyError):
            await within(1.0, wrong())
        return await within(1.0, right())

    assert asyncio.run(run()) == 7


def test_a_wait_ends_although_the_work_swallows_its_cancellation(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr("imufeedback.ble.limits.GRACE_S", 0.01)

    async def run() -> float:
        loop = asyncio.get_running_loop()
        begun = loop.time()
        with pytest.raises(TimeoutError, match=r"0\.01 s"):
            await within(0.01, _deaf(3))
        passed = loop.time() - begun
        for task in asyncio.all_tasks() - {asyncio.current_task()}:
            await end([task], 1.0)
        return passed

    assert asyncio.run(run()) < 1.0


def test_end_cancels_again_and_again() -> None:
    async def run() -> None:
        task: asyncio.Task[None] = asyncio.create_task(_deaf(2))  # type: ignore[arg-type]
        await asyncio.sleep(0)
        await end([task], 0.5)
        assert task.done()

    asyncio.run(run())


def test_cancelling_the_wait_cancels_the_work() -> None:
    async def run() -> bool:
        ended = asyncio.Event()

        async def work() -> None:
            try:
                await asyncio.sleep(30)
            finally:
                ended.set()

        waiter = asyncio.create_task(within(30, work()))
        await asyncio.sleep(0.001)
        waiter.cancel()
        with pytest.raises(asyncio.CancelledError):
            await waiter
        return ended.is_set()

    assert asyncio.run(run())
