"""Session after session in one window: nothing is left behind."""

from __future__ import annotations

import pytest

from imufeedback.measure.sets.windows import child


@pytest.mark.parametrize("count", [4, pytest.param(20, marks=pytest.mark.full)])
def test_nothing_is_left_of_the_sessions_before(count: int) -> None:
    found = child("sessions", count)
    for what in ("threads", "timers", "objects", "windows"):
        assert found[f"{what}_grown"] <= 0, what
    if count == 20:
        assert found["mb_per_session"] <= 2.0
