"""Reps to findings: rule kinds in Python, rule sets and drills with their limits in TOML."""

from imufeedback.rules.drill import STOP_WORDS
from imufeedback.rules.layers import Changed, Layers, Whose, own_layer
from imufeedback.rules.parse import parse_recorded, parse_rule_set
from imufeedback.rules.ruleset import Limits, RuleSet, parse_limits, passed_over, with_limit, with_limits
from imufeedback.rules.stage import Rules

__all__ = [
    "STOP_WORDS",
    "Changed",
    "Layers",
    "Limits",
    "RuleSet",
    "Rules",
    "Whose",
    "own_layer",
    "parse_limits",
    "parse_recorded",
    "parse_rule_set",
    "passed_over",
    "with_limit",
    "with_limits",
]
