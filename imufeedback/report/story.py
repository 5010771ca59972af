"""What a session says: which reps were right and why, which were not, how sure the numbers are, what comes next.

What an older document has not is told as unknown, never made up.
"""

from __future__ import annotations

import math
import statistics
from collections import Counter
from collections.abc import Callable, Iterable, Mapping, Sequence
from dataclasses import dataclass
from statistics import median

from imufeedback.document import BlockTally, Document, FitQuality, JudgedRep, RuleFinding, UnjudgedRule
from imufeedback.phrases import PHRASES, phrase
from imufeedback.records import Unjudged, Verdict
from imufeedback.report.plain_words import rotation_words
from imufeedback.report.screened import screening_of, tight_side
from imufeedback.rules.cause import Cause, causes_of

SHOWN = 3
"""Best and worst reps that are shown."""


@dataclass(frozen=True, slots=True)
class RepReason:
    """A rep and why it is told of."""

    rep: JudgedRep
    reason: str


def counted(reps: Iterable[JudgedRep]) -> list[JudgedRep]:
    """The reps that were judged and not taken out: those in which every angle that the rules need was known."""
    return [rep for rep in reps if not rep.void and not rep.discarded]


def faults(rep: JudgedRep) -> list[RuleFinding]:
    return rep.found(Verdict.FAULT)


def unsure(rep: JudgedRep) -> list[RuleFinding]:
    return rep.found(Verdict.UNSURE)


def unjudged(rules: Iterable[Unjudged | UnjudgedRule]) -> list[tuple[str, str, list[str]]]:
    """(what is the matter, text, rules) of rules that could not be judged, each once, in their order."""
    told: dict[tuple[str, str], dict[str, None]] = {}
    for one in rules:
        told.setdefault((str(one.lack), one.text), {})[one.rule] = None
    return [(lack, text, list(names)) for (lack, text), names in told.items()]


def nothing(not_judged: int) -> str:
    """What is said of a rep without a finding: rules that could not be judged are not clean."""
    return f"none ({not_judged} not checked)" if not_judged else "none"


def severity(rep: JudgedRep) -> tuple[int, int, float]:
    """Sorts reps from right to wrong: faults, then unsure ones, then how far beyond their limits, then flat turn."""
    beyond = sum(_beyond(finding) for finding in rep.findings)
    return len(faults(rep)), len(unsure(rep)), beyond + 0.01 * rep.features.get("trail_thigh_flat_turn_deg", 0.0)


def _beyond(finding: RuleFinding) -> float:
    value, limit = finding.value, finding.limit
    if value is None or limit is None or not (math.isfinite(value) and math.isfinite(limit)):
        return 0.0
    return float(abs(value - limit) / max(abs(limit), 1e-3))


def best(reps: Sequence[JudgedRep]) -> list[RepReason]:
    """Up to three reps without a fault, the rightest first."""
    clean = sorted((one for one in reps if not faults(one)), key=severity)
    return [RepReason(one, _praise(one)) for one in clean[:SHOWN]]


def worst(reps: Sequence[JudgedRep]) -> list[RepReason]:
    """Up to three reps with a fault, the worst first."""
    wrong = sorted((one for one in reps if faults(one)), key=severity, reverse=True)
    return [RepReason(one, _blame(one)) for one in wrong[:SHOWN]]


def _praise(rep: JudgedRep) -> str:
    features, parts = rep.features, []
    lost = features.get("trail_thigh_loss_top_finish_deg")
    if lost is not None:
        parts.append(f"lost {number(lost, 'deg')} of thigh angle from top to finish")
    flat = features.get("trail_thigh_flat_turn_deg")
    if flat is not None:
        parts.append(f"never stalled for more than {number(flat, 'deg')} of turn")
    grown = features.get("trail_thigh_growth_deg")
    if grown is not None:
        parts.append(f"grew by {number(grown, 'deg')} at most")
    doubt = [f"{rule_words(finding.rule)} is unsure" for finding in unsure(rep)]
    return "; ".join(parts + doubt) or "no fault was found"


def _blame(rep: JudgedRep) -> str:
    ordered = sorted(faults(rep), key=_beyond, reverse=True)
    return " ".join(f"{one.text} ({_measured(one)}){f' {one.basis}' if one.basis else ''}" for one in ordered)


def _measured(finding: RuleFinding) -> str:
    if finding.least is not None:
        spread = f" (at least {number(finding.least, finding.unit)})"
    else:
        spread = f" ± {number(finding.sd, finding.unit)}" if finding.sd else ""
    return f"{number(finding.value, finding.unit)}{spread}, limit {number(finding.limit, finding.unit)}"


def rule_words(rule: str) -> str:
    return rule.replace("-", " ")


