"""The set `speed` measures what it says."""

from __future__ import annotations

from pathlib import Path

import pytest

from imufeedback.errors import ImuFeedbackError
from imufeedback.synth.script import Script, make_script
from imufeedback.validate.checks import Context
from imufeedback.validate.sets import speed


@pytest.fixture(name="context")
def quick(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Context:
    def one_rep(*, reps: int, seed: int) -> Script:
        return make_script(reps=1, seed=seed)

    monkeypatch.setattr(speed, "make_script", one_rep)
    return Context(tmp_path, None, quick=True)


def test_analysis_is_compared_with_a_filter_alone_on_the_same_samples(context: Context) -> None:
    times, ratio = speed.throughput(context)
    assert times.value > 1.0, "faster than the pace of life"
    row = context.rows[-1]
    assert ratio.value == pytest.approx(row["ours_s"] / row["madgwick_s"])


def test_cost_of_a_rep_in_a_library_is_a_ratio_of_two_sizes(context: Context) -> None:
    (flat,) = speed.library(context)
    assert 0.2 < flat.value < 3.0


def test_a_recording_that_fails_fails_the_line(context: Context) -> None:
    broken = context.work / "broken.mcap"
    broken.write_bytes(b"nothing")
    with pytest.raises(ImuFeedbackError, match="not every recording"):
        speed._all([broken], 1)
