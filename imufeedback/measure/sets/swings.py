"""Swings: reps found and not found, marks, every built-in rule, live decisions, tempo, mirror, speed."""

from __future__ import annotations

import time
from collections.abc import Iterator, Mapping, Sequence
from functools import cache

import msgspec
import numpy as np

from imufeedback.cues.schedule import Cueing, TimedEvent
from imufeedback.measure import exact, swingers
from imufeedback.measure.checks import Band, Context, LeftOut, Measured, SetPart, at_most, exactly
from imufeedback.measure.swingers import SwingSession
from imufeedback.measure.walk import FOLDER, MOVEMENT_SOUNDS, walk
from imufeedback.records import Angles, Cue, Event, Floats, Hand, Rep, Verdict, Zeroed, sd_name
from imufeedback.rules import Rules, RuleSet
from imufeedback.rules.rule import Rule
from imufeedback.synth.between_reps import Interlude
from imufeedback.synth.flaws import Flaw
from imufeedback.synth.player import Pace
from imufeedback.synth.script import Script, make_hip_turn_script, make_script
from imufeedback.synth.sensors import WORN

FLAWS_OF: Mapping[str, tuple[Flaw, ...]] = {
    "trail-thigh-keeps-falling": (Flaw.STALL, Flaw.PUSH_BACK, Flaw.HIGH_KNEE),
    "trail-thigh-never-grows": (Flaw.PUSH_BACK,),
    "turns-in-the-hips": (Flaw.LEG_TURN,),
    "lead-hip-turns-in": (Flaw.LEG_TURN,),
    "trail-hip-turns-in-back": (Flaw.BACK_BLOCK,),
    "hips-level-half-way": (Flaw.LATE_LEVEL,),
    "trail-thigh-reaches-target": (Flaw.STALL, Flaw.HIGH_KNEE, Flaw.SITTING),
    "hips-not-still-flexed": (Flaw.SITTING,),
    "knees-cross": (Flaw.STIFF_KNEES,),
    "lead-knee-gives": (Flaw.KNEE_GIVE,),
    "turns-through": (),
}
"""Which flaws each built-in rule has to find. This golfer never stops turning early, drawn players do."""


@cache
def _mixed(seed: int, quick: bool) -> list[SwingSession]:
    """Players at all paces with all flaws, once for all steps."""
    players, reps = (1, 11) if quick else (200, 6)  # 11: every flaw, and two clean ones
    return swingers.play_all(swingers.mixed, [(one, reps) for one in range(seed, seed + players)])


def reps_found(context: Context) -> Iterator[Measured]:
    """Reps of seeded players at any pace."""
    seen = _mixed(context.seed, context.quick)
    true = [rep for one in seen for _, rep in one.found()]
    share = 100 * sum(one is not None for one in true) / len(true)
    yield Measured(f"reps found, {len(seen)} players at 0.8 s to 8 s", share, Band(99, None), "%")
    yield Measured("false reps among them", sum(one.false() for one in seen), exactly(0), "reps")


def no_reps(context: Context) -> Iterator[Measured]:
    """Everything but reps."""
    each_s = 40 if context.quick else 300
    seen = swingers.play_all(
        swingers.idle, [(one, each_s) for one in range(context.seed, context.seed + (1 if context.quick else 4))]
    )
    minutes = sum(one.script.duration_s for one in seen) / 60
    yield Measured(
        f"false reps in {minutes:.0f} minutes of everything else", sum(one.false() for one in seen), exactly(0), "reps"
    )
    stray = sum(_stray_tones(one) for one in seen)
    yield Measured("tones in them, but for backswings that are given up", stray, exactly(0), "tones")


def _stray_tones(seen: SwingSession) -> int:
    """A way back and home again looks like a stall until it is given up: its tones are no error."""
    given_up = [one for one in seen.script.truth.busy if one.kind is Interlude.BACK_AND_HOME]
    tones = [one.t_s for one in seen.events if isinstance(one, Cue) and one.sound in MOVEMENT_SOUNDS]
    return sum(not any(one.start_s <= t_s <= one.end_s for one in given_up) for t_s in tones)


