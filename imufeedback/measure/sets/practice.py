"""Practice as a coach runs it: a plan carried out hands off, limits that stay, and the cause before the symptom."""

from __future__ import annotations

import time
from collections.abc import Iterator, Sequence
from itertools import product

import numpy as np

from imufeedback import resources, shipped
from imufeedback.live.lesson import AFTER
from imufeedback.measure import archive, exact, guided, persons, swingers, tapping, walk
from imufeedback.measure.checks import Band, Context, LeftOut, Measured, SetPart, at_most, exactly
from imufeedback.measure.drawn_causes import RepCauses, told
from imufeedback.measure.drawn_flaws import FLAWS, DrawnFlaw
from imufeedback.measure.drawn_reps import standing
from imufeedback.measure.golfer import items
from imufeedback.measure.practice import VALUE, carried_out
from imufeedback.measure.rule_limits import BASELINE_REPS, Before, accustomed, found
from imufeedback.record.importer import import_folder
from imufeedback.record.library.library import Library
from imufeedback.record.replay import read_items
from imufeedback.records import Finding, Hand, Rep, Tapped, Verdict
from imufeedback.rules import RuleSet, parse_rule_set
from imufeedback.rules.cause import Cause, causes_of
from imufeedback.synth.flaws import Flaw
from imufeedback.synth.player import Pace
from imufeedback.synth.script import Script, make_script
from imufeedback.synth.sensors import WORN

CAUSES = {
    Flaw.PUSH_BACK: "pushes-back",
    Flaw.STALL: "stalls",
    Flaw.HIGH_KNEE: "knee-stays-up",
    Flaw.LEG_TURN: "one-block",
    Flaw.BACK_BLOCK: "block-on-the-way-back",
    Flaw.LATE_LEVEL: "levels-at-the-wrong-time",
    Flaw.SITTING: "stays-sitting",
    Flaw.STIFF_KNEES: "knees-do-not-trade",
    Flaw.KNEE_GIVE: "lead-knee-gives",
}
"""What each flaw of the synthetic golfer is, by the table of causes."""
PLAYERS, QUICK_PLAYERS = 200, 30
PAIRS = (
    ("trail side pushed back", "lead knee gives"),
    ("trail side pushed back", "slides over a bent knee"),
    ("one block", "lead knee gives"),
    ("stall", "lead knee gives"),
    ("stall", "slides over a bent knee"),
    ("trail leg goes along back", "level late"),
)
"""Neither explains the other; the weightier one first."""
AT_LEAST = Band(95, None)


def lessons(context: Context) -> Iterator[Measured]:
    """A plan with a baseline, a block in which the player says first what he thinks, and a test; nobody presses a
    key."""
    wrong = leaks = early = lost = limits = 0
    for hand in Hand:
        context.say(f"{hand}-handed")
        told, blocks = carried_out(hand, Flaw.PUSH_BACK, context.seed)
        wanted = [*(one.name for one in blocks), AFTER.name]
        wrong += told.blocks != wanted
        leaks, early = leaks + told.leaks, early + told.early
        asked = sum(one.reps or 0 for one in blocks if one.command.estimate)
        lost += abs(asked - told.estimates) + abs(asked - told.after_estimate)
        limits += not told.limits or any(one != VALUE for one in told.limits)
    yield Measured("lessons whose blocks did not follow each other by themselves", wrong, exactly(0), "lessons")
    yield Measured("results of baseline and test shown or heard before their end", leaks, exactly(0), "results")
    yield Measured("results shown or heard before the player's own call", early, exactly(0), "results")
    yield Measured("calls that did not time out, or whose result did not come then", lost, exactly(0), "reps")
    yield Measured("lessons in which a changed limit did not survive the blocks", limits, exactly(0), "lessons")


