"""Some seconds of a long day, with the threads of a real session: whole, leaking and losing, and ending early."""

from __future__ import annotations

from collections.abc import Callable
from pathlib import Path

import numpy as np
import pytest
from pytestqt.qtbot import QtBot

from imufeedback.audio import BUFFER_MS, RATE_HZ, CuePlayer, rendered
from imufeedback.errors import ImuFeedbackError
from imufeedback.measure.endurance.day import LongDay
from imufeedback.measure.endurance.day_clock import DEVICE_PPM, DayClock, PulledDevice
from imufeedback.measure.endurance.lines import DAY_S, growth_mb, lines
from imufeedback.measure.endurance.rig import Rig
from imufeedback.records import Event, Item, Link, RawPacket
from imufeedback.synth.script import make_script

SECONDS = 10.0


@pytest.fixture(name="make_rig")
def rigs(tmp_path: Path, qtbot: QtBot) -> Callable[..., Rig]:
    def make(also: Callable[[list[Event]], None] = lambda events: None) -> Rig:
        rig = Rig(LongDay(SECONDS, 1, make_script(reps=1, seed=1)), tmp_path, also=also)
        qtbot.addWidget(rig.window, before_close_func=lambda window: setattr(window, "_gone", True))
        return rig

    return make


def growth(found: dict[str, object]) -> float:
    samples = found["samples"]
    assert isinstance(samples, dict)
    return growth_mb({name: np.array(column, float) for name, column in samples.items()})


def test_it_records_and_paints_all_that_comes_and_judges_it_again(make_rig: Callable[..., Rig]) -> None:
    found = make_rig().run()
    assert found["packets"] > 120 * SECONDS
    assert found["not_recorded"] == 0
    assert found["items_read"] == found["items"]
    assert found["complete"]
    assert found["same_events"]
    assert found["faults"] == []
    assert found["frames"] >= 2 * SECONDS - 1
    assert found["events"]["Link"] == 6
    assert found["samples"]["t_s"][-1] == pytest.approx(SECONDS)
    assert found["samples"]["engine_peak"][-1] >= 3


def test_an_injected_leak_and_a_lost_packet_fail_their_lines(make_rig: Callable[..., Rig]) -> None:
    kept: list[bytearray] = []

    def leak(events: list[Event]) -> None:
        kept.extend(bytearray(b"x" * 2_000_000) for _ in events)

    rig = make_rig(leak)
    write, seen = rig.journal.write, [0]

    def lose_one(item: Item) -> None:
        seen[0] += isinstance(item, RawPacket)
        if not (isinstance(item, RawPacket) and seen[0] == 100):
            write(item)

    rig.journal.write = lose_one  # type: ignore[method-assign]
    found = rig.run()
    assert found["not_recorded"] == 1
    failed = [line.check for line in lines(found) if not line.ok]
    for part in ("memory growth", "lost or changed", "cannot be read back"):
        assert any(part in one for one in failed), part
    leaked_mb = 2.0 * sum(count for count in found["events"].values())
    assert growth(found) > 0.2 * leaked_mb * DAY_S / SECONDS


def test_a_session_that_ends_early_is_an_error_and_not_a_short_day(make_rig: Callable[..., Rig]) -> None:
    def fail(events: list[Event]) -> None:
        if any(isinstance(one, Link) for one in events):
            raise ValueError("out of order")

    with pytest.raises(ImuFeedbackError, match="out of order"):
        make_rig(fail).run()


def test_the_device_asks_in_its_own_time() -> None:
    clock = DayClock()
    device = PulledDevice(clock)
    player = CuePlayer(rendered(), clock.now_ns, lambda: device)
    device.play_until(round(100e9))
    due = 100.0 * 1e3 / (BUFFER_MS * (1 + DEVICE_PPM * 1e-6))
    assert device.calls == pytest.approx(due, abs=1)
    player.play("ready", clock.now_ns() + 50_000_000, tag=7)
    device.play_until(clock.now_ns() + round(2 * BUFFER_MS * 1e6))
    (started,) = player.started()
    assert started.request.tag == 7
    assert player.totals.underruns == 0
    assert RATE_HZ * BUFFER_MS % 1000 == 0
