"""The set `speed` measures what it says."""

from __future__ import annotations

from pathlib import Path

import pytest

from imufeedback.errors import ImuFeedbackError
from imufeedback.measure import scaling
from imufeedback.measure.checks import Context
from imufeedback.measure.sets import speed
from imufeedback.synth.script import Script, make_script


@pytest.fixture(name="context")
def quick(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Context:
    def one_rep(*, reps: int, seed: int) -> Script:
        return make_script(reps=1, seed=seed)

    monkeypatch.setattr(speed, "make_script", one_rep)
    return Context(tmp_path, None, quick=True)


def test_analysis_is_compared_with_a_filter_alone_on_the_same_samples(context: Context) -> None:
    times, ratio, to_vqf, bad = speed.throughput(context)
    assert min(times.value, bad.value) > 1.0, "faster than the pace of life"
    row = context.rows[-1]
    assert ratio.value == pytest.approx(row["ours_s"] / row["madgwick_s"])
    assert to_vqf.value == pytest.approx(row["ours_s"] / row["vqf_s"])
    assert 0 < row["vqf_s"] < row["madgwick_s"], "one is compiled, the other is Python"


def test_cost_of_a_rep_in_a_library_is_a_ratio_of_two_sizes(context: Context, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(scaling, "REPS_OF_A_RECORDING", 5)
    (flat,) = speed.library(context)
    assert 0.2 < flat.value < 3.0
    assert "500 reps in the library against 50" in flat.check
    row = context.rows[-1]
    assert flat.value == pytest.approx(row["costs"][-1] / row["costs"][0] / 10)


def test_growth_is_a_line_and_a_row_for_each_kind_of_size(context: Context, monkeypatch: pytest.MonkeyPatch) -> None:
    def square(*arguments: object, **keywords: object) -> scaling.CostCurve:
        return scaling.CostCurve("size", "s", "s", (1.0, 2.0), (1.0, 4.0))

    for name in ("sensors", "rates", "lengths"):
        monkeypatch.setattr(scaling, name, square)
    lines = list(speed.growth(context))
    assert [line.value for line in lines] == pytest.approx([2.0] * 3)
    assert not any(line.ok for line in lines), "a cost that goes with the square does not hold"
    assert [row["trial"] for row in context.rows] == [scaling.TRIAL] * 3


def test_a_small_share_does_not_hold_when_little_is_painted(context: Context, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(speed, "child", lambda what, number: {"share": 0.2, "frames_per_s": 4.0})
    share, painted = speed.live_with_window(context)
    assert (share.value, share.ok) == (pytest.approx(20.0), True)
    assert not painted.ok


def test_a_recording_that_fails_fails_the_line(context: Context) -> None:
    broken = context.work / "broken.mcap"
    broken.write_bytes(b"nothing")
    with pytest.raises(ImuFeedbackError, match="not every recording"):
        speed._all([broken], 1)


def test_a_day_is_carried_on_from_two_sessions(context: Context, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(speed, "make_script", make_script)
    judged, peak = speed.day(context)
    row = context.rows[-1]
    assert row["seconds"][0] < row["seconds"][1]
    share = (speed.EIGHT_HOURS_S - row["seconds"][0]) / (row["seconds"][1] - row["seconds"][0])
    assert judged.value == pytest.approx(row["busy_s"][0] + share * (row["busy_s"][1] - row["busy_s"][0]))
    assert peak.value >= max(row["peaks_mb"]) > 30, "what it has by itself"
    assert not list(context.work.glob("*.mcap")), "a day is large"
