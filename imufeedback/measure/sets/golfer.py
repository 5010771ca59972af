"""Players drawn from the published spread: are they like the published ones, and whom do the rules accuse?

No sensors are in it: angles are exact, and what the rules say of them is what they would say of the players themselves.
"""

from __future__ import annotations

from collections import Counter
from collections.abc import Iterator
from dataclasses import dataclass, replace

import msgspec
import numpy as np

from imufeedback import resources
from imufeedback.measure import swingers
from imufeedback.measure.checks import Band, Context, Measured, SetPart, at_most, exactly
from imufeedback.measure.curves import odd
from imufeedback.measure.drawn_flaws import made
from imufeedback.measure.drawn_reps import joined, reps_of, standing
from imufeedback.measure.drawn_session import with_sensors
from imufeedback.measure.rule_limits import BASELINE_REPS, CENTILES, FALLING, PUBLISHED, Before, seen
from imufeedback.records import Finding, Floats, Hand, Lack, Rep, Role, Unjudged, Verdict
from imufeedback.rules import Rules, RuleSet, parse_rule_set
from imufeedback.synth.drawn import Drawn, reps
from imufeedback.synth.flaws import Flaw
from imufeedback.synth.grounded import IMPACT, TOP, RepCourses, moves
from imufeedback.synth.player import Pace
from imufeedback.synth.practice import HalfWayStop, HipTurnMotion, make_practice_script
from imufeedback.synth.script import Script, make_script

PLAYERS, QUICK_PLAYERS, QUICK_LIMITS = 500, 60, 150
"""Of a share of 2 % nothing is seen in fewer than `QUICK_LIMITS`."""
QUICK_WORN, WORN_REPS = 30, 2
"""A player with sensors takes 3.3 s of a processor; of fewer reps one alone would be over the limit."""
SEEN, QUICK_SEEN = 20, 8
JUDGED_REPS = 2
OWN_RULES = ("turns-in-the-hips", "lead-hip-turns-in", "trail-hip-turns-in-back")
COACHS = "trail-thigh-"
"""Beginning of the rules that are a coach's target."""
SIDES = "both-hips-share-the-turn"
"""Of a drill, with a limit from these players."""
BLOCK_GIVE = 1.15
"""A gross `block`: the legs give all of the turn, on both sides."""


@dataclass(frozen=True, slots=True)
class Published:
    """One published figure; `sd` is the spread between players, NaN where none is published."""

    name: str
    mean: float
    sd: float
    woman: bool | None = None


ZHENG = (  # Int J Sports Med 2008;29:965-70; 25 + 25 tour professionals, optical, driver; table read
    Published("pelvis turn at top, men", 42, 7, woman=False),
    Published("pelvis turn at top, women", 49, 8, woman=True),
    Published("pelvis turn at impact, men", 42, 12, woman=False),
    Published("pelvis turn at impact, women", 52, 11, woman=True),
)
CHEETHAM = (Published("peak turn rate", 477, 53),)  # 2008; professionals, electromagnetic; from memory
BOURGAIN = (  # Sports 2022;10:91, table 6: excursions over the whole swing, one study, read from a plot, no spread
    Published("hip rotation range, lead", 50, float("nan")),
    Published("hip rotation range, trail", 40, float("nan")),
    Published("hip flexion range, lead", 30, float("nan")),
    Published("hip flexion range, trail", 45, float("nan")),
    Published("hip adduction range, lead", 45, float("nan")),
    Published("hip adduction range, trail", 40, float("nan")),
)
GULGIN = (  # J Sports Sci Med 2009;8:296-9; 15 collegiate women, driver; order from the abstract, numbers from memory
    Published("peak rate inward, lead hip, women", 228, 97, woman=True),
    Published("peak rate outward, trail hip, women", 145, 68, woman=True),
)
EVENTS = (  # arXiv 1903.06528, event labels of 246 tour players; medians and robust spread
    Published("time back, men", 0.83, 0.14, woman=False),
    Published("time back, women", 1.01, 0.17, woman=True),
)
FIGURES = (*ZHENG, *CHEETHAM, *BOURGAIN, *GULGIN, *EVENTS)
NO_SD_SHARE = 0.15


