from __future__ import annotations

from dataclasses import replace

import pytest
from bay_events import finding, rep, texts
from pytestqt.qtbot import QtBot

from imufeedback.app import palette, rep_table
from imufeedback.app.rep_table import DETAIL, RESULT, RepTable
from imufeedback.records import Lack, Unjudged, Verdict


@pytest.fixture
def table(qtbot: QtBot) -> RepTable:
    made = RepTable()
    qtbot.addWidget(made)
    made.resize(500, 400)
    made.rescale(1.0)
    made.show()
    return made


def test_numbers_of_a_rep_are_those_of_its_features(table: RepTable) -> None:
    table.add_rep(rep(0))
    assert texts(table, 0) == ["1", "1:01.5", "24°", "8°", "0°", "−12°", "OK", ""]


def test_a_missing_feature_is_a_dash(table: RepTable) -> None:
    table.add_rep(rep(0, features={"trail_thigh_angle_top_deg": 20.0}))
    assert texts(table, 0)[2:6] == ["20°", "–", "–", "–"]


@pytest.mark.parametrize("finding_first", [True, False])
def test_findings_reach_their_rep_in_either_order(table: RepTable, finding_first: bool) -> None:
    steps = [lambda: table.add_rep(rep(0)), lambda: table.add_finding(finding(0))]
    for step in reversed(steps) if finding_first else steps:
        step()
    table.add_rep(rep(1))
    assert texts(table, 0)[RESULT:] == ["1 fault", "Fault: It stopped falling. (4.2°; allowed 3.0°)"]
    assert texts(table, 1)[RESULT:] == ["OK", ""]


def test_newest_rep_is_on_top_and_findings_show_only_where_there_are_any(table: RepTable) -> None:
    table.add_rep(rep(0))
    table.add_finding(finding(0))
    table.add_rep(rep(1))
    assert [table.item(row, 0).text() for row in (0, 2)] == ["2", "1"]
    assert [table.isRowHidden(row) for row in range(4)] == [False, True, False, False]


def test_unsure_is_not_a_fault(table: RepTable) -> None:
    table.add_rep(rep(0))
    table.add_finding(finding(0, Verdict.UNSURE))
    assert texts(table, 0)[RESULT] == "unsure"
    assert texts(table, 0)[-1].startswith("Unsure: ")
    assert table.item(0, RESULT).foreground().color().name().upper() == palette.INK
    table.add_finding(finding(0))
    table.add_finding(finding(0))
    assert texts(table, 0)[RESULT] == "2 faults"
    assert table.item(1, DETAIL).foreground().color().name().upper() == palette.ALARM_INK


def test_a_rep_told_again_replaces_its_numbers(table: RepTable) -> None:
    table.add_rep(rep(0))
    table.add_rep(rep(0, features={"trail_thigh_angle_top_deg": 1.0}))
    assert table.reps == 1
    assert texts(table, 0)[2] == "1°"


def test_old_reps_leave_a_long_session(table: RepTable, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(rep_table, "REPS_KEPT", 5)
    for index in range(8):
        table.add_finding(finding(index))
        table.add_rep(rep(index))
    assert table.reps == 5
    assert table.rowCount() == 10
    assert texts(table, 7)[0] == "8"
    assert sorted(table._findings) == [3, 4, 5, 6, 7]


def test_long_findings_get_the_height_they_need(table: RepTable) -> None:
    table.add_rep(rep(0))
    table.add_finding(finding(0))
    one = table.rowHeight(1)
    table.add_finding(finding(0))
    table.add_finding(finding(0))
    assert table.rowHeight(1) >= one + 2 * table.fontMetrics().height()


def test_rules_may_be_put_into_other_words(qtbot: QtBot) -> None:
    table = RepTable({"It stopped falling.": "Er sinkt nicht mehr."}.get)
    qtbot.addWidget(table)
    table.add_rep(rep(0))
    table.add_finding(finding(0))
    assert texts(table, 0)[-1].startswith("Fault: Er sinkt nicht mehr.")


def test_a_void_rep_is_struck_out_in_grey_with_its_reason(table: RepTable) -> None:
    table.add_rep(rep(0))
    table.add_rep(replace(rep(1, features={}), void="right hip: rotation not known after a gap"))
    assert texts(table, 1)[2:] == ["–", "–", "–", "–", "not counted", "right hip: rotation not known after a gap"]
    void, good = table.item(0, 0), table.item(2, 0)
    assert void is not None
    assert good is not None
    assert void.font().strikeOut()
    assert not good.font().strikeOut()
    assert void.foreground().color().name().upper() == palette.SOFT_INK
    table.add_rep(rep(1))
    assert texts(table, 1)[RESULT:] == ["OK", ""], "told again, as a rep that counts"


def test_rules_that_could_not_be_judged_are_no_clean_rep_and_are_explained_once(table: RepTable) -> None:
    for index in (0, 1):
        table.add_rep(rep(index))
        for rule in ("knees-cross", "lead-knee-gives"):
            table.add_unjudged(Unjudged(rule, index, Lack.SENSOR, "No sensors on the shanks."))
    explained = "Not checked: knees cross, lead knee gives. No sensors on the shanks."
    assert texts(table, 0)[RESULT:] == ["OK, 2 not checked", explained]
    assert texts(table, 1)[RESULT:] == ["OK, 2 not checked", ""]
