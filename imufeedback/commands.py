"""What the arguments of each recorded command must be. A recording may come from another version, or be damaged in a
way that its checksums do not show: such a command is told and passed over, and the rest is judged."""

from __future__ import annotations

import math
from collections.abc import Iterator, Mapping
from typing import Annotated, Any

import msgspec
from msgspec import Meta

from imufeedback.records import Command, Json, Level, Segment

# Wide bounds: they only keep what follows from numbers that overflow when they are squared.
_Seconds = Annotated[float, Meta(ge=-1e9, le=1e9)]
_Window = tuple[_Seconds, _Seconds]
_Part = Annotated[float, Meta(ge=-10, le=10)]
_Bias = Annotated[float, Meta(ge=-1000, le=1000)]
_Spread = Annotated[float, Meta(ge=0, le=1000)]
_WORDS_MAX = 160


class _Cue(msgspec.Struct):
    sound: str
    on: bool


class _Mute(msgspec.Struct):
    on: bool


class _Fit(msgspec.Struct):
    still: _Window
    flex: _Window | dict[Segment, _Window]


class _SegmentFit(msgspec.Struct):
    segment: Segment
    q_sb: tuple[_Part, _Part, _Part, _Part]
    level: Level
    sd_rad: _Spread
    reason: str | None
    acc_bias_m_s2: tuple[_Bias, _Bias, _Bias] = (0.0, 0.0, 0.0)
    sd_axes_rad: tuple[_Spread, _Spread, _Spread] | None = None


class _SetFit(msgspec.Struct):
    method: str
    segments: list[_SegmentFit]
    caution: str | None = None


class _Limit(msgspec.Struct):
    key: str
    value: float


class _Block(msgspec.Struct):
    name: str
    role: str
    mode: str = "concurrent"
    share: float = 1.0
    estimate: bool = False
    rule_set: str | None = None


class _Estimate(msgspec.Struct):
    rep: int
    answer: str


_ARGUMENTS: Mapping[str, type[msgspec.Struct]] = {
    "cue": _Cue,
    "mute": _Mute,
    "fit": _Fit,
    "set-fit": _SetFit,
    "limit": _Limit,
    "block": _Block,
    "estimate": _Estimate,
}
"""Of the verbs that need any."""


def wrong_in(command: Command) -> str | None:
    """What cannot be used of a command's arguments, in words; None when they are right, or the verb needs none."""
    kind = _ARGUMENTS.get(command.verb)
    if kind is None:
        return None
    try:
        for place, value in floats(command.args):
            if not math.isfinite(value):
                return f"{place} is {value}"
        msgspec.convert(dict(command.args), kind, strict=False, str_keys=True)
    except RecursionError:
        return "its arguments are nested too deeply"
    except (msgspec.MsgspecError, ValueError, TypeError, OverflowError) as error:
        return " ".join(str(error).split())[:_WORDS_MAX]
    return None


def floats(value: Json, place: str = "") -> Iterator[tuple[str, float]]:
    """Every fraction in arguments, with its place."""
    parts: Any = ()
    if isinstance(value, float):
        yield place or "it", value
    elif isinstance(value, Mapping):
        parts = value.items()
    elif isinstance(value, list | tuple):
        parts = enumerate(value)
    for key, one in parts:
        yield from floats(one, f"{place}.{key}" if place else str(key))