def fault_words(rule: str) -> str:
    """What a player did when a rule was not met; of a coach's own rule its name."""
    return phrase(f"fault.{rule}") if f"fault.{rule}" in PHRASES else f"not met: {rule_words(rule)}"


def finding_words(rule: str, verdict: Verdict) -> str:
    """A finding in a few words, for a table."""
    return fault_words(rule) if verdict is Verdict.FAULT else phrase("unsure_fault", fault=fault_words(rule))


def clock(seconds: float) -> str:
    """Minutes and seconds of a session."""
    return f"{int(seconds) // 60}:{int(seconds) % 60:02d}"


def number(value: float | None, unit: str) -> str:
    """A value with its unit, as a person reads it."""
    if value is None or not math.isfinite(value):
        return "not known"
    if unit == "deg":
        return f"{minus(value, 1)}°"
    if unit == "1":
        return minus(value, 2)
    return f"{minus(value, 1)} {unit.replace('_', '/')}"


def minus(value: float, digits: int) -> str:
    """A number with a true minus sign, and no minus before nothing."""
    text = f"{value:.{digits}f}"
    return (text[1:] if float(text) == 0 and text.startswith("-") else text).replace("-", "\N{MINUS SIGN}")


def common_faults(reps: Iterable[JudgedRep]) -> list[tuple[str, str, int]]:
    """(rule, text, reps with it), most frequent first."""
    texts: dict[str, str] = {}
    count: Counter[str] = Counter()
    for rep in reps:
        for finding in {finding.rule: finding for finding in faults(rep)}.values():
            texts.setdefault(finding.rule, finding.text)
            count[finding.rule] += 1
    return [(rule, texts[rule], times) for rule, times in count.most_common()]


@dataclass(frozen=True, slots=True)
class Next:
    """What to practise next, and why."""

    drill: str
    """Name of a drill; empty where none is made for it, and `title` and `text` say all."""
    title: str
    text: str
    feel: str = ""
    """What to feel instead."""
    reps: int = 0
    """In how many reps it was so."""


FASTER = Next(
    "",
    "The same a little faster",
    "Most reps were right. Keep the movement and shorten the time for it step by step; go back as soon as it breaks.",
)
USUAL_DRILL = "rehearsal-from-the-top"
"""Against a rule that names no drill: every correction begins slowly, with tones. Common practice, no source."""


def first_cause(rep: JudgedRep, causes: Sequence[Cause]) -> Cause | None:
    """The weightiest cause of a rep; None for one without a fault, or with rules that no cause knows."""
    found = causes_of(causes, rep.findings, rep.features)
    return found[0] if found else None


def common_causes(reps: Iterable[JudgedRep], causes: Sequence[Cause]) -> list[tuple[Cause, int]]:
    """(cause, reps that it comes first in), most frequent first; of equals the weightier."""
    firsts = Counter(one.id for rep in reps if (one := first_cause(rep, causes)) is not None)
    found = [(one, firsts[one.id]) for one in causes if one.id in firsts]
    return sorted(found, key=lambda one: -one[1])


def next_drill(
    reps: Sequence[JudgedRep],
    usual: Callable[[str], str | None] = lambda rule: None,
    causes: Sequence[Cause] = (),
) -> Next | None:
    """What to practise next; None without reps. The most frequent cause decides, then the most frequent fault. `usual`
    gives the drill against a rule for findings that name none: those by rule sets from before rules named theirs."""
    if not reps:
        return None
    why = common_causes(reps, causes)
    if why and why[0][1] * 4 >= len(reps):
        cause, times = why[0]
        return Next(cause.drill, TITLE, cause.text, cause.feel, times)
    found = common_faults(reps)
    if not found or found[0][2] * 4 < len(reps):
        return _after_screening(reps) or FASTER
    rule, text, times = found[0]
    named = next((one.drill for rep in reps for one in faults(rep) if one.rule == rule), None)
    return Next(named or usual(rule) or USUAL_DRILL, TITLE, text or rule_words(rule), "", times)


def _after_screening(reps: Sequence[JudgedRep]) -> Next | None:
    """The tight side gets more hip turns; None for reps that are none."""
    found = screening_of(reps)
    if found is None:
        return None
    tight = tight_side(found)
    if tight is not None:
        return Next(f"hip-turn-{tight[0]}", TITLE, tight[1])
    return EVEN if all("standing_hip_rotation_deg" in rep.features for rep in reps) else None


EVEN = Next("hip-turn-trail", "Slow hip turns, both legs", "Keep both hips moving: a few slow turns over each leg.")
TITLE = "Work on this one thing, slowly"


