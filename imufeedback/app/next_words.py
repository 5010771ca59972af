"""What to do next, in at most six words: read from three metres, in a second, between two swings."""

from __future__ import annotations

from collections.abc import Sequence

from imufeedback import shipped
from imufeedback.app.palette import Shown
from imufeedback.app.tracks import Entry
from imufeedback.app.words import tr
from imufeedback.records import Finding, Verdict
from imufeedback.rules.cause import Cause, causes_of
from imufeedback.rules.rule import SHORT_WORDS

MOST = SHORT_WORDS

STATES = {
    Shown.NO_SENSORS: "Switch on the sensors",
    Shown.FITTING: "Do the fitting movements",
    Shown.NO_SIGNAL: "Wait: a sensor is silent",
    Shown.FINISHED: "Done. The recording is closed.",
    Shown.PAUSED: "Pause. Nothing counts now.",
    Shown.UNTOLD: "Results come after this block",
    Shown.ASKING: "1 good, 2 not, 3 unsure",
}
FIRST, GOOD, UNSURE = "Begin with a slow rehearsal", "Good. The same once more.", "Unclear. Once more, slower."
DROPPED = "That one does not count"
VOID = "That one did not count"


def next_words(shown: Shown, last: Entry | None) -> str:
    """Six words at most."""
    if shown in STATES:
        return tr(STATES[shown])
    if last is None:
        return tr(FIRST)
    if last.rep.void:
        return tr(VOID)
    if last.discarded:
        return tr(DROPPED)
    why = causes_of(shipped.causes(), last.findings, last.rep.features)
    if why:
        return tr(_own_short(why[0], last.findings) or why[0].short)
    worst = _worst(last.findings)
    if worst is None:
        return tr(GOOD)
    if worst.verdict is Verdict.UNSURE:
        return tr(UNSURE)
    short = worst.short or shipped.words_of(worst.rule).short
    return tr(short) if short else six(worst.text or worst.rule.replace("-", " "))


def six(text: str) -> str:
    """The first clause of a text, cut after six words."""
    clause = text.split(":")[-1].split(".")[0].split(";")[0].strip()
    words = clause.split()
    short = " ".join(words[:MOST]) + (" …" if len(words) > MOST else "")
    return short[:1].upper() + short[1:]


def _own_short(cause: Cause, findings: Sequence[Finding]) -> str | None:
    """A coach's own short words for a rule of this cause go before the cause's; None where the rule's are usual."""
    found = (one for one in findings if one.rule in cause.rules and one.verdict is Verdict.FAULT)
    return next((one.short for one in found if one.short not in (None, shipped.words_of(one.rule).short)), None)


def _worst(findings: Sequence[Finding]) -> Finding | None:
    """The first fault, else the first doubt: rules stand in the order of their weight."""
    faults = [one for one in findings if one.verdict is Verdict.FAULT]
    if faults:
        return faults[0]
    return findings[0] if findings else None
