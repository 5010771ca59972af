"""What to do next, in at most six words: read from three metres, in a second, between two swings."""

from __future__ import annotations

from collections.abc import Sequence

from imufeedback import shipped
from imufeedback.app.palette import PanelState
from imufeedback.app.tracks import RepEntry
from imufeedback.phrases import phrase
from imufeedback.records import Finding, Verdict
from imufeedback.rules.cause import causes_of
from imufeedback.rules.rule import SHORT_WORDS

MOST = SHORT_WORDS

SPOKEN_OF = (
    PanelState.NO_SENSORS,
    PanelState.CALIBRATION,
    PanelState.NO_SIGNAL,
    PanelState.FINISHED,
    PanelState.PAUSED,
    PanelState.UNTOLD,
    PanelState.ASKING,
)
"""States with words of their own, whatever the last rep was."""


def next_words(shown: PanelState, last: RepEntry | None) -> str:
    """Six words at most."""
    if shown in SPOKEN_OF:
        return phrase(f"next.{shown}")
    if last is None:
        return phrase("next.first")
    if last.rep.void:
        return phrase("next.void")
    if last.discarded:
        return phrase("next.dropped")
    found = worst(last.findings)
    why = causes_of(shipped.causes(), last.findings, last.rep.features)
    if why and not (found is not None and _own_words(found)):
        return why[0].short
    if found is None:
        return phrase("next.good")
    if found.verdict is Verdict.UNSURE:
        return phrase("next.unsure")
    short = found.short or shipped.words_of(found.rule).short
    return short if short else six(found.text or found.rule.replace("-", " "))


def six(text: str) -> str:
    """The first clause of a text, cut after six words."""
    clause = text.split(":")[-1].split(".")[0].split(";")[0].strip()
    words = clause.split()
    short = " ".join(words[:MOST]) + (" …" if len(words) > MOST else "")
    return short[:1].upper() + short[1:]


def worst(findings: Sequence[Finding]) -> Finding | None:
    """The first fault, else the first doubt: rules stand in the order of their weight."""
    faults = [one for one in findings if one.verdict is Verdict.FAULT]
    if faults:
        return faults[0]
    return findings[0] if findings else None


def _own_words(found: Finding) -> bool:
    """Whether a coach wrote other words for this rule than those that ship."""
    return bool(found.short) and found.short != shipped.words_of(found.rule).short
