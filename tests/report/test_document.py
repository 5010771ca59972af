"""The document of a session: its JSON, its page, and what older and newer files have or have not."""

from __future__ import annotations

import json
from pathlib import Path

import msgspec
import pytest
import summary_page

from imufeedback import document as room
from imufeedback import report
from imufeedback.document import Document, JudgedRep, RepCue, RuleFinding, Tally, to_json
from imufeedback.records import BlockBegun, Finding, Hand, Lack, Mode, Rep, Role, Verdict
from imufeedback.report.summary import Summary

LEAST = '{"version": "0.1", "reps": []}'


def test_the_page_is_made_of_the_docstrings() -> None:
    assert Path(report.__file__).with_name("SUMMARY.md").read_text(encoding="utf-8") == summary_page.page()


def test_a_field_without_a_docstring_is_told() -> None:
    with pytest.raises(ValueError, match="line 4"):
        summary_page.meanings("class A:\n    x: int\n    'about x'\n    y: int\n")


def test_no_field_may_be_anything() -> None:
    assert "Any" not in Path(room.__file__).read_text(encoding="utf-8").replace("Annotated", "").split()


def test_keys_stand_in_the_order_of_the_fields_and_what_does_not_apply_is_left_out() -> None:
    summary = Summary(Hand.LEFT)
    summary([
        BlockBegun(0.0, "warm", Role.DRILL, "swing", Mode.FADED, 0.5),
        Rep(0, "swing", 1.0, 4.0, {"top_s": 2.0}, ("impact_s",), {"a_deg": 1.0}),
        Finding("falls", 0, 1.0, 9.0, 5.0, "deg", Verdict.FAULT, "go on", "stalled", 1.5),
    ])  # fmt: skip
    values = to_json(summary.document(recording="a.mcap"))
    assert list(values) == [
        "version", "player", "sensors", "calibration", "reps", "totals", "blocks", "limits",
        "tones", "notices", "errors", "recording",
    ]  # fmt: skip
    assert values["player"] == {"hand": "left"}
    (rep,) = json.loads(json.dumps(values))["reps"]
    assert list(rep) == [
        "index", "kind", "start_s", "end_s", "void", "positions", "estimated", "features", "tones", "discarded",
        "estimate",
        "findings", "unjudged", "cues",
    ]  # fmt: skip
    assert rep["findings"] == [
        {"rule": "falls", "t_s": 1.0, "value": 9.0, "limit": 5.0, "unit": "deg", "verdict": "fault", "sd": 1.5,
         "text": "go on", "short": None, "drill": None, "basis": None, "least": None}
    ]  # fmt: skip
    assert values["tones"] == {
        "with": {"reps": 1, "clean": 0, "faults": {"falls": 1}, "unsure": {}, "unjudged": {}},
        "without": {"reps": 0, "clean": 0, "faults": {}, "unsure": {}, "unjudged": {}},
    }


def test_what_was_written_is_read_again() -> None:
    finding = RuleFinding(rule="r", t_s=1.0, value=2.0, limit=3.0, verdict=Verdict.UNSURE)
    rep = JudgedRep(
        index=0, kind="swing", start_s=0.1 + 0.2, end_s=4.0, positions={"top_s": 1 / 3}, features={"a_deg": -1e-9},
        findings=[finding], cues=[RepCue(sound="stalled", t_s=1.0, heard_s=None)],
    )  # fmt: skip
    whole = Document(version="1", reps=[rep], notes=["torn"])
    assert msgspec.json.decode(json.dumps(to_json(whole)), type=Document) == whole


def test_numbers_that_json_has_not_are_null_or_left_out() -> None:
    nan, inf = float("nan"), float("inf")
    finding = RuleFinding(rule="r", t_s=nan, value=inf, limit=-inf, verdict=Verdict.FAULT)
    rep = JudgedRep(
        index=0, kind="swing", start_s=0.0, end_s=4.0, positions={"top_s": nan}, features={"a_deg": inf, "b_deg": 1.0},
        findings=[finding], cues=[],
    )  # fmt: skip
    values = json.loads(json.dumps(to_json(Document(version="1", reps=[rep])), allow_nan=False))["reps"][0]
    assert (values["positions"], values["features"]) == ({}, {"b_deg": 1.0})
    assert [values["findings"][0][name] for name in ("t_s", "value", "limit")] == [None, None, None]


def test_what_an_older_document_has_not_is_not_known() -> None:
    found = msgspec.json.decode(LEAST, type=Document)
    assert (found.totals, found.calibration, found.blocks, found.file_notes) == (None, None, None, [])
    assert found.tones.with_tones == Tally()


def test_what_a_newer_document_has_more_is_passed_over() -> None:
    more = json.loads(LEAST) | {"weather": {"wind": [1, {}]}, "totals": {"reps": 3, "birds": 2}}
    found = msgspec.json.decode(json.dumps(more), type=Document)
    assert found.totals is not None
    assert found.totals.reps == 3


def test_what_calibration_was_called_before_is_still_read() -> None:
    older = '{"version": "0.1", "reps": [], "fit": {"level": "good", "segments": {}}}'
    found = msgspec.json.decode(older, type=Document)
    assert found.calibration is not None
    assert found.calibration.level == "good"
    assert "fit" not in to_json(found)
    assert msgspec.json.decode(LEAST.replace("}", ', "fit": null}'), type=Document).calibration is None


def test_what_positions_and_a_missing_limit_were_called_before_is_read() -> None:
    old = {
        "index": 0, "kind": "swing", "start_s": 0.0, "end_s": 4.0, "marks": {"top_s": 1.5}, "features": {},
        "findings": [], "cues": [], "unjudged": [{"rule": "a", "lack": "not judged yet", "text": "b"}],
    }  # fmt: skip
    rep = msgspec.convert(old, JudgedRep)
    assert rep.positions == {"top_s": 1.5}
    assert rep.unjudged[0].lack == Lack.LIMIT
    assert "marks" not in to_json(rep)
