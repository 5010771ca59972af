"""The table of angles: columns, empty cells, decimal dot, no half files."""

from __future__ import annotations

import csv
import locale
import os
from pathlib import Path

import numpy as np
import pytest

from imufeedback.errors import CannotWrite
from imufeedback.record.files import whole_file
from imufeedback.record.table import columns, write_angles
from imufeedback.records import Angles, JointAngles, PelvisAngles, Side, frozen


def angles(start_s: float, joints: tuple[tuple[str, Side], ...], count: int = 3) -> Angles:
    t_s = frozen(start_s + 0.005 * np.arange(count))
    zero, yes = frozen(np.zeros((count, 3))), frozen(np.ones((count, 3)), np.bool_)
    value = frozen(np.radians(np.arange(3 * count).reshape(count, 3) + 0.125))
    pelvis = PelvisAngles(t_s, value, zero, zero, yes)
    made = (JointAngles(joint, side, t_s, value + np.radians(10), zero, zero, yes) for joint, side in joints)
    return Angles(t_s, pelvis, tuple(made))


HIPS = (("hip", Side.RIGHT), ("hip", Side.LEFT))
KNEES = (("knee", Side.LEFT), ("knee", Side.RIGHT))


def read(path: Path) -> list[dict[str, str]]:
    with open(path, newline="", encoding="utf-8") as file:
        return list(csv.DictReader(file))


def test_columns_are_those_of_the_command_line(tmp_path):
    path = tmp_path / "a.csv"
    assert write_angles(path, [angles(1.0, HIPS + KNEES)]) == 3
    assert path.read_text().splitlines()[0] == (
        "time_s,pelvis_turn_deg,pelvis_side_tilt_deg,pelvis_forward_tilt_deg,"
        "left_hip_flexion_deg,left_hip_adduction_deg,left_hip_internal_rotation_deg,"
        "right_hip_flexion_deg,right_hip_adduction_deg,right_hip_internal_rotation_deg,"
        "left_knee_flexion_deg,right_knee_flexion_deg"
    )


def test_values_are_degrees(tmp_path):
    write_angles(tmp_path / "a.csv", [angles(1.0, HIPS), angles(1.015, HIPS)])
    rows = read(tmp_path / "a.csv")
    assert [row["time_s"] for row in rows] == [f"{1 + 0.005 * k:.6f}" for k in range(6)]
    assert rows[1]["pelvis_turn_deg"] == "3.1250"
    assert rows[1]["right_hip_internal_rotation_deg"] == "15.1250"


def test_a_joint_that_comes_later_has_its_column_from_the_start(tmp_path):
    write_angles(tmp_path / "a.csv", [angles(1.0, HIPS), angles(1.015, HIPS + KNEES)])
    cells = [row["left_knee_flexion_deg"] for row in read(tmp_path / "a.csv")]
    assert cells == ["", "", "", "10.1250", "13.1250", "16.1250"]


def test_unknown_angles_are_empty_cells(tmp_path):
    one = angles(1.0, HIPS)
    value = one.pelvis.angle_rad.copy()
    value[0, 1] = np.nan
    pelvis = PelvisAngles(one.t_s, value, value, value, frozen(np.tile([[1], [0], [1]], 3), np.bool_))
    write_angles(tmp_path / "a.csv", [Angles(one.t_s, pelvis, one.joints)])
    rows = read(tmp_path / "a.csv")
    names = ("pelvis_turn_deg", "pelvis_side_tilt_deg")
    assert [[row[name] for name in names] for row in rows] == [["0.1250", ""], ["", ""], ["6.1250", "7.1250"]]
    assert rows[1]["left_hip_flexion_deg"] == "13.1250"


def test_h38_epoch_times_keep_their_steps(tmp_path):
    write_angles(tmp_path / "a.csv", [angles(1_760_000_000.0, (), 200)])
    times = np.array([float(row["time_s"]) for row in read(tmp_path / "a.csv")])
    np.testing.assert_allclose(np.diff(times), 0.005, atol=1.5e-6)


