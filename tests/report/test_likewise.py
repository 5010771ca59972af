"""Like with like: what may be put beside what in a trend, and the ranges of hips in words."""

from __future__ import annotations

from datetime import datetime, timedelta, timezone

import pytest

from imufeedback.document import BlockTally, Document, JudgedRep, RuleFinding, SensorCounts
from imufeedback.records import Mode, Role, Verdict
from imufeedback.report import story
from imufeedback.report.likewise import FEW, kinds_of, point
from imufeedback.report.page import player_page
from imufeedback.report.screened import screening_of, screening_words
from imufeedback.report.session import SessionReport
from imufeedback.rules.screening import NO_DIAGNOSIS

LOST = "trail_thigh_loss_top_finish_deg"


def rep(index: int, kind: str = "full-swings", *, down_s: float = 0.3, tones: bool | None = False, lost: float = 20.0):
    features = {LOST: lost, "downswing_s": down_s}
    return JudgedRep(
        index=index, kind=kind, start_s=10.0 * index, end_s=10.0 * index + 4, positions={}, features=features,
        findings=[], cues=[], tones=tones,
    )  # fmt: skip


def block(role: Role, begin_s: float, reps: int, clean: int) -> BlockTally:
    return BlockTally(name=str(role), role=role, drill="full-swings", mode=Mode.NONE, begin_s=begin_s, reps=reps,
                      clean=clean, faults={"turns-in-the-hips": reps - clean}, unsure={})  # fmt: skip


def document(reps: list[JudgedRep], *blocks: BlockTally) -> Document:
    return Document(version="1", reps=reps, blocks=list(blocks))


def test_kinds_differ_by_role_drill_direction_pace_and_telling() -> None:
    reps = [rep(0), rep(1), rep(2, down_s=2.0), rep(3, tones=True), rep(4, "hip-turn-trail in"), rep(5)]
    found = kinds_of(document(reps, block(Role.BASELINE, 0.0, 1, 1), block(Role.SWINGS, 9.0, 4, 4)), reps)
    assert len(found) == 5
    assert next(kind.role for kind in sorted(found)) == "baseline"
    assert sum(len(one) for one in found.values()) == 6


def test_tests_stand_apart_from_reps_that_happened_to_have_no_tones() -> None:
    reps = [rep(0), rep(1)]
    found = kinds_of(document(reps, block(Role.TEST, 9.0, 1, 1)), reps)
    assert {kind.role: len(one) for kind, one in found.items()} == {"": 1, "test": 1}


def test_few_reps_are_no_point() -> None:
    few = point([rep(k) for k in range(FEW - 1)], LOST)
    enough = point([rep(k, lost=20.0 + k % 2) for k in range(FEW)], LOST)
    assert few is not None
    assert enough is not None
    assert not few.enough
    assert (enough.reps, enough.mean, enough.spread) == (FEW, 20.5, 0.5)
    assert point([], LOST) is None


def day(number: int, reps: int, clean: int) -> SessionReport:
    made = document([rep(k) for k in range(reps)], block(Role.TEST, 0.0, reps, clean))
    return SessionReport(made, player="Ida", started=datetime(2025, 7, number, 10, 0, tzinfo=timezone(timedelta(0))))


def test_the_page_puts_test_against_test() -> None:
    page = player_page("Ida", [day(1, 8, 2), day(8, 8, 6)])
    assert "8 reps, 75 % without a fault; then 8 reps, 25 % (+50 points). Less often: turns in the hips." in page
    assert "<h3>test, full swings, full pace</h3>" in page
    assert "8 reps, 75 %" in player_page("Ida", [day(1, 3, 3), day(8, 8, 6)])
    assert "Too few to compare" in player_page("Ida", [day(1, 3, 3), day(8, 8, 6)])


def turn(index: int, side: str, direction: str, value: float, *, moved: bool = False) -> JudgedRep:
    found = RuleFinding(rule="standing-thigh-still", t_s=1.0, value=20.0, limit=12.0, verdict=Verdict.FAULT)
    return JudgedRep(
        index=index, kind=f"hip-turn-{side} {direction}", start_s=10.0 * index, end_s=10.0 * index + 4, positions={},
        features={"standing_hip_rotation_deg": value, "standing_hip_rotation_sd_deg": 3.0},
        findings=[found] if moved else [], cues=[],
    )  # fmt: skip


def turns(trail: float, lead: float) -> list[JudgedRep]:
    trails = [turn(k, "trail", "in", trail - k) for k in range(3)]
    return [*trails, *(turn(3 + k, "lead", "in", lead - k) for k in range(3))]


def test_a_side_that_goes_less_far_is_told_only_beyond_what_can_be_told() -> None:
    found = screening_of(turns(30.0, 40.0))
    assert found is not None
    lines = screening_words(found)
    assert "Trail hip, inward: 30° (best of 3; mean 29°, 2° apart)." in lines
    assert any("the trail hip goes 10° less far" in one for one in lines)
    alike = screening_of(turns(36.0, 40.0))
    assert alike is not None
    assert any("do not differ" in one for one in screening_words(alike))
    assert screening_words(alike)[-1] == NO_DIAGNOSIS


def test_the_tight_side_gets_more_hip_turns() -> None:
    following = story.next_drill(turns(30.0, 40.0))
    assert following is not None
    assert (following.drill, following.text.split(":")[0]) == (
        "hip-turn-trail",
        "Turning inward, the trail hip goes 10° less far (a difference counts from 5.4° on)",
    )
    even = story.next_drill(turns(36.0, 40.0))
    assert even is not None
    assert "both legs" in even.title


def test_a_turn_whose_thigh_moved_is_none() -> None:
    found = screening_of([turn(0, "trail", "in", 30.0), turn(1, "trail", "in", 60.0, moved=True)])
    assert found is not None
    assert "Trail hip, inward: 1 of 3 good turns, too few to compare." in screening_words(found)
    assert screening_of([rep(0)]) is None


def test_a_day_is_compared_with_an_earlier_one() -> None:
    now, before = screening_of(turns(40.0, 40.0)), screening_of(turns(30.0, 39.0))
    assert now is not None
    assert before is not None
    lines = screening_words(now, before)
    assert "Trail hip, inward: 10° more than last time (a change counts from 5.4° on)." in lines
    assert "Lead hip, inward: as last time (a change counts from 5.4° on)." in lines


@pytest.mark.parametrize(
    ("worn", "says"),
    [
        (("pelvis", "left_thigh", "right_thigh"), "no sensor on the shanks"),
        (("pelvis", "left_thigh", "right_thigh", "left_shank"), "right shank"),
    ],
)
def test_what_was_not_checked_is_said(worn: tuple[str, ...], says: str) -> None:
    sensors = [SensorCounts(role=one, samples=10, saturated=0) for one in worn]
    (line,) = story.unchecked(Document(version="1", reps=[], sensors=sensors))
    assert says in line
    both = [*sensors, *(SensorCounts(role=f"{one}_shank", samples=10, saturated=0) for one in ("left", "right"))]
    assert story.unchecked(Document(version="1", reps=[], sensors=both)) == []
