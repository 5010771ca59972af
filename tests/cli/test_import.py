"""``import``: what is wrong with the files is one line with file, row and what to try, and leaves nothing behind."""

from __future__ import annotations

from collections.abc import Callable
from pathlib import Path

import pytest
from commands import Commands

from imufeedback.commands import settings_of
from imufeedback.packets import parse_layout
from imufeedback.record.csv_folder import read_folder
from imufeedback.record.importer import LAYOUT
from imufeedback.record.replay import read_items
from imufeedback.records import Command, RawPacket

PELVIS = "pelvis.csv"


def edit(name: str, change: Callable[[str], str]) -> Callable[[Path], None]:
    def apply(folder: Path) -> None:
        path = folder / name
        path.write_text(change(path.read_text(encoding="utf-8")), encoding="utf-8")

    return apply


def swap_rows(text: str) -> str:
    rows = text.splitlines()
    rows[10], rows[11] = rows[11], rows[10]
    return "\n".join(rows) + "\n"


BAD: dict[str, tuple[Callable[[Path], None], list[str]]] = {
    "missing column": (edit(PELVIS, lambda t: t.replace("gyr_y_rad_s", "spin", 1)), [PELVIS, "gyr_y", "row 1"]),
    "other units": (edit(PELVIS, lambda t: t.replace("acc_z_m_s2", "acc_z_mg", 1)), [PELVIS, "'mg'", "acc_z_m_s2"]),
    "no number": (edit(PELVIS, lambda t: t.replace("9.81", "heavy", 1)), [PELVIS, "row 2", "heavy"]),
    "empty": (edit(PELVIS, lambda t: ""), [PELVIS, "empty"]),
    "header only": (edit(PELVIS, lambda t: t.splitlines()[0] + "\n"), [PELVIS, "no samples"]),
    "time going back": (edit(PELVIS, swap_rows), [PELVIS, "row 12", "goes back"]),
    "time is no number": (edit(PELVIS, lambda t: t.replace("\n0.05,", "\nnan,", 1)), [PELVIS, "row 7", "time"]),
    "segment missing": (lambda folder: (folder / "left_thigh.csv").unlink(), ["left_thigh.csv is missing"]),
    "unknown segment": (
        lambda folder: (folder / "left_elbow.csv").write_text("x", encoding="utf-8") and None,
        ["left_elbow", "no segment", "left_thigh.csv"],
    ),
    "no text": (lambda folder: (folder / PELVIS).write_bytes(b"\xff\xfe\x00\x01") and None, [PELVIS, "UTF-8"]),
    "one sample": (
        lambda folder: (
            [edit(one.name, lambda t: "\n".join(t.splitlines()[:2]))(folder) for one in folder.iterdir()] and None
        ),
        ["only one sample"],
    ),
}


@pytest.mark.parametrize("case", BAD)
def test_a_bad_folder(imufeedback: Commands, folder: Path, tmp_path: Path, case: str) -> None:
    spoil, words = BAD[case]
    spoil(folder)
    ended = imufeedback("import", folder, "--out", tmp_path / "out.mcap")
    assert ended.status == 1
    for word in words:
        assert word in ended.error
    assert " – " in ended.error, "an error says what to try"
    assert ended.err.count("\n") == 1
    assert not (tmp_path / "out.mcap").exists()


@pytest.mark.parametrize(("source", "says"), [("nowhere", "no such folder"), ("a.txt", "no folder")])
def test_no_folder(imufeedback: Commands, tmp_path: Path, source: str, says: str) -> None:
    (tmp_path / "a.txt").write_text("text", encoding="utf-8")
    ended = imufeedback("import", tmp_path / source, "--out", tmp_path / "out.mcap")
    assert ended.status == 1
    assert says in ended.error


def test_nan_is_told_and_the_work_goes_on(imufeedback: Commands, folder: Path, tmp_path: Path) -> None:
    edit(PELVIS, lambda t: t.replace("9.81", "nan", 1).replace("0.001,0.002", "0.001,", 1))(folder)
    ended = imufeedback("import", folder, "--out", tmp_path / "out.mcap")
    assert ended.status == 0
    assert "pelvis.csv: 1 sample(s) without a number" in ended.err
    assert "300 samples" in ended.out
    judged = imufeedback("analyse", tmp_path / "out.mcap")
    assert judged.status == 0


def test_a_good_folder_becomes_a_recording(imufeedback: Commands, folder: Path, tmp_path: Path) -> None:
    ended = imufeedback("import", folder, "--out", tmp_path / "out.mcap", "--handed", "left")
    assert ended.status == 0
    assert ended.out.startswith(str(tmp_path / "out.mcap"))
    assert "no calibration" in ended.err
    items = list(read_items(tmp_path / "out.mcap"))
    assert isinstance(items[0], Command)
    assert items[0].args["player"]["hand"] == "left"
    assert sum(isinstance(one, RawPacket) for one in items) == 75


def test_windows_that_hold_no_movement(imufeedback: Commands, folder: Path, tmp_path: Path) -> None:
    ended = imufeedback("import", folder, "--out", tmp_path / "o.mcap", "--still", "0.1:0.4", "--flex", "0.5:0.9")
    assert ended.status == 1
    assert "nothing was written: choose other stretches for --still and --flex" in ended.error
    assert not (tmp_path / "o.mcap").exists()