def comma_locale() -> str | None:
    """A locale of this machine with a decimal comma."""
    before = locale.setlocale(locale.LC_NUMERIC)
    try:
        for name in ("de_DE.UTF-8", "pl_PL.UTF-8", "fr_FR.UTF-8", "de_DE.utf8", "German"):
            try:
                locale.setlocale(locale.LC_NUMERIC, name)
            except locale.Error:
                continue
            if locale.localeconv()["decimal_point"] == ",":
                return name
    finally:
        locale.setlocale(locale.LC_NUMERIC, before)
    return None


@pytest.mark.parametrize("where", ["C", "comma"])
def test_h115_always_a_decimal_dot(tmp_path, where):
    name = "C" if where == "C" else comma_locale()
    if name is None:
        pytest.skip("no locale with a decimal comma is installed here")
    before = locale.setlocale(locale.LC_NUMERIC)
    locale.setlocale(locale.LC_NUMERIC, name)
    try:
        write_angles(tmp_path / "a.csv", [angles(1.5, HIPS)])
    finally:
        locale.setlocale(locale.LC_NUMERIC, before)
    second = (tmp_path / "a.csv").read_text().splitlines()[1]
    assert second.startswith("1.500000,0.1250,1.1250,")
    assert len(second.split(",")) == len(columns([angles(1.5, HIPS)]))


def test_an_existing_file_is_not_overwritten_unless_told(tmp_path):
    path = tmp_path / "a.csv"
    path.write_text("mine")
    with pytest.raises(CannotWrite, match="already there"):
        write_angles(path, [angles(1.0, HIPS)])
    assert path.read_text() == "mine"
    write_angles(path, [angles(1.0, HIPS)], overwrite=True)
    assert path.read_text().startswith("time_s")


def test_h106_an_export_that_breaks_leaves_nothing_half_written(tmp_path):
    good = angles(1.0, HIPS)
    torn = PelvisAngles(good.t_s, good.pelvis.angle_rad[:2], good.pelvis.rate_rad_s, good.pelvis.sd_rad, good.pelvis.ok)
    with pytest.raises(ValueError):
        write_angles(tmp_path / "a.csv", [good, Angles(good.t_s, torn, good.joints)])
    assert list(tmp_path.iterdir()) == []


def test_somebody_else_was_faster(tmp_path):
    path = tmp_path / "a.csv"

    def both() -> None:
        with whole_file(path) as file:
            file.write("ours")
            path.write_text("theirs")

    with pytest.raises(CannotWrite, match="already there"):
        both()
    assert path.read_text() == "theirs"
    assert list(tmp_path.iterdir()) == [path]


def test_a_folder_that_is_not_there(tmp_path):
    with pytest.raises(CannotWrite, match="No such file"):
        write_angles(tmp_path / "none" / "a.csv", [angles(1.0, HIPS)])


def test_a_folder_that_is_a_file(tmp_path):
    (tmp_path / "file").write_text("x")
    with pytest.raises(CannotWrite, match=r"Not a directory.*another folder"):
        write_angles(tmp_path / "file" / "a.csv", [angles(1.0, HIPS)])


@pytest.mark.skipif(os.name != "posix" or os.geteuid() == 0, reason="needs a user whom file modes bind")
def test_a_folder_that_does_not_allow_it(tmp_path):
    tmp_path.chmod(0o500)
    try:
        with pytest.raises(CannotWrite, match="denied"):
            write_angles(tmp_path / "a.csv", [angles(1.0, HIPS)])
    finally:
        tmp_path.chmod(0o700)


def test_no_angles_gives_a_header_only(tmp_path):
    assert write_angles(tmp_path / "a.csv", []) == 0
    assert len((tmp_path / "a.csv").read_text().splitlines()) == 1
