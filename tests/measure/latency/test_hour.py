"""The simulated hour, in short: three minutes."""

from __future__ import annotations

import math

import pytest

from imufeedback.measure.latency import hour as module
from imufeedback.measure.latency.hour import Hour, hour


@pytest.fixture(name="short", scope="module")
def three_minutes() -> Hour:
    return hour(2, quick=True, seconds=180.0)


def test_the_delay_does_not_grow(short):
    assert len(short.first_ms) > 40
    assert len(short.last_ms) > 40
    assert abs(short.growth_ms) < 5.0
    assert min(short.first_ms) > 10.0
    assert max(short.last_ms) < 60.0


def test_late_cues_are_dropped_and_counted(short):
    assert short.provoked > 5
    assert (short.expired, short.late) == (short.provoked, 0)


def test_h88_a_device_that_falls_behind_would_be_seen(monkeypatch):
    """The measure can fail: a mixer that keeps its backlog plays later and later."""
    real = module._Sound.play
    count = [0]

    def slower(self, now_ns, t_ns, *, late):
        count[0] += 1
        return None if (heard := real(self, now_ns, t_ns, late=late)) is None else heard + 1e-4 * count[0]

    monkeypatch.setattr(module._Sound, "play", slower)
    assert hour(2, quick=True, seconds=180.0).growth_ms > 4.0


def test_nothing_measured_is_no_number():
    assert math.isnan(Hour().growth_ms)
