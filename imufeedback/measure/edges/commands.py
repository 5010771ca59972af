"""Recordings with whole checksums and commands that make no sense: each is told, and what is good is judged as ever."""

from __future__ import annotations

from collections.abc import Callable, Iterator, Mapping, Sequence
from dataclasses import dataclass, replace
from pathlib import Path
from typing import Any

import numpy as np

from imufeedback.errors import ImuFeedbackError
from imufeedback.measure.archive import write_items
from imufeedback.measure.checks import Context, Measured, SetPart, exactly
from imufeedback.measure.golfer import items
from imufeedback.records import Command, Finding, Item, Json, Rep
from imufeedback.review.judging import judge
from imufeedback.synth.flaws import Flaw
from imufeedback.synth.script import make_script
from imufeedback.synth.sensors import WORN

FULL, QUICK = 1000, 100
ROUNDING = 1e-6
"""Of every feature: that of the angles is 1e-9 rad."""
TOGETHER = 50
"""Commands in one recording: most of the time goes into judging its swings."""

_SEGMENT: dict[str, Json] = {
    "segment": "pelvis",
    "q_sb": [1.0, 0.0, 0.0, 0.0],
    "level": "good",
    "sd_rad": 0.05,
    "reason": None,
    "acc_bias_m_s2": [0.0, 0.0, 0.0],
    "sd_axes_rad": None,
}
_GOOD: Mapping[str, Mapping[str, Json]] = {
    "cue": {"sound": "stalled", "on": True},
    "mute": {"on": False},
    "fit": {"still": [1.0, 2.0], "flex": [3.0, 4.0]},
    "set-fit": {"method": "made up", "segments": [_SEGMENT]},
    "limit": {"key": "lead-hip-turns-in", "value": 30.0},
    "block": {"name": "swings", "role": "swings"},
    "estimate": {"rep": 0, "answer": "good"},
}
"""What each verb needs; anything of it that is missing or of another kind makes the command senseless."""


@dataclass(frozen=True, slots=True)
class CommandOutcome:
    """What judging one recording gave."""

    reps: tuple[Rep, ...]
    findings: tuple[Finding, ...]
    notices: tuple[str, ...]


def senseless(rng: np.random.Generator) -> Command:
    """One command that this version cannot obey."""
    verb = str(rng.choice([*_GOOD, "begin"]))
    if verb == "begin":
        return Command(0, verb, {} if rng.random() < 0.5 else {"sensors": "none"})
    good = dict(_GOOD[verb])
    key = str(rng.choice(list(good)))
    way = int(rng.integers(4))
    if way == 0:
        del good[key]
    elif way == 1 and verb == "set-fit":
        good["segments"] = [_spoilt_segment(rng)]
    elif way == 2 and verb in _UNKNOWN:
        good |= _UNKNOWN[verb](rng)
    else:
        good[key] = _of_another_kind(good[key], rng)
    return Command(0, verb, {} if rng.random() < 0.1 else good)


def _spoilt_segment(rng: np.random.Generator) -> dict[str, Json]:
    out = dict(_SEGMENT)
    key = str(rng.choice(["segment", "q_sb", "level", "sd_rad"]))
    out[key] = rng.choice([7.5, float("nan"), -1.0]) if key == "sd_rad" else _of_another_kind(out[key], rng)
    if key == "sd_rad" and out[key] == 7.5:
        del out[key]
    return out


_UNKNOWN: Mapping[str, Callable[[np.random.Generator], Mapping[str, Json]]] = {
    "cue": lambda rng: {"sound": f"sound-of-version-{rng.integers(2, 99)}"},
    "limit": lambda rng: {"value": float(rng.choice([np.nan, np.inf, -np.inf, 1e308, -400.0]))},
    "block": lambda rng: {"mode": f"mode-{rng.integers(99)}"},
    "fit": lambda rng: {"still": [float("nan"), 1e300]},
}
"""What a newer version may know, and numbers that are none."""


def _of_another_kind(value: Json, rng: np.random.Generator) -> Json:
    """A value that is nothing like the good one."""
    deep: Any = 1
    for _ in range(200):
        deep = [deep]
    others: Sequence[Json] = [None, [None, "x"], {"a": {"b": []}}, [float("nan")] * 4, deep, [[]]]
    texts: Sequence[Json] = ["", "\x1b[2J", "much"] if not isinstance(value, str) else [[], {}]
    choices = [*others, *texts]
    return choices[int(rng.integers(len(choices)))]


def session(seed: int) -> list[Item]:
    """A short session with a fault in it."""
    script = make_script(reps=2, flaw=(Flaw.STALL, Flaw.NONE), seed=seed)
    return list(items(script, WORN))


def judged(path: Path, session: Sequence[Item]) -> CommandOutcome:
    """Write the items to a recording, and judge it as `analyse` does."""
    told = judge(write_items(path, session)).told
    return CommandOutcome(tuple(told.reps), tuple(told.findings), tuple(told.notices))


def mixed(clean: Sequence[Item], bad: Sequence[Command], rng: np.random.Generator) -> list[Item]:
    """The items with the commands somewhere among them, at the time of what comes before."""
    out = list(clean)
    for command in bad:
        at = int(rng.integers(1, len(out)))
        out.insert(at, replace(command, host_ns=out[at - 1].host_ns))
    return out


def alike(found: CommandOutcome, expected: CommandOutcome) -> bool:
    """The same reps with the same numbers and findings. Commands part the stretches that are judged at once, so numbers
    may differ in their last digits."""
    if [one.rule for one in found.findings] != [one.rule for one in expected.findings]:
        return False
    if len(found.reps) != len(expected.reps):
        return False
    for one, other in zip(found.reps, expected.reps, strict=True):
        if one.features.keys() != other.features.keys():
            return False
        values = [[rep.features[name] for name in other.features] for rep in (one, other)]
        if not np.allclose(values[0], values[1], rtol=0.0, atol=ROUNDING, equal_nan=True):
            return False
    return True


def measure(context: Context) -> Iterator[Measured]:
    """Lines of the set ``edges``."""
    count, rng = QUICK if context.quick else FULL, np.random.default_rng(context.seed)
    clean = session(context.seed)
    expected = judged(context.work / "clean.mcap", clean)
    tracebacks = silent = changed = 0
    for number in range(count // TOGETHER):
        context.say(f"{number * TOGETHER} of {count} commands")
        bad = [senseless(rng) for _ in range(TOGETHER)]
        try:
            found = judged(context.work / f"bad{number}.mcap", mixed(clean, bad, rng))
        except ImuFeedbackError:
            changed += 1
            continue
        except Exception:  # noqa: BLE001 - that is what is looked for
            tracebacks += 1
            continue
        silent += max(TOGETHER - (len(found.notices) - len(expected.notices)), 0)
        changed += not alike(found, expected)
    context.rows.append({"set": "edges", "trial": "commands", "count": count, "reps": len(expected.reps)})
    yield Measured("recorded commands, reps in a clean session", len(expected.reps), exactly(2), "reps")
    yield Measured(f"{count} senseless commands: tracebacks", tracebacks, exactly(0), "recordings")
    yield Measured("the same: passed over without a word", silent, exactly(0), "commands")
    yield Measured("the same: good reps with another result, or none", changed, exactly(0), "recordings")


STEP = SetPart("recorded commands that make no sense", measure)
