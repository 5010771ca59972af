"""Reps to findings: rule kinds in Python, rule sets with their limits in TOML."""

from imufeedback.rules.ruleset import RuleSet, parse_rule_set
from imufeedback.rules.stage import Rules

__all__ = ["RuleSet", "Rules", "parse_rule_set"]