def like_the_published(context: Context) -> Iterator[Measured]:
    """Mean of each figure within half a published spread (15 % where none is published); spread 0.6 to 1.5 of it."""
    drawn = standing(_rng(context, 1), PLAYERS)
    values = _values(moves(drawn))
    for one in FIGURES:
        of = values[one.name.removesuffix(", men").removesuffix(", women")]
        who = np.ones(len(drawn), dtype=bool) if one.woman is None else drawn.woman == one.woman
        mean, sd = float(np.mean(of[who])), float(np.std(of[who], ddof=1))
        context.rows.append(
            {
                "set": "golfer",
                "figure": one.name,
                "mean": mean,
                "sd": sd,
                "published": one.mean,
                "published_sd": _or(one.sd),
            }
        )
        if one.sd == one.sd:
            yield Measured(f"{one.name}: mean off", (mean - one.mean) / one.sd, Band(-0.5, 0.5), "published SD")
            yield Measured(f"{one.name}: spread", sd / one.sd, Band(0.6, 1.5), "published SD")
        else:
            yield Measured(
                f"{one.name}: mean / published", mean / one.mean, Band(1 - NO_SD_SHARE, 1 + NO_SD_SHARE), "ratio"
            )


def _or(value: float) -> float | None:
    return value if value == value else None


def _values(made: RepCourses) -> dict[str, Floats]:
    """Degrees and seconds, by the name of the figure, without its sex."""
    deg, t = np.rad2deg, made.t_s

    def peak(angle: Floats) -> Floats:
        rates = np.stack([np.gradient(deg(one), at) for one, at in zip(angle, t, strict=True)])
        out: Floats = rates[:, TOP : IMPACT + 1].max(axis=1)
        return out

    out = {
        "pelvis turn at top": -deg(made.pelvis.turn[:, TOP]),
        "pelvis turn at impact": deg(made.pelvis.turn[:, IMPACT]),
        "peak turn rate": peak(made.pelvis.turn),
        "peak rate inward, lead hip": peak(made.lead.rotation),
        "peak rate outward, trail hip": peak(-made.trail.rotation),
        "time back": t[:, TOP] - t[:, 0],
    }
    for name, leg in (("lead", made.lead), ("trail", made.trail)):
        for what, angle in (("rotation", leg.rotation), ("flexion", leg.flexion), ("adduction", leg.adduction)):
            out[f"hip {what} range, {name}"] = deg(np.ptp(angle, axis=1))
    return out


def accused(context: Context) -> Iterator[Measured]:
    """Reps called a fault: of players without and with a baseline of their own, and of the same players when pelvis and
    legs turn as one block."""
    rng, rules = _rng(context, 2), _rules()
    drawn = standing(rng, QUICK_PLAYERS if context.quick else PLAYERS)
    before = [_said(Rules(rules), rep) for rep in reps_of(moves(drawn), rules)]
    faults = sum(one.get(rule) is Verdict.FAULT for one in before for rule in OWN_RULES)
    yield Measured("published players without a baseline: called at fault in their hips", faults, exactly(0), "reps")
    waits = sum(one.get(rule) is Lack.LIMIT for one in before for rule in OWN_RULES)
    share = 100 * waits / (len(before) * len(OWN_RULES))
    yield Measured("published players without a baseline: shown as without a limit", share, exactly(100), "%")
    context.say("baselines")
    normal, block = _after_baselines(rng, drawn, rules)
    for rule in rules.rules:
        wrong = 100 * _share(normal, rule.id, Verdict.FAULT)
        found = 100 * _share(block, rule.id, Verdict.FAULT)
        context.rows.append(
            {
                "set": "golfer", "rule": rule.id, "limit": rule.limit, "players": len(drawn), "fault_percent": wrong,
                "unsure_percent": 100 * _share(normal, rule.id, Verdict.UNSURE), "block_fault_percent": found,
                "block_unsure_percent": 100 * _share(block, rule.id, Verdict.UNSURE),
            }
        )  # fmt: skip
        # where the trail thigh angle falls is not published: a coach's target is told, without a limit
        limit = Band(None, None) if rule.id.startswith(COACHS) else at_most(2)
        yield Measured(f"published players, {rule.id}: reps called a fault", wrong, limit, "%")
    first = OWN_RULES[0]
    caught = 100 * (_share(block, first, Verdict.FAULT) + _share(block, first, Verdict.UNSURE))
    yield Measured(f"the same turning as one block, {first}: fault or unsure", caught, Band(None, None), "%")


