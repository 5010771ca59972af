"""Jumps in the times of files: taken, told, or refused in one line; never memory, never a traceback."""

from __future__ import annotations

import math
from collections.abc import Callable
from pathlib import Path

import numpy as np
import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from imufeedback.errors import BadFile
from imufeedback.pipeline import Pipeline
from imufeedback.record.csv_folder import EPOCH_S
from imufeedback.record.importer import Imported, import_folder
from imufeedback.record.replay import read_items
from imufeedback.records import AlignedBlock, Floats
from imufeedback.review.judging import JudgedRecording, judge
from imufeedback.timing.merge import EDGE_S

HZ, COUNT = 50.0, 300
NAMES = ("pelvis", "left_thigh", "right_thigh")
HEAD = "time_s,gyr_x_rad_s,gyr_y_rad_s,gyr_z_rad_s,acc_x_m_s2,acc_y_m_s2,acc_z_m_s2"
PLAIN = np.arange(COUNT) / HZ

Change = Callable[[Floats], Floats]
quick = settings(max_examples=25, deadline=None, suppress_health_check=[HealthCheck.function_scoped_fixture])


def folder(path: Path, times: dict[str, Floats]) -> Path:
    """Three sensors that stand, with noise."""
    path.mkdir(parents=True, exist_ok=True)
    rng = np.random.default_rng(4)
    for name in NAMES:
        t_s = times.get(name, PLAIN)
        samples = rng.normal((0, 0, 0, 0, 9.81, 0), 0.01, (len(t_s), 6))
        rows = [
            f"{t!r}," + ",".join(f"{cell:.5f}" for cell in row) for t, row in zip(t_s.tolist(), samples, strict=True)
        ]
        (path / f"{name}.csv").write_text("\n".join([HEAD, *rows]) + "\n", encoding="utf-8")
    return path


def alike(t_s: Floats) -> dict[str, Floats]:
    return dict.fromkeys(NAMES, t_s)


def imported(tmp: Path, times: dict[str, Floats]) -> tuple[Imported, JudgedRecording]:
    out = tmp / "out.mcap"
    out.unlink(missing_ok=True)
    made = import_folder(folder(tmp / "in", times), out)
    return made, judge(out)


@quick
@given(st.integers(1, COUNT - 1), st.floats(4.0, 9e9))
def test_a_gap_in_all_files_is_told_once_and_no_sample_is_lost(tmp_path: Path, at: int, gap_s: float) -> None:
    t_s = np.concatenate((PLAIN[:at], PLAIN[at:] + gap_s))
    made, judged = imported(tmp_path, alike(t_s))
    assert made.samples == 3 * COUNT
    totals = judged.summary.totals
    rejected = sum(one.rejected for one in judged.summary.sensors)
    assert totals.samples + rejected * 4 >= 3 * COUNT
    assert totals.lost == 0
    assert sum("nothing was recorded" in one for one in judged.told.notices) <= 1
    assert rejected or judged.told.gaps == 3


@quick
@given(st.floats(EPOCH_S + 1.0, 9e9))
def test_times_that_count_from_elsewhere_count_from_their_start(tmp_path: Path, begin_s: float) -> None:
    made, judged = imported(tmp_path, alike(PLAIN + begin_s))
    assert "counted from there" in made.notes[0]
    assert judged.duration_s == pytest.approx(PLAIN[-1], abs=1e-5)
    assert judged.summary.totals.samples == 3 * COUNT


@quick
@given(st.sampled_from(NAMES), st.floats(7.0, 9e9))
def test_files_of_other_times_are_refused_with_their_spans(tmp_path: Path, name: str, off_s: float) -> None:
    with pytest.raises(BadFile, match="do not overlap") as told:
        imported(tmp_path, {name: PLAIN + off_s})
    assert f"{name}.csv" in str(told.value)
    assert "pelvis.csv" in str(told.value)
    assert not (tmp_path / "out.mcap").exists()


@quick
@given(
    st.sampled_from(NAMES), st.integers(0, COUNT - 1), st.sampled_from([1e300, 1e10, math.nan, math.inf, -1.0, -1e300])
)
def test_a_time_that_is_none_is_refused_with_file_and_row(tmp_path: Path, name: str, at: int, wrong_s: float) -> None:
    t_s = PLAIN.copy()
    t_s[at] = wrong_s
    with pytest.raises(BadFile, match=rf"{name}\.csv, row \d+, column time_s") as told:
        imported(tmp_path, {name: t_s})
    assert str(told.value).count("\n") == 0


@quick
@given(st.sampled_from([1e-6, 1e-4, 1e3, 1e6, 1e9, 1e12]), st.lists(st.sampled_from(NAMES), min_size=1, unique=True))
def test_a_wrong_unit_of_time_is_named(tmp_path: Path, factor: float, names: list[str]) -> None:
    with pytest.raises(BadFile, match="time"):
        imported(tmp_path, dict.fromkeys(names, PLAIN * factor))


def test_windows_may_count_either_way(tmp_path: Path) -> None:
    begin_s = 1.7e9
    source = folder(tmp_path / "in", alike(PLAIN + begin_s))
    said = set()
    for off_s in (0.0, begin_s):
        with pytest.raises(BadFile) as told:  # nobody moves
            import_folder(source, tmp_path / "o.mcap", still_s=(off_s + 1, off_s + 3), flex_s=(off_s + 3, off_s + 5))
        said.add(str(told.value))
    assert len(said) == 1
    assert "no samples" not in said.pop()


def test_no_steps_are_made_across_a_break(tmp_path: Path) -> None:
    t_s = np.concatenate((PLAIN, PLAIN + 1e8))
    source, out = folder(tmp_path / "in", alike(t_s)), tmp_path / "out.mcap"
    import_folder(source, out)
    begin, *items = read_items(out)
    pipeline = Pipeline()
    pipeline.feed(begin)
    made: list[AlignedBlock] = []
    assert pipeline._rooms is not None
    worn = pipeline._rooms.worn.body
    body = worn.feed
    worn.feed = lambda one: (made.append(one), body(one))[1]  # type: ignore[method-assign, assignment]
    pipeline.feed_many(items)
    pipeline.finish()
    steps = np.concatenate([one.t_s for one in made])
    assert (np.diff(steps) > 0).all()
    assert 2 * COUNT <= len(steps) <= 2 * COUNT + 2 * EDGE_S * HZ + 2
    assert all(np.ptp(one.t_s) < 10.0 for one in made), "a block holds steps that follow each other"