def marks(context: Context) -> Iterator[Measured]:
    """Marks of reps at full pace against the truth."""
    seeds = range(context.seed, context.seed + (1 if context.quick else 60))
    seen = swingers.play_all(swingers.full, [(one, 4) for one in seeds])
    felt: dict[str, list[float]] = {"top_s": [], "level_s": [], "impact_s": []}
    estimated: list[float] = []
    late, stalls = [], 0
    for one in seen:
        for truth, rep in one.found():
            for name, errors in felt.items():
                errors.append(_off(rep, truth, name))
            estimated.append(_off(swingers.rep_of(truth, one.estimated), truth, "impact_s"))
            if truth.stall_s is not None:
                stalls += 1
                late += [state.t_s - truth.finish_s for state in one.stalls(truth)[:1]]
    for name, title, limit in (
        ("top_s", "top", 15),
        ("level_s", "level", 15),
        ("impact_s", "impact, felt by the forearm's sensor", 8),
    ):
        yield _p95(f"full pace: {title}, 95th percentile", felt[name], limit)
    yield _p95("full pace: impact, estimated, 95th percentile", estimated, 25)
    before = sum(one < 0 for one in late)
    yield Measured("full pace: stalls decided before the rep ends", 100 * before / max(stalls, 1), Band(100, None), "%")


def _off(rep: Rep | None, truth: object, name: str) -> float:
    """Milliseconds off; NaN when rep or mark is missing."""
    if rep is None or name not in rep.positions:
        return float("nan")
    return 1e3 * abs(rep.positions[name] - float(getattr(truth, name)))


def _p95(title: str, values: list[float], limit: float) -> Measured:
    """A mark that is missing counts as the worst."""
    worst_last = np.where(np.isnan(values), np.inf, values)
    value = float(np.percentile(worst_last, 95, method="higher"))
    return Measured(title, value if np.isfinite(value) else float("nan"), at_most(limit), "ms")


def rules(context: Context) -> Iterator[Measured]:
    """Every built-in rule on reps with and without the flaw that it is for; fault counts, unsure does not."""
    seen = _mixed(context.seed, context.quick)
    found = [(truth, one.findings(rep)) for one in seen for truth, rep in one.found() if rep is not None]
    clean = [swingers.verdicts(findings) for truth, findings in found if truth.flaw is Flaw.NONE]
    for rule in swingers.target_rules().rules:
        flaws = FLAWS_OF.get(rule.id, ())
        flawed = [swingers.verdicts(findings) for truth, findings in found if truth.flaw in flaws]
        caught = sum(one.get(rule.id) is Verdict.FAULT for one in flawed)
        accused = sum(one.get(rule.id) is Verdict.FAULT for one in clean)
        context.rows.append(
            {
                "set": "swings",
                "rule": rule.id,
                "flawed": len(flawed),
                "caught": caught,
                "flawed_unsure": sum(one.get(rule.id) is Verdict.UNSURE for one in flawed),
                "clean": len(clean),
                "accused": accused,
                "clean_unsure": sum(one.get(rule.id) is Verdict.UNSURE for one in clean),
            }
        )
        if flaws:
            yield Measured(f"{rule.id}: flawed reps caught", _percent(caught, len(flawed)), Band(98, None), "%")
        yield Measured(f"{rule.id}: clean reps accused", _percent(accused, len(clean)), at_most(1), "%")


def _percent(part: int, whole: int) -> float:
    return 100 * part / whole if whole else float("nan")


