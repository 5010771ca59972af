"""The clock that is moved by hand."""

from __future__ import annotations

import asyncio

from imufeedback.ble.clock import ManualClock, MonotonicClock


def test_sleepers_wake_in_the_order_of_their_ends() -> None:
    async def run() -> list[str]:
        clock = ManualClock(5)
        woken: list[str] = []

        async def sleeper(name: str, seconds: float) -> None:
            await clock.sleep(seconds)
            woken.append(f"{name} {clock.now_ns()}")

        tasks = [asyncio.create_task(sleeper(name, s)) for name, s in (("late", 0.3), ("soon", 0.1), ("none", 0.0))]
        await asyncio.sleep(0)
        await asyncio.sleep(0)
        clock.advance(0.05)
        await asyncio.sleep(0)
        assert woken == ["none 5"]
        clock.advance(1.0)
        await asyncio.gather(*tasks)
        return woken

    assert asyncio.run(run()) == ["none 5", "soon 1050000005", "late 1050000005"]


def test_time_never_goes_back() -> None:
    clock = ManualClock(100)
    clock.set_ns(50)
    assert clock.now_ns() == 100
    system = MonotonicClock()
    assert system.now_ns() <= system.now_ns()