def limits(context: Context) -> Iterator[Measured]:
    """Every rule of the swing set on reps without its flaw, and with the flaw from slight to gross; after a baseline of
    the player's own. `tests/helpers/limits_page.py` writes the whole table beside the rules."""
    rng, rules = _rng(context, 4), swingers.swing_rules()
    before = Before.of(rng, standing(rng, QUICK_LIMITS if context.quick else PLAYERS), rules)
    for one in seen(before, rules):
        context.say(f"{one.flaw.name}, {one.grade}")
        fault, unsure = one.own
        context.rows.append(
            {"set": "golfer", "flaw": one.flaw.name, "rule": one.flaw.rule, "grade": one.grade}
            | {"fault_percent": fault, "unsure_percent": unsure, "fault_alone_percent": one.alone[0]}
            | {f"centile_{k}": float(np.percentile(one.values, k)) for k in CENTILES}
        )
        what = f"{one.flaw.name}, {one.grade}: {one.flaw.rule}"
        if one.grade == (FALLING if one.flaw.falls else PUBLISHED):
            yield Measured(f"{what} says fault", fault, at_most(2), "%")
        elif one.grade == "slight":
            yield Measured(f"{what} says fault or unsure", fault + unsure, Band(70, None), "%")
        elif one.grade == "gross":
            yield Measured(f"{what} says fault", fault, Band(95, None), "%")


def worn(context: Context) -> Iterator[Measured]:
    """Players whose trail thigh falls as coaches describe, with typical sensors and soft tissue, without a baseline: is
    there a fault though the exact value lies inside the limit?"""
    players = QUICK_WORN if context.quick else PLAYERS
    rng, rules = _rng(context, 7), swingers.swing_rules()
    drawn = standing(rng, players)
    moved = made(reps(rng, drawn, WORN_REPS), (), falls=True)
    exact, certain = list(reps_of(moved, rules)), swingers.certain(rules)
    found, wrong = 0, Counter[str]()
    for player in range(players):
        context.say(f"player {player + 1} of {players}")
        which = range(player * WORN_REPS, (player + 1) * WORN_REPS)
        judged = with_sensors(moved, which, float(drawn.stature[player]), swingers.hand_of(player), player)
        for k, rep, faults in zip(which, judged.reps, judged.faults, strict=True):
            found += rep is not None
            true = {rule for rule, said in _said(Rules(certain), exact[k]).items() if said is Verdict.FAULT}
            wrong.update(faults - true)
            wrong["any"] += bool(faults - true)
    context.rows.append({"set": "golfer", "players": players, "reps": found, "wrong": dict(wrong)})
    total = players * WORN_REPS
    who = f"{players} players who keep losing angle, typical sensors"
    yield Measured(f"{who}: reps found", 100 * found / total, Band(99, None), "%")
    yield Measured(f"{who}: reps with a fault that is not true", 100 * wrong["any"] / max(found, 1), at_most(2), "%")


def curves(context: Context) -> Iterator[Measured]:
    """Players of the demo, calibration and drills included: what no body does."""
    players = QUICK_SEEN if context.quick else SEEN
    found = Counter[str]()
    for seed in range(context.seed, context.seed + players):
        seen = odd(_alive(seed))
        context.rows.append(
            {"set": "golfer", "seed": seed, "jumps": seen.jumps, "constant": seen.constant, "mirrors": seen.mirrors}
        )
        found.update(jumps=len(seen.jumps), constant=len(seen.constant), mirrors=len(seen.mirrors))
    who = f"curves of {players} players"
    yield Measured(f"{who}: jumps in the third derivative", found["jumps"], exactly(0), "jumps")
    yield Measured(
        f"{who}: nothing moves, or an angle is constant in a swing", found["constant"], exactly(0), "stretches"
    )
    yield Measured(f"{who}: one side an exact mirror of the other", found["mirrors"], exactly(0), "stretches")