def error_bars(context: Context) -> Iterator[Measured]:
    """Limits set near what a rep truly does: is the verdict unsure where the error bar spans the limit?

    The truth is what the same stages say of the exact angles. Every rep and rule gets a coach's limit that the truth
    misses by 0 to 3 degrees (shares: as much in degrees of the downswing's turn).
    """
    rng = np.random.default_rng(context.seed)
    score, spans, unsure, wrong, near = [], 0, 0, 0, 0
    for one in _mixed(context.seed, context.quick):
        for truth, rep in one.found():
            if rep is None:
                continue
            true, _ = exact.judged(swingers.motion_of(one.script.hand), exact.around(one.script, truth))
            if true is None:
                continue
            for rule in swingers.target_rules().rules:
                pair = _pair(rule, rep, true)
                if pair is None:
                    continue
                value, truly, sd = pair
                score.append(abs(value - truly) / sd)
                beyond = rng.uniform(0, 3) * (1.0 if rule.unit == "deg" else 1 / 84)
                limit = truly + beyond if rule.kind.startswith("at-least") else truly - beyond
                alone = {"low": None} if hasattr(rule, "low") else {}
                moved = msgspec.structs.replace(rule, limit=limit, allowed=None, **alone)
                verdict = swingers.judged(_only(moved), rep).get(rule.id)
                near += 1
                wrong += verdict is None
                if rule.kind == "keeps-falling" and value <= limit:  # its bar is not the same on both sides
                    sd = rep.features["trail_thigh_flat_turn_up_sd_deg"]
                if abs(value - limit) < sd:
                    spans += 1
                    unsure += verdict is Verdict.UNSURE
    yield Measured("limits inside the error bar: reported unsure", _percent(unsure, spans), exactly(100), "%")
    yield Measured("truth 0 to 3° beyond the limit: neither fault nor unsure", _percent(wrong, near), at_most(16), "%")
    inside = np.array(score)
    if not context.quick:  # one player's errors go together: a share of them says nothing
        yield Measured(
            "values of rules within one standard deviation", 100 * float(np.mean(inside <= 1)), Band(60, None), "%"
        )
    yield Measured("values of rules within two", 100 * float(np.mean(inside <= 2)), Band(91, None), "%")


def _pair(rule: Rule, rep: Rep, true: Rep) -> tuple[float, float, float] | None:
    """Measured and true value of a rule's feature, and the measured one's standard deviation."""
    name = rule.feature
    value, truly, sd = rep.features.get(name), true.features.get(name), rep.features.get(sd_name(name))
    return None if value is None or truly is None or not sd else (value, truly, sd)


def _only(rule: Rule) -> RuleSet:
    return msgspec.structs.replace(swingers.target_rules(), rules=(rule,))


def live(context: Context) -> Iterator[Measured]:
    """The live decision in slow rehearsals, and that clean reps are left in peace."""
    seeds = range(context.seed, context.seed + (2 if context.quick else 40))
    seen = swingers.play_all(swingers.slow, [(one, 1 if context.quick else 2) for one in seeds])
    late = []
    for one in seen:
        for truth, _ in one.found():
            states = one.stalls(truth)
            assert truth.stall_s is not None
            late.append(1e3 * (states[0].t_s - truth.stall_s) if states else float("nan"))
    yield _p95("slow, downswing of 3 s: stall decided after its onset, 95th percentile", late, 150)
    told = [
        bool(one.stalls(truth))
        for one in _mixed(context.seed, context.quick)
        for truth, _ in one.found()
        if truth.flaw is Flaw.NONE
    ]
    yield Measured("clean reps with a live stall", _percent(sum(told), len(told)), at_most(1), "%")


TURNS_DEG = (30.0, -30.0, 30.0, -30.0)
"""Of the hip-turn drill, there and back each."""


