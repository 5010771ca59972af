"""The set `people`: trials are read, scores are right, and errors are told apart from what is not shown."""

from __future__ import annotations

import json
from pathlib import Path

import numpy as np
import pytest

from imufeedback.errors import BadFile
from imufeedback.measure import people_table, persons, persons_methods
from imufeedback.measure.checks import Context, LeftOut
from imufeedback.measure.persons import MethodCurve, TrialFolder, score
from imufeedback.measure.sets import people
from imufeedback.records import Side

KEY = (Side.LEFT, "flexion")


def made(judged: tuple[tuple[float, float], ...] = ((0.0, 3.99), (5.0, 8.99))) -> TrialFolder:
    t_s = np.arange(0, 10, 0.01)
    reference = {KEY: 30 * np.sin(t_s)}
    return TrialFolder("made", Path("made"), (0, 1), (1, 2), judged, False, t_s, reference)


def all_of(trial: TrialFolder) -> np.ndarray:
    return np.ones(len(trial.t_s), dtype=bool)


def test_a_constant_offset_counts_for_the_error_and_not_once_the_mean_is_removed() -> None:
    trial = made()
    found = score(trial, KEY, MethodCurve(trial.reference_deg[KEY] + 4.0), all_of(trial))
    assert found.rmse == pytest.approx(4.0)
    assert found.centred == pytest.approx(0.0, abs=1e-9)
    assert found.r == pytest.approx(1.0)
    assert found.excursion == pytest.approx(1.0)
    assert found.ok_share == pytest.approx(1.0)
    assert found.within is None


def test_an_offset_of_each_repetition_is_removed_only_when_asked() -> None:
    trial = made()
    offset = np.where(trial.t_s < 4.5, 3.0, -3.0)
    curve = MethodCurve(trial.reference_deg[KEY] + offset)
    assert score(trial, KEY, curve, all_of(trial)).centred == pytest.approx(3.0, rel=0.01)
    assert score(trial, KEY, curve, all_of(trial), by_repetition=True).centred == pytest.approx(0.0, abs=1e-9)


def test_shares_within_the_bars_and_the_share_that_is_shown() -> None:
    trial = made(((0.0, 9.99),))
    wave = np.where(np.arange(1000) % 2, 3.0, -3.0)
    angle = trial.reference_deg[KEY] + wave
    angle[500:] = np.nan
    found = score(trial, KEY, MethodCurve(angle, np.full(1000, 2.0)), all_of(trial))
    assert found.within == (0.0, 1.0)
    assert found.ok_share == pytest.approx(0.5)


def test_a_range_that_is_half_is_half() -> None:
    trial = made(((0.0, 9.99),))
    assert score(trial, KEY, MethodCurve(0.5 * trial.reference_deg[KEY]), all_of(trial)).excursion == pytest.approx(0.5)


def test_an_angle_that_is_hardly_shown_has_no_score() -> None:
    trial = made()
    found = score(trial, KEY, MethodCurve(np.full(len(trial.t_s), np.nan)), all_of(trial))
    assert np.isnan(found.centred)
    assert found.ok_share == 0.0


def test_a_folder_without_a_reference_is_a_clear_error(tmp_path: Path) -> None:
    (tmp_path / "trial.json").write_text(json.dumps({"still_s": [0, 1], "flex_s": [1, 2], "judge_s": []}), "utf-8")
    with pytest.raises(BadFile, match="no trial can be read"):
        persons.trial(tmp_path)


def test_the_set_is_left_out_without_the_recordings(tmp_path: Path) -> None:
    with pytest.raises(LeftOut, match="--data"):
        list(people.angles(Context(tmp_path, None)))


def test_samples_are_taken_where_they_are_and_not_interpolated_over_gaps(data_folder: Path, tmp_path: Path) -> None:
    trial = persons.trial(data_folder / "people" / "DropLandDL")
    assert trial.gaps
    mine = persons_methods.own(trial, tmp_path)
    times = trial.t_s
    inside_gap = np.zeros(len(times), dtype=bool)
    for (_, end), (begin, _) in zip(trial.judged_s[:-1], trial.judged_s[1:], strict=True):
        inside_gap |= (times > end + 0.05) & (times < begin - 0.05)
    for curve in mine.curves.values():
        assert np.isnan(curve.angle_deg[inside_gap]).all()
    plain = persons_methods.plain(trial, mine.fit)
    assert plain.keys() >= mine.curves.keys()


def test_a_walking_person_has_rows_of_both_methods_and_a_table(data_folder: Path, tmp_path: Path) -> None:
    context = Context(tmp_path, data_folder, quick=True)
    lines = list(people.angles(context))
    json.dumps(context.rows, allow_nan=False)
    walk = [row for row in context.rows if row["trial"] == "optical_walk"]
    assert {row["method"] for row in walk} == {"imufeedback", "vqf"}
    flexion = next(row for row in walk if row["angle"] == "right hip flexion" and row["method"] == "imufeedback")
    assert flexion["rmse_centred_deg"] < 5.0
    assert flexion["r"] > 0.95
    assert any("no gaps" in line.check for line in lines)
    assert len(people_table.table(context.rows)) == len(context.rows) / 2
