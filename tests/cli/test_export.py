"""``export`` and back again; other libraries read what was written."""

from __future__ import annotations

import csv
import json
from pathlib import Path

import numpy as np
import pytest

from imufeedback.commands import settings_of
from imufeedback.document import Document
from imufeedback.pipeline import Pipeline
from imufeedback.record.csv_folder import read_folder
from imufeedback.record.exports import ExportSource, available, writer
from imufeedback.record.replay import read_items
from imufeedback.record.samples import samples
from imufeedback.records import Command, Fitted, Flag, Hand


def export(imufeedback, recording: Path, name: str, out: Path, *more: object) -> Path:
    done = imufeedback("export", recording, "--format", name, "--out", out, *more)
    assert done.status == 0, done.err
    return out


def table(path: Path) -> dict[str, list[float]]:
    with open(path, encoding="utf-8", newline="") as file:
        rows = list(csv.DictReader(file))
    return {name: [float(row[name] or "nan") for row in rows] for name in rows[0]}


@pytest.fixture(name="angles", scope="module")
def the_angles(recording, tmp_path_factory) -> dict[str, list[float]]:
    """What `analyse --angles` writes: angles straight from the pipeline."""
    from imufeedback.record.table import write_angles
    from imufeedback.records import Angles

    pipeline = Pipeline()
    blocks = [e for item in read_items(recording) for e in pipeline.feed(item) if isinstance(e, Angles)]
    blocks += [e for e in pipeline.finish() if isinstance(e, Angles)]
    path = tmp_path_factory.mktemp("angles") / "a.csv"
    write_angles(path, blocks)
    return table(path)


def test_every_format_is_there():
    assert {"csv", "reps", "parquet", "c3d", "raw"} <= set(available())


def test_csv_has_the_angles_and_their_error_bars(imufeedback, recording, tmp_path, angles):
    found = table(export(imufeedback, recording, "csv", tmp_path / "a.csv"))
    assert found.keys() >= angles.keys()
    for name, values in angles.items():
        assert np.allclose(found[name], values, atol=2e-4, equal_nan=True), name
        if name != "time_s":
            sd = np.array(found[f"{name.removesuffix('_deg')}_sd_deg"])
            assert np.nanmin(sd) > 0, name


def test_csv_of_a_stretch(imufeedback, recording, tmp_path):
    found = table(export(imufeedback, recording, "csv", tmp_path / "a.csv", "--from", 20, "--to", 21))
    assert 20 <= min(found["time_s"]) <= max(found["time_s"]) <= 21


def test_a_row_a_rep(imufeedback, recording, tmp_path):
    with open(export(imufeedback, recording, "reps", tmp_path / "a.csv"), encoding="utf-8", newline="") as file:
        rows = list(csv.DictReader(file))
    document = tmp_path / "a.json"
    imufeedback("analyse", recording, "--json", document)
    reps = json.loads(document.read_text(encoding="utf-8"))["reps"]
    assert len(rows) == len(reps) == 1
    assert {name: float(rows[0][name]) for name in reps[0]["features"]} == reps[0]["features"]
    assert float(rows[0]["position_top_s"]) == reps[0]["positions"]["top_s"]


def test_parquet_read_by_its_own_library(imufeedback, recording, tmp_path, angles):
    parquet = pytest.importorskip("pyarrow.parquet")
    found = parquet.read_table(export(imufeedback, recording, "parquet", tmp_path / "a.parquet"))
    assert found.schema.field("left_hip_flexion_deg").metadata == {b"unit": b"deg"}
    assert found.schema.metadata[b"title"] == b"one rep"
    for name, values in angles.items():
        assert np.allclose(found.column(name).to_numpy(), values, atol=2e-4, equal_nan=True), name


@pytest.mark.filterwarnings("ignore:No analog data")
def test_c3d_read_by_another_library(imufeedback, recording, tmp_path, angles):
    c3d = pytest.importorskip("c3d")
    pytest.importorskip("ezc3d")
    with open(export(imufeedback, recording, "c3d", tmp_path / "a.c3d"), "rb") as file:
        reader = c3d.Reader(file)
        frames = np.array([points[:, :4] for _, points, _ in reader.read_frames()])
        labels = [one.strip() for one in reader.point_labels]
        events = reader.get("EVENT:TIMES").float_array
    assert labels[:3] == ["pelvis_angle", "left_hip_angle", "right_hip_angle"]
    assert reader.point_rate == 200
    at = np.rint((np.array(angles["time_s"]) - angles["time_s"][0]) * 200).astype(int)
    own = np.column_stack([angles[f"right_hip_{one}_deg"] for one in ("flexion", "adduction", "internal_rotation")])
    known = np.isfinite(own).all(axis=1)
    assert np.allclose(frames[at[known], 2, :3], own[known], atol=1e-3)
    missing = np.setdiff1d(np.arange(len(frames)), at[known])
    assert (frames[missing, 2, 3] == -1).all()
    assert events.size >= 8, "minutes and seconds of at least four marks"