def hip_turns(context: Context) -> Iterator[Measured]:
    """Hip turns over a standing leg, in and out, with the thigh still and with the leg turning along."""
    found, off, lost_form, kept_form = 0, [], 0, 0
    turns_deg = TURNS_DEG[:2] if context.quick else TURNS_DEG
    seeds = range(context.seed, context.seed + (1 if context.quick else 10))
    for seed in seeds:
        for side in ("lead",) if context.quick else ("lead", "trail"):
            for share in (1.0, 0.3):
                script = make_hip_turn_script(hand=swingers.hand_of(seed), seed=seed, turns_deg=turns_deg, share=share)
                seen = swingers.play_drill(script, f"hip-turn-{side}")
                found += len(seen.reps)
                fails = sum(
                    "standing-thigh-still"
                    in swingers.verdicts(f for f in seen.findings(rep) if f.verdict is Verdict.FAULT)
                    for rep in seen.reps
                )
                if share == 1.0:
                    kept_form += fails
                    off += [_score(rep.features, "standing_hip_rotation_deg", 30.0) for rep in seen.reps]
                else:
                    lost_form += fails
    each = len(seeds) * (1 if context.quick else 2) * len(turns_deg)
    yield Measured("hip turns found, in and out", _percent(found, 2 * each), Band(99, 100), "%")
    yield Measured("hip turns with the leg turning along: form lost", _percent(lost_form, each), Band(98, None), "%")
    yield Measured("hip turns over a still thigh: form lost", _percent(kept_form, each), at_most(1), "%")
    yield Measured(
        "hip turns: range within two error bars", 100 * float(np.mean(np.array(off) <= 2)), Band(91, None), "%"
    )


def _score(features: Mapping[str, float], name: str, truly: float) -> float:
    return abs(features[name] - truly) / features[sd_name(name)]


def tempos(context: Context) -> Iterator[Measured]:
    """The same rep at six tempos from 0.8 s to 8 s."""
    rules_ = swingers.certain(swingers.target_rules())
    differ = 0
    for seed in range(context.seed, context.seed + (1 if context.quick else 20)):
        for flaw in Flaw:
            said = []
            for lasts_s in np.geomspace(swingers.SHORTEST_S, swingers.LONGEST_S, 6):
                script = make_script(pace=Pace.FULL, flaw=flaw, reps=1, seed=seed, tempo=swingers.FULL_S / lasts_s)
                said.append(_exact_verdicts(script, rules_))
            differ += any(one != said[0] for one in said)
    yield Measured("exact angles: reps whose results differ over six tempos", differ, exactly(0), "reps")
    seeds = range(context.seed, context.seed + (1 if context.quick else 10))
    seen = swingers.play_all(swingers.at_tempo, [(seed, number) for seed in seeds for number in range(6)], WORN)
    differ = contradict = 0
    for k in range(len(seeds)):
        group = seen[6 * k : 6 * k + 6]
        for index in range(len(group[0].script.truth.reps)):
            found = [(one, rep) for one in group for truth, rep in one.found() if truth.index == index]
            said = [None if rep is None else swingers.verdicts(one.findings(rep)) for one, rep in found]
            differ += any(one != said[0] for one in said)
            contradict += _contradict(said)
    # error bars grow with the pace, so what is unsure at one may be sure at another
    yield Measured("typical sensors: reps that are a fault at one of six tempos and not even unsure at another",
                   contradict, exactly(0), "reps")  # fmt: skip
    yield Measured("typical sensors: reps whose results differ over six tempos", differ, Band(None, None), "reps")


def _contradict(said: Sequence[Mapping[str, Verdict] | None]) -> bool:
    known = [one for one in said if one is not None]
    rules_ = {rule for one in known for rule in one}
    verdicts = [{one.get(rule) for one in known} for rule in rules_]
    return len(known) < len(said) or any(Verdict.FAULT in one and None in one for one in verdicts)


def _exact_verdicts(script: Script, rules_: RuleSet) -> Mapping[str, Verdict] | None:
    rep, _ = exact.judged(swingers.motion_of(script.hand), exact.around(script, script.truth.reps[0]))
    return None if rep is None else swingers.judged(rules_, rep)


def mirror(context: Context) -> Iterator[Measured]:
    """A left-hander who is a right-hander's mirror image."""
    rules_ = swingers.target_rules()
    differ, apart = 0, 0.0
    for seed in range(context.seed, context.seed + (1 if context.quick else 20)):
        for flaw in Flaw:
            reps = []
            for hand in Hand:
                script = make_script(hand=hand, pace=Pace.FULL, flaw=flaw, reps=1, seed=seed)
                rep, _ = exact.judged(swingers.motion_of(hand), exact.around(script, script.truth.reps[0]))
                reps.append(rep)
            one, other = reps
            if one is None or other is None or one.features.keys() != other.features.keys():
                apart = float("nan")
                continue
            differ += swingers.judged(rules_, one) != swingers.judged(rules_, other)
            apart = max(apart, *(abs(one.features[name] - other.features[name]) for name in one.features))
    yield Measured("mirror image: reps whose results differ", differ, exactly(0), "reps")
    yield Measured("mirror image: largest difference of any number", apart, at_most(1e-9), "its unit")


