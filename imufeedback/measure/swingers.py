"""Seeded players who swing, with typical sensors and soft tissue, once through the whole pipeline; and what motion and
rules make of their angles, as often as is asked."""

from __future__ import annotations

from collections.abc import Callable, Iterable, Iterator, Sequence
from concurrent.futures import ProcessPoolExecutor
from dataclasses import dataclass
from multiprocessing import get_context
from os import cpu_count

import msgspec
import numpy as np

from imufeedback import resources
from imufeedback.commands import BeginBlock, recorded
from imufeedback.conduct.limits import live_limits, rep_limits
from imufeedback.measure.golfer import items
from imufeedback.motion import MotionStage
from imufeedback.pipeline import run
from imufeedback.records import (
    Angles,
    Event,
    Finding,
    Hand,
    Mode,
    Motion,
    Rep,
    Role,
    Segment,
    StateChanged,
    Verdict,
    Zeroed,
)
from imufeedback.rules import Rules, RuleSet, parse_limits, parse_rule_set, with_limits
from imufeedback.synth.flaws import Flaw
from imufeedback.synth.golfer import BODY
from imufeedback.synth.player import TIMING, Pace
from imufeedback.synth.presets import PRESETS
from imufeedback.synth.script import Script, make_idle_script, make_script
from imufeedback.synth.sensors import WORN
from imufeedback.synth.truth import RepTruth

TYPICAL = PRESETS["typical"]
"""With soft tissue, and a strap that slips after the calibration."""
SHORTEST_S, LONGEST_S = 0.8, 8.0
"""From leaving the address to the finish."""
FULL_S = sum((TIMING[Pace.FULL].back_s, TIMING[Pace.FULL].down_s, TIMING[Pace.FULL].through_s))
PACKET = 40
"""Samples in a packet here: the pipeline's answers do not depend on it, its speed does."""


@dataclass(frozen=True)
class SwingSession:
    """One session and what came of it; angles are left out."""

    script: Script
    events: tuple[Event, ...]
    estimated: tuple[Rep, ...]
    """The same reps without the forearm's sensor."""

    @property
    def reps(self) -> list[Rep]:
        """Those that were judged."""
        return [one for one in self.events if isinstance(one, Rep) and not one.void]

    def found(self) -> Iterator[tuple[RepTruth, Rep | None]]:
        """Every true rep, and the one that was found for it."""
        for truth in self.script.truth.reps:
            yield truth, rep_of(truth, self.reps)

    def false(self) -> int:
        """Reps where there was none."""
        true = [rep_of(truth, self.reps) for truth in self.script.truth.reps]
        return len(self.reps) - sum(one is not None for one in true)

    def findings(self, rep: Rep) -> list[Finding]:
        return [one for one in self.events if isinstance(one, Finding) and one.rep == rep.index]

    def stalls(self, truth: RepTruth) -> list[StateChanged]:
        """Live states of a rep that say the trail thigh angle has stalled or grows."""
        return [
            one
            for one in self.events
            if isinstance(one, StateChanged)
            and one.state in (Motion.STALLED, Motion.GROWING)
            and truth.address_s <= one.t_s <= truth.finish_s + 0.2
        ]


def rep_of(truth: RepTruth, reps: Iterable[Rep]) -> Rep | None:
    """The rep whose top lies nearest to the true one, within half a downswing; None when there is none."""
    near = 0.5 * (truth.impact_s - truth.top_s)
    here = [one for one in reps if abs(one.positions["top_s"] - truth.top_s) <= max(near, 0.15)]
    return min(here, key=lambda one: abs(one.positions["top_s"] - truth.top_s)) if len(here) == 1 else None


def swing_rules() -> RuleSet:
    """The built-in rule set, as it ships."""
    return parse_rule_set(resources.text("rules", "swing"), "swing")


TARGETS = """format = 1
[limits]
turns-in-the-hips = 0.15
lead-hip-turns-in = 15.0
trail-hip-turns-in-back = 3.0
hips-level-half-way = 0.75
turns-through = 75.0
"""
"""A coach's targets for these players, whose hips make some 30 % of the turn: without them, or a baseline, the rules of
hip rotation and turn are not judged, and late is only what is later than nearly all published players."""


def target_rules() -> RuleSet:
    """The built-in rule set with a coach's targets for these players."""
    return with_limits(swing_rules(), parse_limits(TARGETS, "targets"), "targets")


def certain(rules: RuleSet) -> RuleSet:
    """For exact angles: what misses its limit at all is a fault."""
    return msgspec.structs.replace(
        rules, rules=tuple(msgspec.structs.replace(one, sd_factor=0.0) for one in rules.rules)
    )


def motion_of(hand: Hand, rules: RuleSet | None = None) -> MotionStage:
    """A motion stage with the built-in limits."""
    rules = rules or swing_rules()
    return MotionStage(hand=hand, live=live_limits(rules), rep=rep_limits(rules), kind=rules.name)


