"""The swings set: what it counts, on small sessions."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest

from imufeedback.measure import exact, swingers
from imufeedback.measure.sets import swings
from imufeedback.records import Rep
from imufeedback.synth.flaws import Flaw
from imufeedback.synth.player import Pace
from imufeedback.synth.script import make_script


def exactly_seen(flaw: Flaw, seed: int = 4) -> swingers.SwingSession:
    script = make_script(pace=Pace.FULL, flaw=flaw, reps=1, seed=seed)
    rep, states = exact.judged(swingers.motion_of(script.hand), exact.around(script, script.truth.reps[0]))
    assert rep is not None
    return swingers.SwingSession(script, (rep, *states), (rep,))


def test_every_built_in_rule_has_flaws_to_find() -> None:
    assert set(swings.FLAWS_OF) == {rule.id for rule in swingers.swing_rules().rules}


@pytest.mark.parametrize("flaw", Flaw)
def test_a_flaw_is_found_in_exact_angles_by_the_rules_that_are_for_it(flaw: Flaw) -> None:
    seen = exactly_seen(flaw)
    found = swingers.judged(swingers.target_rules(), seen.reps[0])
    for rule, flaws in swings.FLAWS_OF.items():
        if flaw in flaws:
            assert str(found.get(rule)) == "fault", rule
    if flaw is Flaw.NONE:
        assert found == {}


def test_a_rep_is_found_once_and_a_second_one_is_false() -> None:
    seen = exactly_seen(Flaw.NONE)
    ((truth, rep),) = seen.found()
    assert rep is not None
    assert seen.false() == 0
    stray = replace(rep, positions={name: t_s + 5.0 for name, t_s in rep.positions.items()})
    assert replace(seen, events=(rep, stray)).false() == 1
    late = replace(seen, events=(stray,))
    assert [one for _, one in late.found()] == [None]
    assert late.false() == 1
    assert swingers.rep_of(truth, []) is None


def test_a_mark_that_is_missing_counts_as_the_worst() -> None:
    truth = exactly_seen(Flaw.NONE).script.truth.reps[0]
    lost = Rep(0, "swing", 0, 1, {}, (), {})
    assert np.isnan(swings._off(lost, truth, "top_s"))
    assert swings._p95("x", [1.0] * 99, 15).ok
    assert not swings._p95("x", [1.0] * 80 + [float("nan")] * 20, 15).ok


def test_a_share_of_nothing_holds_nowhere() -> None:
    assert np.isnan(swings._percent(0, 0))


def test_sessions_are_the_same_for_the_same_seed_and_of_both_hands() -> None:
    one, again = swingers.mixed(5, 11), swingers.mixed(5, 11)
    assert one.truth.reps == again.truth.reps
    assert {rep.flaw for rep in one.truth.reps} == set(Flaw)
    assert {swingers.mixed(seed, 1).hand for seed in (1, 2)} == set(swingers.Hand)
    lasts = [rep.finish_s - rep.address_s for seed in range(8) for rep in swingers.mixed(seed, 11).truth.reps]
    assert min(lasts) < 1.2
    assert max(lasts) > 6.0