def causes(context: Context) -> Iterator[Measured]:
    """The first cause of a rep, with its drill, against the flaw that the golfer really had: exact angles, knees too,
    after a baseline of the player's own, as lessons have."""
    rules, right, total, clean = swingers.swing_rules(), 0, 0, 0
    players = range(context.seed, context.seed + (1 if context.quick else 5))
    for seed, hand, pace in product(players, Hand, Pace):
        context.say(f"player {seed}, {hand}, {pace}")
        usual = make_script(hand=hand, pace=pace, reps=BASELINE_REPS, seed=seed)
        judge = accustomed(rules, [one for one in _reps(usual, rules) if one is not None])
        for flaw in (Flaw.NONE, *CAUSES):
            (rep,) = _reps(make_script(hand=hand, pace=pace, flaw=flaw, reps=1, seed=seed), rules)
            told = [] if rep is None else causes_of(shipped.causes(), found(judge, rep), judge.compared(rep).features)
            if flaw is Flaw.NONE:
                clean += rep is None or bool(told)
                continue
            right, total = right + (told[:1] == [_named(CAUSES[flaw])]), total + 1
            row = {"seed": seed, "flaw": str(flaw), "hand": str(hand), "pace": str(pace)}
            context.rows.append({"set": "practice", **row, "causes": [one.id for one in told]})
    yield Measured("flaws whose cause is named first", 100 * right / max(total, 1), AT_LEAST, "%")
    yield Measured("flawless reps for which a cause is named", clean, exactly(0), "reps")


def _reps(script: Script, rules: RuleSet) -> Iterator[Rep | None]:
    """Each rep on its own; None where it was not found."""
    for truth in script.truth.reps:
        yield exact.judged(swingers.motion_of(script.hand, rules), exact.around(script, truth))[0]


def _named(name: str) -> Cause:
    return next(one for one in shipped.causes() if one.id == name)


def causes_of_players(context: Context) -> Iterator[Measured]:
    """The same of drawn players after a baseline of their own, whose trail thigh falls as coaches describe but for the
    flaw: gross flaws, and two together. A player who is told something without the flaw too is left out: it may well
    weigh more."""
    rules, rng = swingers.swing_rules(), np.random.default_rng([context.seed, 18, 6])
    players = QUICK_PLAYERS if context.quick else PLAYERS
    before = Before.of(rng, standing(rng, players), rules)
    clean = [one is not None and not one.causes for one in told(before, rules, ())]

    def said(*flaws: DrawnFlaw) -> list[RepCauses]:
        each = told(before, rules, [(flaw, flaw.sizes[-1]) for flaw in flaws])
        return [one for one, alone in zip(each, clean, strict=True) if one is not None and alone]

    all_first = all_of_them = 0
    for flaw in FLAWS:
        context.say(flaw.name)
        reps = said(flaw)
        first = sum(one.causes[:1] == (flaw.cause,) for one in reps)
        named = sum(flaw.cause in one.causes for one in reps)
        all_first, all_of_them = all_first + first, all_of_them + len(reps)
        context.rows.append(
            {"set": "practice", "flaw": flaw.name, "cause": flaw.cause, "players": len(reps), "first": first}
            | {"named": named, "rule": sum(flaw.rule in one.rules for one in reps)}
        )
        yield Measured(f"{players} drawn players, {flaw.name}: its cause first", 100 * first / len(reps), AT_LEAST, "%")
    yield Measured(f"{players} drawn players, all flaws: cause first", 100 * all_first / all_of_them, AT_LEAST, "%")
    by_name = {one.name: one for one in FLAWS}
    both = first = total = 0
    for one, other in PAIRS:
        flaws = by_name[one], by_name[other]
        for rep in said(*flaws):
            total += 1
            both += all(flaw.cause in rep.causes for flaw in flaws)
            first += rep.causes[:1] == (flaws[0].cause,)
    yield Measured("two flaws together: both causes named", 100 * both / total, Band(90, None), "%")
    yield Measured("two flaws together: the weightier first", 100 * first / total, Band(90, None), "%")


def ends(context: Context) -> Iterator[Measured]:
    """Every rule that ships, alone."""
    dead = 0
    for kind in ("rules", "drills"):
        for text in resources.shipped(kind):
            for rule in parse_rule_set(text, kind).rules:
                alone = [Finding(rule.id, 0, 0.0, rule.limit, rule.limit, str(rule.unit), Verdict.FAULT, "", "", 0.0)]
                first = next(iter(causes_of(shipped.causes(), alone, {})), None)
                there = first is not None and first.drill in resources.available("drills")
                dead += first is None or not first.text or not there
    yield Measured("rules that lead to no sentence and no drill", dead, exactly(0), "rules")


def drills(context: Context) -> Iterator[Measured]:
    """Right and wrong reps of the first step of three drills, with typical sensors."""
    tried: list[guided.Tried] = []
    for seed in range(context.seed, context.seed + (1 if context.quick else 12)):
        context.say(f"player {seed}")
        tried += guided.tries(seed)
    wrong, right = ([one for one in tried if one.right is kind] for kind in (False, True))
    for one in tried:
        if one.right is not one.counted:
            context.rows.append({"set": "practice", "step": one.what, "counted": one.counted})
    share = 100 * sum(one.counted for one in wrong) / len(wrong)
    yield Measured("steps: wrong pace, knee, pelvis or position counted as good", share, at_most(2), "%")
    refused = 100 * sum(not one.counted for one in right) / len(right)
    yield Measured("steps: good reps that did not count", refused, at_most(10), "%")


