"""The limits of a rule set that a coach may change while the session runs."""

from __future__ import annotations

from collections.abc import Collection, Mapping
from dataclasses import replace
from functools import lru_cache

from imufeedback.app.dialogs import Limit
from imufeedback.conduct import own_limits
from imufeedback.errors import BadToml
from imufeedback.motion.needs import KNEES, of_swing
from imufeedback.phrases import phrase
from imufeedback.records import Segment
from imufeedback.rules import Layers, RuleSet, own_layer, parse_recorded

TARGET, LOWEST = "live.target_deg", "trail_thigh_angle_min_deg"
_RANGES = {"deg": (0.0, 90.0), "1": (0.0, 1.0)}
_TARGET_RANGE = (-60.0, 60.0)


def limits_of(rule_set: str, layers: Layers | None = None) -> dict[str, Limit]:
    """Target first, then one for each rule, with what lies over it; nothing for a text that is no rule set (the session
    says so itself)."""
    base = rule_set_of(rule_set)
    if base is None:
        return {}
    layers = layers or Layers()
    limits = {TARGET: Limit(TARGET, phrase("target_name"), base.live.target_deg, "deg", *_TARGET_RANGE, feature=LOWEST)}
    for rule in base.rules:
        low, high = rule.allowed or _RANGES.get(rule.unit, (-1000.0, 1000.0))
        name = rule.id.replace("-", " ")
        limits[rule.id] = Limit(
            *(rule.id, name, rule.limit, rule.unit, min(low, rule.limit), max(high, rule.limit)),
            by_baseline=rule.waits,
            narrowed=rule.compares,
            feature=rule.feature,
            text=rule.text,
            basis=rule.basis or "",
        )
    return {key: _laid_over(limit, base, layers) for key, limit in limits.items()}


@lru_cache(maxsize=16)  # reading one takes 15 ms, which a frame has not
def rule_set_of(text: str) -> RuleSet | None:
    """The rule set of a text; None for what is none."""
    try:
        return parse_recorded(text, "rule set")[0]
    except BadToml:
        return None


def own_layers(home: str, text: str) -> Layers:
    """The player's own limits over the rule set that a session begins with; none of a text that cannot be read."""
    base = rule_set_of(home) if text else None
    return Layers() if base is None else own_layer(base, own_limits(text)[0])


def _laid_over(limit: Limit, base: RuleSet, layers: Layers) -> Limit:
    own = Layers(layers.player).of(base, limit.key)
    now = layers.of(base, limit.key)
    return replace(
        limit,
        usual=limit.value,
        own=None if own is None else own.value,
        value=limit.value if now is None else now.value,
        whose=None if now is None else now.whose,
    )


def of_worn(limits: Mapping[str, Limit], worn: Collection[Segment]) -> dict[str, Limit]:
    """Those whose rules can be judged with the sensors that are worn; all while nobody knows what is."""
    if not worn or any(one in worn for one in (Segment.LEFT_SHANK, Segment.RIGHT_SHANK)):
        return dict(limits)
    return {key: one for key, one in limits.items() if not of_swing([one.feature]) & KNEES}