def _alive(seed: int) -> Script:
    """As the demo makes it: both paces and hands in turn, and every fourth one drills."""
    hand, pace = Hand.RIGHT if seed % 3 else Hand.LEFT, Pace.FULL if seed % 2 else Pace.SLOW
    if seed % 4 == 0:
        acts = (Flaw.NONE, HipTurnMotion("trail", 33.0), HipTurnMotion("lead", -30.0), HalfWayStop(), HalfWayStop(75.0))
        return make_practice_script(acts, hand=hand, seed=seed, alive=True)
    return make_script(hand=hand, pace=pace, flaw=(Flaw.NONE, Flaw.STALL), reps=2, seed=seed, alive=True)


def _rules() -> RuleSet:
    """The built-in rules, and the one of a drill that compares both hips."""
    swing = swingers.swing_rules()
    drill = parse_rule_set(resources.text("drills", "shaft-across-the-hips"), "drill")
    return msgspec.structs.replace(swing, rules=swing.rules + tuple(one for one in drill.rules if one.id == SIDES))


def average(context: Context) -> Iterator[Measured]:
    """The middle of the drawn men and women: nobody may call them at fault but a coach's own target."""
    drawn, rules = standing(_rng(context, 3), PLAYERS), _rules()
    mean = joined([drawn.chosen(np.flatnonzero(drawn.woman == woman)).average() for woman in (False, True)])
    coachs = {rule.id for rule in rules.rules if rule.id.startswith(COACHS)}
    for who, rep in zip(("man", "woman"), reps_of(moves(mean), rules), strict=True):
        faults = {rule for rule, said in _said(Rules(rules), rep).items() if said is Verdict.FAULT}
        yield Measured(
            f"the average published {who}: faults beside a coach's target", len(faults - coachs), exactly(0), "rules"
        )
        yield Measured(
            f"the average published {who}: share of the turn in the hips",
            rep.features["own_axis_share"],
            Band(None, None),
            "1",
        )


def _after_baselines(
    rng: np.random.Generator, drawn: Drawn, rules: RuleSet
) -> tuple[list[dict[str, Verdict | Lack]], list[dict[str, Verdict | Lack]]]:
    """What is said of later reps: as the player swings, and as one block."""
    each = BASELINE_REPS + 2 * JUDGED_REPS
    swung = reps(rng, drawn, each)
    late = np.arange(len(swung)) % each >= BASELINE_REPS + JUDGED_REPS
    blocked = replace(
        swung,
        give_lead=np.where(late, BLOCK_GIVE, swung.give_lead),
        give_trail=np.where(late, BLOCK_GIVE, swung.give_trail),
        give_end=np.where(late, 90.0, swung.give_end),
    )
    all_reps = list(reps_of(moves(blocked), rules))
    normal: list[dict[str, Verdict | Lack]] = []
    block: list[dict[str, Verdict | Lack]] = []
    for k in range(0, len(all_reps), each):
        judge = Rules(rules)
        judge.begin(Role.BASELINE)
        for rep in all_reps[k : k + BASELINE_REPS]:
            judge.feed(rep)
        judge.begin(Role.SWINGS)
        later = [_said(judge, rep) for rep in all_reps[k + BASELINE_REPS : k + each]]
        normal += later[:JUDGED_REPS]
        block += later[JUDGED_REPS:]
    return normal, block


def _said(judge: Rules, rep: Rep) -> dict[str, Verdict | Lack]:
    told = judge.feed(rep)
    return {one.rule: one.verdict for one in told if isinstance(one, Finding)} | {
        one.rule: one.lack for one in told if isinstance(one, Unjudged)
    }


def _share(said: list[dict[str, Verdict | Lack]], rule: str, verdict: Verdict) -> float:
    return Counter(one.get(rule) for one in said)[verdict] / len(said)


def _rng(context: Context, step: int) -> np.random.Generator:
    return np.random.default_rng([context.seed, 18, step])


STEPS = (
    SetPart("players like the published ones", like_the_published),
    SetPart("whom the rules accuse", accused),
    SetPart("the average player", average),
    SetPart("limits of the rules", limits),
    SetPart("curves", curves),
    SetPart("with sensors", worn),
)