class Walked:
    """A trace of five samples with a knee, at 100 Hz; one knee angle is not known."""

    columns = (
        "pelvis_turn_deg", "pelvis_side_tilt_deg", "pelvis_forward_tilt_deg", "left_knee_flexion_deg",
    )  # fmt: skip
    t_s = np.arange(5) / 100.0
    knee_deg = np.array([10.0, 12.5, np.nan, 17.5, 20.0])

    def stretch(self, from_s: float, to_s: float) -> Walked:
        return self

    def angle(self, name: str) -> np.ndarray:
        return self.knee_deg if "knee" in name else np.zeros(5)


def test_c3d_invents_no_angle_of_a_knee(tmp_path):
    ezc3d = pytest.importorskip("ezc3d")
    source = ExportSource(tmp_path / "a.mcap", Walked(), Document(version="1", reps=[]), 100.0)  # type: ignore[arg-type]
    said = writer("c3d")(source, tmp_path / "a.c3d")
    found = ezc3d.c3d(str(tmp_path / "a.c3d"))
    assert "left_knee_flexion" in said
    assert found["parameters"]["POINT"]["LABELS"]["value"] == ["pelvis_angle"]
    assert found["parameters"]["ANALOG"]["LABELS"]["value"] == ["left_knee_flexion"]
    assert found["parameters"]["ANALOG"]["RATE"]["value"] == [100.0]
    assert np.allclose(found["data"]["analogs"][0, 0], Walked.knee_deg, equal_nan=True)


def test_c3d_that_is_too_long_says_what_to_do(imufeedback, recording, tmp_path, monkeypatch):
    pytest.importorskip("ezc3d")
    monkeypatch.setattr("imufeedback.record.exports.c3d.FRAMES_MAX", 100)
    done = imufeedback("export", recording, "--format", "c3d", "--out", tmp_path / "a.c3d")
    assert "--from" in done.error
    assert not (tmp_path / "a.c3d").exists()


def test_raw_and_back_to_the_last_digit(imufeedback, recording, tmp_path):
    folder = export(imufeedback, recording, "raw", tmp_path / "raw")
    done = imufeedback("import", folder, "--out", tmp_path / "back.mcap")
    assert done.status == 0, done.err
    items = iter(read_items(recording))
    begin = next(items)
    assert isinstance(begin, Command)
    settings = settings_of(begin)
    series = read_folder(folder)
    decoded = list(samples(begin, settings, list(read_items(recording))))
    for sensor in settings.sensors:
        blocks = [one for one in decoded if one.sensor == sensor.id]
        good = np.concatenate([one.flags & Flag.INVALID for one in blocks]) == 0
        found = series[sensor.role]
        assert np.array_equal(found.gyr_rad_s[good], np.concatenate([one.gyr_rad_s for one in blocks])[good])
        assert np.array_equal(found.acc_m_s2[good], np.concatenate([one.acc_m_s2 for one in blocks])[good])
        shift = np.round(found.t_s - np.concatenate([one.t_s for one in blocks]), 8)
        assert len(set(shift.tolist())) == 1
    again = export(imufeedback, tmp_path / "back.mcap", "raw", tmp_path / "again")
    now, then = read_folder(again), read_folder(folder)
    assert all(np.array_equal(now[k].gyr_rad_s, then[k].gyr_rad_s, equal_nan=True) for k in then)


def test_raw_brings_player_calibration_and_title_back(imufeedback, recording, tmp_path):
    folder = export(imufeedback, recording, "raw", tmp_path / "raw")
    imufeedback("import", folder, "--out", tmp_path / "back.mcap", "--handed", "left")
    back = read_items(tmp_path / "back.mcap")
    assert back.title == "one rep"
    assert back.started == read_items(recording).started
    items = list(back)
    assert isinstance(items[0], Command)
    assert settings_of(items[0]).player.hand is Hand.LEFT
    pipeline = Pipeline()
    assert any(isinstance(e, Fitted) for item in items[:2] for e in pipeline.feed(item))


@pytest.mark.parametrize("text", ["{", "[]", '{"imufeedback_session": 9}', '{"fit": {"method": "x"}}'])
def test_a_bad_session_file_is_told(imufeedback, folder, tmp_path, text):
    (folder / "session.json").write_text(text, encoding="utf-8")
    done = imufeedback("import", folder, "--out", tmp_path / "a.mcap")
    assert done.status == 1
    assert "session.json" in done.error


def test_h106_an_export_that_breaks_leaves_nothing(imufeedback, recording, tmp_path, monkeypatch):
    def fail(*_: object) -> int:
        raise OSError(28, "No space left on device")

    monkeypatch.setattr("os.fsync", fail)
    for name in ("csv", "raw", "parquet"):
        assert imufeedback("export", recording, "--format", name, "--out", tmp_path / "x").status == 1
    assert list(tmp_path.iterdir()) == []


def test_an_unknown_format_is_wrong_usage(imufeedback, recording, tmp_path):
    done = imufeedback("export", recording, "--format", "xls", "--out", tmp_path / "x")
    assert done.status == 2
    assert "csv" in done.error