def speed(context: Context) -> Iterator[Measured]:
    """Motion, rules and cues per step of 5 ms, in packets of four steps; reps one after the other."""
    session = make_script(pace=Pace.FULL, flaw=Flaw.STALL, reps=3, seed=context.seed)
    blocks: list[Angles | Zeroed] = []
    for truth in session.truth.reps:
        whole = exact.around(session, truth)
        blocks.append(Zeroed(float(whole.t_s[0]), "address"))
        blocks += [exact.angles(session, part) for part in _fours(whole.t_s)]
    steps = sum(len(one.t_s) for one in blocks if isinstance(one, Angles))
    best = min(_run_once(blocks, session.hand) for _ in range(7))
    yield Measured("motion, rules and cues, per step", best / steps * 1e6, at_most(40), "µs")


def _run_once(blocks: list[Angles | Zeroed], hand: Hand) -> float:
    motion, judge, cueing = swingers.motion_of(hand), Rules(swingers.target_rules()), Cueing()
    begun = time.perf_counter()
    for block in blocks:
        now_s = float(block.t_s if isinstance(block, Zeroed) else block.t_s[-1])
        for made in motion.feed(block):
            events: list[Event] = [made, *judge.feed(made)] if isinstance(made, Rep) else [made]
            for event in events:
                cueing.feed(TimedEvent(now_s, event))
    return time.perf_counter() - begun


def _fours(t_s: Floats) -> list[Floats]:
    return [t_s[i : i + 4] for i in range(0, len(t_s), 4)]


def published(context: Context) -> Iterator[Measured]:
    """The synthetic golfer of this seed as measured, against published bands."""
    session = make_script(pace=Pace.FULL, reps=1, seed=context.seed)
    rep, _ = exact.judged(swingers.motion_of(session.hand), exact.around(session, session.truth.reps[0]))
    values = {} if rep is None else rep.features
    nan = float("nan")
    zheng = "Zheng et al. 2008, men"
    yield Measured(
        f"pelvis turn at top ({zheng}: 42 ± 7)", -values.get("pelvis_turn_top_deg", nan), Band(35, 49), "deg"
    )
    yield Measured(
        f"pelvis turn at impact ({zheng}: 42 ± 12)", values.get("pelvis_turn_impact_deg", nan), Band(30, 54), "deg"
    )
    grober = "Grober & Cholewicki 2006"
    yield Measured(
        f"downswing ({grober}: 0.27, amateurs to 0.40 from memory)",
        values.get("downswing_s", nan),
        Band(0.23, 0.40),
        "s",
    )
    yield Measured(f"tempo ratio ({grober}: 21/7 to 30/10)", values.get("tempo_ratio", nan), Band(2.6, 3.4), "1")


def walking(context: Context) -> Iterator[Measured]:
    """A person who sits, stands and walks."""
    if context.data is None or not (context.data / FOLDER).is_dir():
        raise LeftOut("the recordings of people are not here; name their folder with --data")
    seen = walk(context.data, context.work)
    yield Measured("walker: reps", seen.reps, exactly(0), "reps")
    yield Measured(
        "walker: tones about the movement", sum(one in MOVEMENT_SOUNDS for one in seen.sounds), exactly(0), "tones"
    )


STEPS = (
    SetPart("players at all paces", reps_found),
    SetPart("everything but reps", no_reps),
    SetPart("positions at full pace", marks),
    SetPart("the built-in rules", rules),
    SetPart("error bars of the rules", error_bars),
    SetPart("live decisions", live),
    SetPart("hip turns", hip_turns),
    SetPart("six tempos", tempos),
    SetPart("mirror image", mirror),
    SetPart("speed", speed),
    SetPart("published bands", published),
    SetPart("a person walking", walking),
)
