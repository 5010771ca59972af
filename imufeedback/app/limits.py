"""The limits of a rule set that a coach may change while the session runs."""

from __future__ import annotations

from imufeedback.app import words
from imufeedback.app.dialogs import Limit
from imufeedback.errors import BadToml
from imufeedback.rules import parse_recorded

TARGET = "live.target_deg"
_RANGES = {"deg": (0.0, 90.0), "1": (0.0, 1.0)}
_TARGET_RANGE = (-60.0, 60.0)


def limits_of(rule_set: str) -> dict[str, Limit]:
    """Target first, then one for each rule; nothing for a text that is no rule set (the session says so itself)."""
    try:
        parsed, _ = parse_recorded(rule_set, "rule set")
    except BadToml:
        return {}
    limits = {TARGET: Limit(TARGET, words.target_name(), parsed.live.target_deg, "deg", *_TARGET_RANGE)}
    for rule in parsed.rules:
        low, high = rule.allowed or _RANGES.get(rule.unit, (-1000.0, 1000.0))
        name = words.tr(rule.id.replace("-", " "))
        limits[rule.id] = Limit(rule.id, name, rule.limit, rule.unit, min(low, rule.limit), max(high, rule.limit))
    return limits
