"""The phase table: every way out is taken by something, in the order of the table, and only then."""

from __future__ import annotations

import math
from pathlib import Path

import phase_diagram
import pytest

from imufeedback.motion import phases
from imufeedback.motion.phases import TRANSITIONS, RepLimits, RepProgress, is_slow, next_phase
from imufeedback.records import Phase

LIMITS = RepLimits()


def seen(**deg_or_s: float) -> RepProgress:
    """Angles in degrees, times in seconds."""
    angles = {"turn", "turn_rate", "furthest_away", "fastest", "bent", "behind", "risen"}
    return RepProgress(**{name: math.radians(value) if name in angles else value for name, value in deg_or_s.items()})


SWINGING = {"t_s": 2.0, "since_s": 1.0, "furthest_away": -42, "bent": 20, "behind": 79}
CASES = {
    (Phase.ADDRESS, Phase.BACKSWING, "leaves away from the target"): seen(turn=-5),
    (Phase.ADDRESS, Phase.WAITING, "stands up"): seen(turn=0, risen=13),
    (Phase.ADDRESS, Phase.WAITING, "leaves towards the target"): seen(turn=9),
    (Phase.BACKSWING, Phase.WAITING, "stands up and walks off"): seen(**SWINGING, turn=-30, turn_rate=-20, risen=15),
    (Phase.BACKSWING, Phase.WAITING, "takes too long"): seen(**SWINGING | {"t_s": 27.0}, turn=-30, turn_rate=-1),
    (Phase.BACKSWING, Phase.WAITING, "a thigh moves as in a step"): seen(
        **SWINGING | {"bent": 50}, turn=-30, turn_rate=-20
    ),
    (Phase.BACKSWING, Phase.WAITING, "a thigh is far behind"): seen(
        **SWINGING | {"behind": 95}, turn=-30, turn_rate=-20
    ),
    (Phase.BACKSWING, Phase.WAITING, "data are missing"): seen(**SWINGING, turn=-30, turn_rate=-9, lost_since_s=1.7),
    (Phase.BACKSWING, Phase.DOWNSWING, "turns back"): seen(**SWINGING, turn=-40.5, turn_rate=30),
    (Phase.BACKSWING, Phase.ADDRESS, "comes back after a waggle"): seen(
        **SWINGING | {"furthest_away": -9}, turn=-1, turn_rate=10
    ),
    (Phase.DOWNSWING, Phase.WAITING, "takes too long"): seen(**SWINGING | {"t_s": 27.0}, turn=-30, turn_rate=1),
    (Phase.DOWNSWING, Phase.BACKSWING, "it was no top"): seen(**SWINGING, turn=-43.5, turn_rate=-10, fastest=20),
    (Phase.DOWNSWING, Phase.THROUGH_SWING, "passes impact"): seen(**SWINGING, turn=41, turn_rate=300, fastest=400),
    (Phase.DOWNSWING, Phase.FINISH, "stops early"): seen(
        **SWINGING, turn=20, turn_rate=1, fastest=90, slow_since_s=1.85
    ),
    (Phase.DOWNSWING, Phase.WAITING, "gives up"): seen(
        **SWINGING, turn=-20, turn_rate=-4, fastest=20, slow_since_s=1.85
    ),
    (Phase.DOWNSWING, Phase.ADDRESS, "comes home"): seen(
        **SWINGING | {"furthest_away": -20}, turn=-1, turn_rate=1, fastest=30, slow_since_s=1.85
    ),
    (Phase.DOWNSWING, Phase.WAITING, "rests on its way"): seen(
        **SWINGING | {"t_s": 9.0}, turn=-20, turn_rate=0, fastest=30, slow_since_s=4.9
    ),
    (Phase.THROUGH_SWING, Phase.WAITING, "data are missing"): seen(
        **SWINGING, turn=60, turn_rate=100, lost_since_s=1.5
    ),
    (Phase.THROUGH_SWING, Phase.FINISH, "comes to rest"): seen(
        **SWINGING, turn=85, turn_rate=1, fastest=500, slow_since_s=1.85
    ),
}


