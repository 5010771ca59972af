"""The step of a drill on the screens, and the coach's keys for it; and a bundle opened at the start."""

from __future__ import annotations

import datetime
from pathlib import Path

import pytest
from PySide6.QtWidgets import QApplication
from pytestqt.qtbot import QtBot

from imufeedback import people, resources
from imufeedback.app.bay import BayWindow
from imufeedback.app.feed import EventFeed
from imufeedback.app.start.player_page import PlayerPage
from imufeedback.bundle import exchange
from imufeedback.commands import AnyCommand, BeginBlock, GoToStep
from imufeedback.live.lesson import LessonBlock
from imufeedback.people import Homework, Person
from imufeedback.records import BlockBegun, Hand, Mode, Role, StepTold

DAY = datetime.date(2026, 5, 1)
DRILL = resources.text("drills", "hip-turn-trail")
STEP = StepTold(1.0, 0, 4, "slow, inward", 0, 3, "Turn. Come back.", "the trail thigh")


@pytest.fixture
def window(qapp: QApplication, qtbot: QtBot) -> tuple[BayWindow, EventFeed, list[AnyCommand]]:
    asked: list[AnyCommand] = []
    feed = EventFeed(Hand.RIGHT)
    made = BayWindow(feed, on_stop=lambda: None, on_command=asked.append)
    qtbot.addWidget(made)
    made.show()
    made.acknowledge()
    made.show_block(LessonBlock(BeginBlock("hips", Role.DRILL, Mode.NONE, rule_set=DRILL)))
    feed.push([BlockBegun(1.0, "hips", Role.DRILL, "hip-turn-trail", Mode.NONE, 1.0), STEP])
    qapp.processEvents()
    return made, feed, asked


def test_a_step_is_shown_with_picture_text_and_count_and_goes_with_the_drill(qapp: QApplication, window) -> None:
    made, feed, _ = window
    for panel in (made.view.step, made.range.step):
        assert not panel.isHidden()
        assert panel.head.text() == "Step 1 of 4, slow, inward: 0 of 3"
        assert (panel.text.text(), panel.still.text()) == ("Turn. Come back.", "Keep still: the trail thigh")
        assert panel.picture.pose is not None
        assert panel.picture.pose[0] == -30.0
    assert made.range.number.isHidden()
    feed.push([StepTold(9.0, 0, 4, "slow, inward", 0, 3, "Turn. Come back.", "", 0, "Slower: take at least 3 s.")])
    qapp.processEvents()
    assert made.range.step.why.text() == "Did not count. Slower: take at least 3 s."
    feed.push([BlockBegun(20.0, "swings", Role.SWINGS, "swing", Mode.NONE, 1.0)])
    qapp.processEvents()
    assert made.view.step.isHidden()
    assert made.range.step.isHidden()
    assert not made.range.number.isHidden()


def test_the_coach_goes_on_and_back(qapp: QApplication, window) -> None:
    made, feed, asked = window
    feed.push([StepTold(9.0, 1, 4, "slow, outward", 0, 3, "Turn. Come back.", "")])
    qapp.processEvents()
    asked.clear()
    made.coach.step_by(1)
    made.coach.step_by(-1)
    assert asked == [GoToStep(2), GoToStep(0)]
    feed.push([BlockBegun(20.0, "swings", Role.SWINGS, "swing", Mode.NONE, 1.0)])
    qapp.processEvents()
    made.coach.step_by(1)
    assert len(asked) == 2, "there are no steps any more"


def test_a_bundle_is_opened_and_written_where_players_are_chosen(
    qtbot: QtBot, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setenv("IMUFEEDBACK_HOME", str(tmp_path / "home"))
    coach = people.load(tmp_path / "coach")
    coach.save(Person("Robin", homework=(Homework("hip-turn-trail", 12, 5, DAY),)))
    exchange.give(coach, "Robin", tmp_path / "a.zip", DAY)
    page = PlayerPage(people.load(tmp_path / "home" / "players"), lambda: DAY)
    qtbot.addWidget(page)
    page.open_bundle(tmp_path / "a.zip")
    assert "hip-turn-trail: 12 reps on 5 days" in page.choose.trouble.text()
    assert [one.name for one in page.people.all] == ["Robin"]
    page.give_bundle(page.people.all[0], tmp_path / "b.zip")
    assert (tmp_path / "b.zip").exists()
    page.open_bundle(tmp_path / "nothing.zip")
    assert "no bundle" in page.choose.trouble.text()
