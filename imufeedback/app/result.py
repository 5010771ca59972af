"""What a rep came to, as a headline: what happened in a sentence, one number with its error and its limit, and the one
thing to try. No Qt here but for the language of the words.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

from imufeedback.app import numerals, words
from imufeedback.app.next_words import next_words, worst
from imufeedback.app.palette import PaintedSign, PanelState
from imufeedback.app.tracks import RepEntry
from imufeedback.phrases import phrase
from imufeedback.records import Verdict

LOWEST, SD = "trail_thigh_angle_min_deg", "thigh_angle_sd_deg"
FLAT = "trail_thigh_flat_turn_deg"
"""The value of the strip: stalled turn, by which reps are ranked too."""


@dataclass(frozen=True, slots=True)
class Result:
    """One rep, said in three lines."""

    sign: PaintedSign
    """Tick, cross, ring (unsure) or dash (does not count)."""
    what: str
    number: str
    """Value ± one standard deviation, and its limit; empty when there is none."""
    to_try: str


def result_of(entry: RepEntry, target_deg: float | None = None) -> Result:
    """The headline of a rep. `target_deg` is the target of the trail thigh angle."""
    to_try = next_words(PanelState.WAITING, entry)
    name = phrase("rep_name", number=entry.rep.index + 1).capitalize()
    if not entry.counts:
        why = entry.rep.void or phrase("taken_out")
        return Result(PaintedSign.DASH, phrase("not_counted", name=name), why, to_try)
    found = worst(entry.findings)
    if found is None:
        return Result(PaintedSign.TICK, phrase("no_fault", name=name), _lowest(entry, target_deg), to_try)
    number = words.value_and_limit(found)
    what = sentence(found.text or found.rule.replace("-", " "))
    if found.verdict is Verdict.UNSURE:
        return Result(PaintedSign.RING, words.close_call(what), number, to_try)
    return Result(PaintedSign.CROSS, what, number, to_try)


def sentence(text: str) -> str:
    """The first sentence or clause of a rule's text: what happened. What to do about it is said apart."""
    first = text.split(": ")[0].split(". ")[0].rstrip(".:")
    return f"{first}."


def _spread(sd: float, unit: str) -> str:
    return "" if not sd else numerals.quantity(sd, unit)


def _lowest(entry: RepEntry, target_deg: float | None) -> str:
    lowest = entry.rep.features.get(LOWEST)
    if lowest is None:
        return ""
    spread = _spread(entry.rep.features.get(SD, 0.0), "deg")
    target = None if target_deg is None else numerals.quantity(target_deg, "deg")
    return words.lowest(numerals.quantity(lowest, "deg"), spread, target)


def strip(entries: Sequence[RepEntry]) -> list[tuple[PaintedSign, int, str, bool]]:
    """Reps as marks: sign, number, value (stalled turn, whole degrees; empty when not known), marked good."""
    out = []
    for one in entries:
        sign = PaintedSign.CROSS if one.faults else PaintedSign.RING if one.unsure else PaintedSign.TICK
        flat = one.rep.features.get(FLAT)
        out.append((sign, one.rep.index + 1, "" if flat is None else numerals.degrees(flat), one.good))
    return out