def unchecked(summary: Document) -> list[str]:
    """What was not looked at, in words: a fault that nobody looked for is no praise."""
    came = {sensor.role for sensor in summary.sensors if sensor.samples}
    if not came:
        return []
    lines = []
    missing = [one for one in ("left shank", "right shank") if one.replace(" ", "_") not in came]
    if missing:
        which = "shanks" if len(missing) == 2 else missing[0]
        lines.append(f"The knees were not checked: there was no sensor on the {which}.")
    thighs = [one for one in ("pelvis", "left thigh", "right thigh") if one.replace(" ", "_") not in came]
    if thighs:
        lines.append(f"Hips were not checked: nothing came from the sensor on the {' and the '.join(thighs)}.")
    return lines


def worked_on(summary: Document, rule_title: str) -> list[str]:
    """What was done, in order: the blocks, or the reps when there are no blocks."""
    if summary.blocks:
        return [_block_words(block) for block in summary.blocks]
    reps = counted(summary.reps)
    return [f"{rule_title}: {count(len(reps), 'rep')}"] if reps else []


def _block_words(block: BlockTally) -> str:
    name = block.name or block.drill or block.role or "block"
    text = f"{name}: {count(block.reps or 0, 'rep')}"
    if block.clean is not None:
        text += f", {block.clean} without a fault"
    return text if block.share is None else f"{text}, tones for {100 * block.share:.0f} % of them"


def count(many: int, what: str) -> str:
    return f"{many} {what}" if many == 1 else f"{many} {what}s"


def changed_limits(summary: Document) -> list[str]:
    """Limits that were not the rule set's own, and whose they were."""
    whose = {"player": "the player's own", "today": "set for this session only"}
    return [
        f"{rule_words(one.key)}: {minus(one.value, 1)}"
        + ("" if one.usual is None else f" instead of {minus(one.usual, 1)}")
        + f" ({whose.get(one.whose, one.whose)})"
        for one in summary.limits
    ]


def certainty(summary: Document) -> list[str]:
    """How sure the numbers are, line by line."""
    lines, reps = [_fit_words(summary.calibration)], counted(summary.reps)
    for feature, what in (("thigh_angle_sd_deg", "thigh angle"), ("hip_rotation_sd_deg", "hip rotation")):
        values = [rep.features[feature] for rep in reps if feature in rep.features]
        if values:
            middle = sorted(values)[len(values) // 2]
            lines.append(
                f"In the downswing the {what} is known to ±{middle:.1f}° (one standard deviation, median of reps)."
            )
    if any("impact_s" in rep.estimated for rep in reps):
        off = statistics.median(rep.features.get("impact_sd_s", 0.0) for rep in reps if "impact_s" in rep.estimated)
        known = f" to ±{1e3 * off:.0f} ms (one standard deviation)" if off else ""
        lines.append(f"Impact is an estimate{known}: no sensor felt the ball.")
    doubtful = sum(bool(unsure(rep)) for rep in reps)
    if doubtful:
        lines.append(f"In {count(doubtful, 'rep')} something is called unsure: the limit lies inside the error bar.")
    void = len(summary.reps) - len(reps)
    if void:
        lines.append(f"{count(void, 'rep')} without a result: an angle was not known all along.")
    return lines + unchecked(summary) + _data_words(summary)


def _fit_words(fit: FitQuality | None) -> str:
    if fit is None:
        return "There is no calibration, so there are no angles."
    reasons = [segment.reason for segment in fit.segments.values() if segment.reason]
    text = f"The calibration of the sensors to the body is {fit.level}."
    return f"{text} {' '.join(reasons)}" if reasons else text


def stance(features: Iterable[Mapping[str, float]]) -> str:
    """How the hips were turned at address, counted from standing at the calibration, as the median of the reps; empty
    where it is not known. Whoever wants rotation from there adds it."""
    reps = [one for one in features if "trail_hip_stance_deg" in one and "lead_hip_stance_deg" in one]
    if not reps:
        return ""
    trail, lead, sd = (
        median(rep[f"{name}_deg"] for rep in reps)
        for name in ("trail_hip_stance", "lead_hip_stance", "trail_hip_stance_sd")
    )
    return phrase("stance", trail=rotation_words(trail), lead=rotation_words(lead), sd=f"{sd:.1f}°")


def _data_words(summary: Document) -> list[str]:
    lost, samples = (0, 0) if summary.totals is None else (summary.totals.lost, summary.totals.samples)
    lines = [f"{100 * lost / (samples + lost):.1f} % of the samples were lost on the way."] if lost else []
    for sensor in summary.sensors:
        place = sensor.role.replace("_", " ")
        if not sensor.samples:
            lines.append(f"Nothing came from the sensor on the {place}.")
        elif sensor.saturated:
            part = f"{sensor.saturated} samples of the {place}"
            lines.append(f"{part} stood at the end of the sensor's range.")
    return lines + [f"The recording: {note}." for note in summary.file_notes]
