"""One table of all reps."""

from __future__ import annotations

from pathlib import Path

import pytest

from imufeedback.errors import CannotWrite
from imufeedback.record.exports import reps as exports
from imufeedback.review.many import RepFile, Way, judge_one

parquet = pytest.importorskip("pyarrow.parquet")


def _rep(number: int, **cells: float | None) -> dict[str, exports.Cell]:
    return {
        "rep": number,
        "kind": "swing",
        "start_s": 1.0,
        "end_s": 2.0,
        **cells,
        "faults": "",
        "unsure": "a b",
        "void": "",
    }


def test_rows_are_sorted_and_what_is_not_known_is_missing(tmp_path: Path) -> None:
    table = RepFile()
    table.add("b.mcap", [_rep(1, turn_deg=3.0), _rep(2, turn_deg=None)])
    table.add("a.mcap", [_rep(1, position_top_s=1.5, tilt_deg=4.0)])
    assert len(table) == 3
    assert table.write(tmp_path / "reps.parquet") == 3
    read = parquet.read_table(tmp_path / "reps.parquet")
    assert read.column_names == [
        "recording", "rep", "kind", "start_s", "end_s", "position_top_s", "tilt_deg", "turn_deg", "faults", "unsure",
        "void",
    ]  # fmt: skip
    assert read["recording"].to_pylist() == ["a.mcap", "b.mcap", "b.mcap"]
    assert read["rep"].to_pylist() == [1, 1, 2]
    assert read["turn_deg"].to_pylist() == [None, 3.0, None]
    assert read["position_top_s"].to_pylist() == [1.5, None, None]
    assert read["unsure"].to_pylist() == ["a b"] * 3


def test_the_columns_are_those_of_the_export_of_one_recording(archive: Path, tmp_path: Path) -> None:
    outcome = judge_one(str(archive / "b.mcap"), Way())
    table = RepFile()
    table.add("b.mcap", outcome["reps"])
    table.write(tmp_path / "reps.parquet")
    (rep,) = outcome["reps"]
    (read,) = parquet.read_table(tmp_path / "reps.parquet").to_pylist()
    assert read == {"recording": "b.mcap", **rep}
    assert set(read) == {"recording", *exports.columns([rep])}


def test_no_reps_at_all_are_an_empty_table(tmp_path: Path) -> None:
    assert RepFile().write(tmp_path / "reps.parquet") == 0
    assert parquet.read_table(tmp_path / "reps.parquet").num_rows == 0


def test_a_table_that_is_there_is_replaced_only_when_told(tmp_path: Path) -> None:
    (tmp_path / "reps.parquet").write_text("mine", encoding="utf-8")
    with pytest.raises(CannotWrite):
        RepFile().write(tmp_path / "reps.parquet")
    assert (tmp_path / "reps.parquet").read_text(encoding="utf-8") == "mine"
    assert RepFile().write(tmp_path / "reps.parquet", overwrite=True) == 0
