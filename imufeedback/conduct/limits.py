"""Limits: the player's own ones, and those of a rule set in the units of the stages."""

from __future__ import annotations

import math

from imufeedback.errors import BadToml
from imufeedback.motion import HoldLimits, LiveLimits, RepLimits
from imufeedback.rules import Limits, RuleSet, parse_limits
from imufeedback.rules.drill import Hold

OWN = "limits of the player"
KEEPS_FALLING = "keeps-falling"
LONGEST_STALL_DEG = 4.0
"""Where no rule says how much turn a stall may last."""


def own_limits(text: str) -> tuple[Limits, list[str]]:
    """The player's own limits (TOML), and what is to be said when they cannot be used."""
    try:
        return parse_limits(text, OWN) if text else Limits(1), []
    except BadToml as error:
        return Limits(1), [f"{error}; the usual limits count"]


def live_limits(rule_set: RuleSet) -> LiveLimits:
    """What the live state is judged by: a stall is as long as the rule of the finished rep says."""
    live = rule_set.live
    longest = next((rule.limit for rule in rule_set.rules if rule.kind == KEEPS_FALLING), LONGEST_STALL_DEG)
    return LiveLimits(
        min_slope=live.min_slope,
        dead_turn_rad=math.radians(longest if live.dead_turn_deg is None else live.dead_turn_deg),
        dead_s=live.dead_ms / 1000.0,
        target_rad=math.radians(live.target_deg),
        grow_rad=math.radians(live.grow_deg),
    )


def rep_limits(rule_set: RuleSet) -> RepLimits:
    """What makes a movement a rep."""
    rep = rule_set.rep
    return RepLimits(
        min_backswing_rad=math.radians(rep.min_backswing_deg),
        min_through_rad=math.radians(rep.min_through_deg),
        max_s=rep.max_s,
        min_slope=rule_set.live.min_slope if rep.min_slope is None else rep.min_slope,
    )


def hold_limits(hold: Hold) -> HoldLimits:
    """What makes a held position a rep."""
    return HoldLimits(math.radians(hold.from_below_deg), math.radians(hold.at_least_deg), hold.hold_s)
