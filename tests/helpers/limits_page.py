"""The page beside the rules on what their limits let pass and find. ``python tests/helpers/limits_page.py``, a few
minutes, remakes `imufeedback/rules/sets/LIMITS.md`."""

from __future__ import annotations

import sys
from collections.abc import Sequence
from itertools import groupby

import numpy as np

from imufeedback.measure.drawn_flaws import FLAWS, GRADES
from imufeedback.measure.drawn_reps import standing
from imufeedback.measure.rule_limits import BASELINE_REPS, CENTILES, Before, RuleShares, seen
from imufeedback.measure.swingers import swing_rules
from imufeedback.rules.rule import Rule

PLAYERS, SEED = 500, (1, 18, 5)

HEAD = f"""\
# What the limits of the swing rules let pass, and what they find

Made by `tests/helpers/limits_page.py`: {PLAYERS} players drawn from published values (`synth/drawn.py`), one rep each
without the flaw and with three grades of it (`measure/drawn_flaws.py`); exact angles, impact estimated. "After a
baseline" is after {BASELINE_REPS} reps of the player's own. Missed is neither a fault nor unsure, after a baseline.
Players whose legs would not reach the ground are left out. Sizes of the grades are chosen; no source says how large
people's flaws are.

The three trail-thigh rules are a coach's target. Where the angle falls is not published, and what drawn players do
there is no norm ("as published"); they are held against the same players with a trail thigh that keeps falling.

Chosen from this: a rule that holds for every golfer calls no more than 2 % of published reps a fault. Where that finds
too little, the player's own baseline narrows it (`kinds/stays_within.py`), but never into what coaches call fine. The
rules of hip rotation and of the turn through have no limit without a baseline or target.
"""


def page() -> str:
    rules = swing_rules()
    rng = np.random.default_rng(SEED)
    before = Before.of(rng, standing(rng, PLAYERS), rules)
    by_id = {one.id: one for one in rules.rules}
    parts = [HEAD]
    for rule, group in groupby(seen(before, rules, sorted(FLAWS, key=lambda one: list(by_id).index(one.rule))),
                               key=lambda one: one.flaw.rule):  # fmt: skip
        parts.append(_table(by_id[rule], list(group)))
    return "\n".join(parts)


def _table(rule: Rule, rows: Sequence[RuleShares]) -> str:
    head = " | ".join(f"{one} %" for one in CENTILES)
    lines = [f"## {rule.id}", "", f"`{rule.feature}`; {limit_words(rule)}.", ""]
    lines += [f"| | n | {head} | fault | unsure | fault after a baseline | unsure | missed |", "|---" * 12 + "|"]
    shown: set[str] = set()
    for one in rows:
        if one.grade not in GRADES and one.grade in shown:
            continue
        shown.add(one.grade)
        lines.append(row(one))
    return "\n".join([*lines, ""])


def row(one: RuleShares) -> str:
    name = one.grade
    if one.grade in GRADES:
        name = f"{one.flaw.name}, {one.grade} ({one.flaw.sizes[GRADES.index(one.grade)]:g} {one.flaw.unit})"
    values = " | ".join(f"{value:.2f}" for value in np.percentile(one.values, CENTILES))
    missed = f"{100 - sum(one.own):.1f}" if one.grade in GRADES else ""
    shares = " | ".join(f"{value:.1f}" for value in (*one.alone, *one.own))
    return f"| {name} | {len(one.values)} | {values} | {shares} | {missed} |"


def limit_words(rule: Rule) -> str:
    unit = {"deg": "°"}.get(str(rule.unit), "")
    if rule.waits:
        return "no limit without a baseline or target"
    low = getattr(rule, "low", None)
    words = f"limit {rule.limit:g}{unit}" if low is None else f"limits {low:g} and {rule.limit:g}{unit}"
    fine, fine_low = getattr(rule, "fine", None), getattr(rule, "fine_low", None)
    if fine is None:
        return words
    return f"{words}; fine whatever the baseline says: " + (
        f"up to {fine:g}{unit}" if fine_low is None else f"{fine_low:g} to {fine:g}{unit}"
    )


if __name__ == "__main__":
    sys.stdout.write(page())
