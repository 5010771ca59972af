"""Why a rule says nothing about a rep, in words for the player."""

from __future__ import annotations

from imufeedback.records import Lack, Rep, Unjudged
from imufeedback.rules.baseline import LEAST_REPS
from imufeedback.rules.rule import Rule

SHANKS = ("knees_", "lead_knee_", "trail_knee_")
"""Beginnings of features that only sensors on the shanks show."""
NO_SHANKS = "No sensors on the shanks."
NO_IMPACT = "No impact was found in this rep."
NOT_MEASURED = "Not measured in this rep."
NO_BASELINE = "Golfers differ too much here for one limit. Hit a baseline block first, or have your coach set a target."


def unmeasured(rule: Rule, rep: Rep) -> Unjudged | None:
    """Said of a rule whose feature the rep has not; a rep that counts had all the angles that were measured at all."""
    missing = sorted(rule.judges - rep.features.keys())
    if not missing:
        return None
    if any(one.startswith(SHANKS) for one in missing):
        text = NO_SHANKS
    else:
        text = NO_IMPACT if "finish_s" in rep.positions and "impact_s" not in rep.positions else NOT_MEASURED
    return Unjudged(rule.id, rep.index, Lack.SENSOR, text)


def no_limit(rule: Rule, rep: Rep, reps: int, *, taking: bool) -> Unjudged:
    """Said of a rule that waits for a baseline; `reps` is what there is of it, `taking`: this rep belongs to it."""
    if taking:
        text = "This rep belongs to the baseline; later ones are compared with it."
    elif reps:
        text = f"The baseline has only {reps} of the {LEAST_REPS} reps it needs. Hit another baseline block."
    else:
        text = NO_BASELINE
    return Unjudged(rule.id, rep.index, Lack.LIMIT, text)