def test_nothing_is_overwritten(imufeedback: Commands, folder: Path, tmp_path: Path) -> None:
    (tmp_path / "out.mcap").write_bytes(b"already here")
    ended = imufeedback("import", folder, "--out", tmp_path / "out.mcap")
    assert ended.status == 1
    assert "exists already" in ended.error
    assert "--overwrite" not in ended.error, "import has no such option"
    assert (tmp_path / "out.mcap").read_bytes() == b"already here"
    assert len(list(tmp_path.iterdir())) == 2


@pytest.mark.parametrize(
    ("out", "says"),
    [
        ("file/out.mcap", "no folder"),
        ("nowhere/out.mcap", "does not exist"),
        ("csv", "is a folder"),
        ("x" * 300, "name"),
    ],
)
def test_an_output_that_cannot_be_written(
    imufeedback: Commands, folder: Path, tmp_path: Path, out: str, says: str
) -> None:
    (tmp_path / "file").write_text("a file in place of a folder", encoding="utf-8")
    ended = imufeedback("import", folder, "--out", tmp_path / out)
    assert ended.status == 1
    assert says in ended.error


def delay_of(recording: Path) -> float:
    begin = next(iter(read_items(recording)))
    assert isinstance(begin, Command)
    return parse_layout(settings_of(begin).layouts[LAYOUT], LAYOUT).delay_s


def test_a_sample_stands_for_the_step_that_it_ends_there_and_back(
    imufeedback: Commands, folder: Path, tmp_path: Path
) -> None:
    assert imufeedback("import", folder, "--out", tmp_path / "a.mcap").status == 0
    t_s = read_folder(folder)
    step = next(iter(t_s.values())).t_s
    assert delay_of(tmp_path / "a.mcap") == pytest.approx(0.5 * (step[1] - step[0]))
    assert imufeedback("export", tmp_path / "a.mcap", "--format", "raw", "--out", tmp_path / "raw").status == 0
    assert imufeedback("import", tmp_path / "raw", "--out", tmp_path / "b.mcap").status == 0
    assert delay_of(tmp_path / "b.mcap") == delay_of(tmp_path / "a.mcap")
    back = read_folder(tmp_path / "raw")
    for segment, one in t_s.items():
        assert back[segment].t_s.tolist() == pytest.approx(one.t_s.tolist(), abs=1e-9)


def test_a_column_with_the_wrong_sign_is_named_and_no_fit_is_made(
    imufeedback: Commands, data_folder: Path, tmp_path: Path
) -> None:
    folder = tmp_path / "walk"
    folder.mkdir()
    for path in (data_folder / "people" / "optical_walk" / "imu").glob("*.csv"):
        rows = path.read_text(encoding="utf-8").splitlines()
        if path.stem == "left_thigh":
            cells = [row.split(",") for row in rows[1:]]
            rows[1:] = [",".join((*row[:2], str(-float(row[2])), *row[3:])) for row in cells]
        (folder / path.name).write_text("\n".join(rows) + "\n", encoding="utf-8")
    out = tmp_path / "out.mcap"
    ended = imufeedback("import", folder, "--out", out, "--still", "3:9", "--flex", "11.5:19.5")
    assert ended.status == 1
    assert "left_thigh.csv: gyr_y has the wrong sign" in ended.err
    assert "calibration" not in ended.out
    verbs = [one.verb for one in read_items(out) if isinstance(one, Command)]
    assert verbs == ["begin"]  # all samples are there, and no fit


UNITS: dict[str, tuple[str, slice, float, list[str]]] = {
    "g": ("left_thigh", slice(4, 7), 1 / 9.80665, ["acc_x_m_s2, acc_y_m_s2 and acc_z_m_s2", "in g", "by 9.80665"]),
    "degrees": ("right_thigh", slice(1, 4), 57.29578, ["gyr_z_rad_s", "°/s", "multiply by 0.0174533", "gyr_x_deg_s"]),
    "milliseconds": ("pelvis", slice(0, 1), 1e3, ["time_s: ", "milliseconds", "times by 0.001"]),
    "microseconds": ("pelvis", slice(0, 1), 1e6, ["time_s: ", "microseconds", "times by 1e-06"]),
}


@pytest.mark.parametrize("case", UNITS)
def test_a_wrong_unit_is_named_with_column_and_factor(
    imufeedback: Commands, recording: Path, tmp_path: Path, case: str
) -> None:
    segment, columns, factor, says = UNITS[case]
    folder, out = tmp_path / "raw", tmp_path / "out.mcap"
    assert imufeedback("export", recording, "--format", "raw", "--out", folder).status == 0
    path = folder / f"{segment}.csv"
    head, *rows = path.read_text(encoding="utf-8").splitlines()
    changed = []
    for row in rows:
        cells = row.split(",")
        cells[columns] = [repr(float(one) * factor) for one in cells[columns]]
        changed.append(",".join(cells))
    path.write_text("\n".join([head, *changed]) + "\n", encoding="utf-8")
    ended = imufeedback("import", folder, "--out", out)
    assert ended.status == 1
    (line,) = [one for one in ended.err.splitlines() if "multiply" in one]
    assert f"{segment}.csv: " in line
    for text in says:
        assert text in line
    assert segment == "pelvis" or out.is_file()
    verbs = [one.verb for one in read_items(out) if isinstance(one, Command)] if out.is_file() else []
    assert "set-fit" not in verbs