def play(script: Script, segments: Sequence[Segment] = BODY) -> SwingSession:
    """Through the pipeline, with all six sensors when nothing else is said."""
    text = resources.text("layouts", "lossless").replace("samples_per_packet = 10", f"samples_per_packet = {PACKET}")
    events: list[Event] = []
    estimating, estimated = motion_of(script.hand), []
    for event in run(items(script, segments, model=TYPICAL, layout_text=text, limits=TARGETS)):
        if isinstance(event, Angles | Zeroed):
            estimated += [one for one in estimating.feed(event) if isinstance(one, Rep)]
        if not isinstance(event, Angles):
            events.append(event)
    return SwingSession(script, tuple(events), tuple(estimated))


def play_drill(script: Script, drill: str) -> SwingSession:
    """A drill with three sensors; its block begins when the calibration is done."""
    text = resources.text("layouts", "lossless").replace("samples_per_packet = 10", f"samples_per_packet = {PACKET}")
    block = BeginBlock(drill, Role.DRILL, Mode.NONE, rule_set=resources.text("drills", drill))
    given = list(items(script, WORN, model=TYPICAL, layout_text=text))
    at = next(k for k, item in enumerate(given) if item.host_ns > script.ready_s * 1e9)
    given.insert(at, recorded(given[at].host_ns, block))
    return SwingSession(script, tuple(one for one in run(given) if not isinstance(one, Angles)), ())


# ── the sessions ─────────────────────────────────────────────────────────────────────────────────────────────────


def hand_of(seed: int) -> Hand:
    return Hand.RIGHT if seed % 2 else Hand.LEFT


def mixed(seed: int, most: int) -> Script:
    """At most `most` reps, clean and with every flaw, in any order, each at a pace of its own."""
    rng = np.random.default_rng([seed, 21])
    flaws = [Flaw(one) for one in rng.permutation([Flaw.NONE, *Flaw])][:most]
    lasts_s = np.exp(rng.uniform(np.log(SHORTEST_S), np.log(LONGEST_S), len(flaws)))
    tempos = (FULL_S / lasts_s).tolist()
    return make_script(hand=hand_of(seed), pace=Pace.FULL, flaw=flaws, reps=len(flaws), seed=seed, tempos=tempos)


def full(seed: int, most: int) -> Script:
    """Reps at full pace."""
    rng = np.random.default_rng([seed, 22])
    flaws = [Flaw(one) for one in rng.permutation([Flaw.NONE, Flaw.STALL, Flaw.HIGH_KNEE, Flaw.NONE])][:most]
    return make_script(hand=hand_of(seed), pace=Pace.FULL, flaw=flaws, reps=len(flaws), seed=seed)


def slow(seed: int, most: int) -> Script:
    """Slow rehearsals with a downswing of 3 s and a stall."""
    flaws = [Flaw.STALL, Flaw.HIGH_KNEE][:most]
    return make_script(hand=hand_of(seed), pace=Pace.SLOW, flaw=flaws, reps=len(flaws), seed=seed)


def idle(seed: int, seconds: int) -> Script:
    """Everything but reps."""
    return make_idle_script(hand=hand_of(seed), seed=seed, seconds=float(seconds))


def at_tempo(seed: int, number: int) -> Script:
    """The same reps at one of six tempos, from `SHORTEST_S` to `LONGEST_S`."""
    lasts_s = float(np.geomspace(SHORTEST_S, LONGEST_S, 6)[number])
    flaws = [Flaw.STALL, Flaw.NONE] if seed % 2 else [Flaw.LEG_TURN, Flaw.NONE]
    return make_script(
        hand=hand_of(seed), pace=Pace.FULL, flaw=flaws, reps=len(flaws), seed=seed, tempo=FULL_S / lasts_s
    )


def play_all(
    make: Callable[[int, int], Script], jobs: Sequence[tuple[int, int]], segments: Sequence[Segment] = BODY
) -> list[SwingSession]:
    """All of them; several at once where there is enough to do and there are processors."""
    workers = min(cpu_count() or 1, len(jobs) // 8)
    if workers < 2:
        return [_job(make, segments, *one) for one in jobs]
    with ProcessPoolExecutor(workers, mp_context=get_context("spawn")) as pool:
        return list(pool.map(_job, [make] * len(jobs), [segments] * len(jobs), *zip(*jobs, strict=True)))


def _job(make: Callable[[int, int], Script], segments: Sequence[Segment], seed: int, number: int) -> SwingSession:
    return play(make(seed, number), segments)


# ── verdicts ─────────────────────────────────────────────────────────────────────────────────────────────────────


def verdicts(findings: Iterable[Finding]) -> dict[str, Verdict]:
    return {one.rule: one.verdict for one in findings}


def judged(rules: RuleSet, rep: Rep) -> dict[str, Verdict]:
    return verdicts(one for one in Rules(rules).feed(rep) if isinstance(one, Finding))