@pytest.mark.parametrize("case", CASES, ids=lambda case: f"{case[0]}-{case[1]}-{case[2]}")
def test_way_out(case):
    phase, target, _ = case
    assert next_phase(phase, CASES[case], LIMITS) is target


def test_every_way_out_of_the_table_is_taken_above():
    taken = set()
    for (phase, _, _), one in CASES.items():
        for number, (condition, _) in enumerate(TRANSITIONS[phase]):
            if condition(one, LIMITS):
                taken.add((phase, number))
                break
    without = RepLimits(min_backswing_rad=0.0)
    assert next_phase(Phase.ADDRESS, seen(turn=5), without) is Phase.DOWNSWING
    taken.add((Phase.ADDRESS, [target for _, target in TRANSITIONS[Phase.ADDRESS]].index(Phase.DOWNSWING)))
    assert taken == {(phase, number) for phase, ways in TRANSITIONS.items() for number in range(len(ways))}


def test_the_table_has_every_phase():
    assert set(TRANSITIONS) == set(Phase)


@pytest.mark.parametrize(
    ("phase", "one"),
    [
        (Phase.WAITING, seen(turn=-30)),  # left by an address only
        (Phase.ADDRESS, seen(turn=-3.9)),
        (Phase.ADDRESS, seen(turn=7.9)),
        (Phase.BACKSWING, seen(**SWINGING, turn=-41.5, turn_rate=5)),  # half a degree back is no reversal
        (Phase.BACKSWING, seen(**SWINGING, turn=-40, turn_rate=-5)),
        (Phase.BACKSWING, seen(**SWINGING | {"furthest_away": -14}, turn=-10, turn_rate=20)),  # too short for a rep
        (Phase.BACKSWING, seen(**SWINGING, turn=-20, turn_rate=-5, lost_since_s=1.9)),  # 0.1 s without data
        (Phase.DOWNSWING, seen(**SWINGING, turn=-20, turn_rate=1, fastest=90, slow_since_s=1.95)),
        (Phase.DOWNSWING, seen(**SWINGING, turn=-20, turn_rate=1, fastest=90, slow_since_s=1.5)),  # waits on the way
        (Phase.THROUGH_SWING, seen(**SWINGING, turn=60, turn_rate=200, fastest=400)),
        (Phase.FINISH, seen(**SWINGING, turn=85)),
    ],
)
def test_no_way_out(phase, one):
    assert next_phase(phase, one, LIMITS) is phase


def test_limits_come_from_the_rule_set():
    short = RepLimits(min_backswing_rad=math.radians(5.0), min_through_rad=math.radians(10.0), max_s=5.0)
    one = seen(**SWINGING | {"furthest_away": -9}, turn=-7, turn_rate=20)
    assert next_phase(Phase.BACKSWING, one, LIMITS) is Phase.BACKSWING
    assert next_phase(Phase.BACKSWING, one, short) is Phase.DOWNSWING
    late = seen(**SWINGING | {"t_s": 6.5}, turn=-20, turn_rate=-9)
    assert next_phase(Phase.BACKSWING, late, short) is Phase.WAITING


def test_slow_is_measured_against_the_reps_own_speed():
    """20 °/s is a standstill after 600 °/s and full speed after 30 °/s."""
    assert is_slow(math.radians(20), math.radians(600))
    assert not is_slow(math.radians(20), math.radians(30))
    assert is_slow(math.radians(2.5), math.radians(30))
    assert not is_slow(math.radians(-250), math.radians(600))


def test_the_page_is_made_from_the_table():
    """Again with the command that stands in it."""
    page_file = Path(phases.__file__).with_name("PHASES.md")
    assert page_file.read_text(encoding="utf-8") == phase_diagram.page()


def test_every_way_out_has_words():
    used = {phase_diagram.name_of(condition) for ways in TRANSITIONS.values() for condition, _ in ways}
    assert used == set(phase_diagram.WORDS)