def screenings(context: Context) -> Iterator[Measured]:
    """The shipped screening, by players whose ranges are known; a side difference is told when it truly lies beyond
    what the screening itself calls detectable."""
    errors: list[float] = []
    told = pairs = unfinished = 0
    for seed in range(context.seed, context.seed + (2 if context.quick else 40)):
        context.say(f"player {seed}")
        one = guided.screened(seed)
        if one.found is None:
            unfinished += 1
            continue
        errors += [abs(one.found.ranges[key].mean_deg - value) for key, value in one.true_deg.items()]
        for direction in guided.DIRECTIONS:
            least, found = one.found.detectable_deg(direction), one.found.side_difference_deg(direction)
            truly = one.true_deg["lead", direction] - one.true_deg["trail", direction]
            told += found is not None and (abs(found) > least) == (abs(truly) > least)
            pairs += 1
            row = {"truly_deg": truly, "found_deg": found, "detectable_deg": least}
            context.rows.append({"set": "practice", "screening": seed, "direction": direction, **row})
    yield Measured("screenings that did not come to their end", unfinished, exactly(0), "players")
    yield Measured("screening: range off, 95th percentile", float(np.percentile(errors, 95)), at_most(4), "°")
    yield Measured("screening: side differences told rightly", 100 * told / pairs, AT_LEAST, "%")


def taps(context: Context) -> Iterator[Measured]:
    """A double tap of a thigh answers what the player thinks of a rep; nothing else is one."""
    heard = total = swung = found = 0
    for seed in range(context.seed, context.seed + (1 if context.quick else 5)):
        for hand in Hand:
            context.say(f"player {seed}, {hand}")
            answers = list(tapping.answered(seed, hand))
            heard, total = heard + sum(one.heard == one.meant for one in answers), total + len(answers)
        for pace in Pace:
            script = make_script(pace=pace, reps=4, seed=seed, busy=True, flaw=Flaw.STALL)
            found += tapping.taps_in(items(script, WORN, model=guided.TYPICAL))
            swung += len(script.truth.reps)
    yield Measured("answers by a double tap that were heard as meant", 100 * heard / total, AT_LEAST, "%")
    yield Measured(f"{swung} swings and what lies between them: double taps found", found, exactly(0), "taps")


def taps_of_people(context: Context) -> Iterator[Measured]:
    """Recordings of people who walk, sit, squat and land on their feet: nobody tapped."""
    if context.data is None or not (context.data / persons.FOLDER).is_dir():
        raise LeftOut("the recordings of people are not here; name their folder with --data")
    found = len([one for one in walk.walk(context.data, context.work).events if isinstance(one, Tapped)])
    for trial in persons.trials(context.data):
        context.say(trial.name)
        made = import_folder(
            trial.folder / "imu", context.work / f"taps_{trial.name}.mcap", still_s=trial.still_s, flex_s=trial.flex_s
        )
        found += tapping.taps_in(read_items(made.path))
    yield Measured("recordings of people: double taps found", found, exactly(0), "taps")


def trends(context: Context) -> Iterator[Measured]:
    """A year of sessions, three a week: the middle one of five questions for one trend over all of them."""
    root, sessions = context.work / "year", 3 * 52
    archive.make_library(root, sessions, 40 if context.quick else 80, np.random.default_rng(context.seed))
    took = []
    with Library(root) as library:
        for _ in range(5):
            began = time.perf_counter()
            points = library.trend("trail_thigh_flat_turn_deg")
            took.append(time.perf_counter() - began)
    yield Measured("a year of sessions, three a week: one trend", float(np.median(took)), at_most(0.3), "s")
    missing = sessions - len({one.path for one in points})
    yield Measured("a year of sessions: days missing in the trend", missing, exactly(0), "days")


STEPS: Sequence[SetPart] = (
    SetPart("lessons, hands off", lessons),
    SetPart("causes", causes),
    SetPart("causes of drawn players", causes_of_players),
    SetPart("where rules lead", ends),
    SetPart("steps of drills", drills),
    SetPart("screenings", screenings),
    SetPart("double taps", taps),
    SetPart("double taps, people", taps_of_people),
    SetPart("a year of trends", trends),
)
