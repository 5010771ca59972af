"""What a person or a script can ask of a session: one frozen struct a verb, recorded as verb and arguments.

========== ==================== =====================================================================================
verb       struct               what it asks
========== ==================== =====================================================================================
begin      `Begin`              a session with these settings; must come first
fit-begin  `BeginFit`           the player performs the calibration movements from now on
fit-cancel `CancelFit`          no more; also the answer to a swap that is offered
swap       `AcceptSwap`               the sensors are where the calibration movements say (`records.SwapOffered`)
keep       `Keep`               they are where the session says; the player began with the other knee
fit        `FitWindows`         a fit by two stretches of the past
set-fit    `SetFit`             a stored fit
zero       `SetZero`            pelvis turn and hip rotations count from now
zero-undo  `UndoZero`           from where they counted before the last zeroing
cue        `SwitchSound`        one sound on or off (``losing``, the held one, is off at first)
mute       `Mute`               silence, or sound again
limit      `SetLimit`           the coach's limit of a rule, from the next rep on
block      `BeginBlock`         a block of reps
step       `GoToStep`           the coach's choice of a step of the drill
pain       `Pain`               something is tight or hurts; no rep is judged and no tone made before the next block
estimate   `Estimate`           what the player thinks of a rep, before the result is told
note       `AddNote`               kept in the journal only; so are the three below
pause      `Pause`              the coach talks
good       `MarkGood`           a rep was good
discard    `Discard`            a rep does not count
========== ==================== =====================================================================================

A recording may come from another version, or be damaged in a way that its checksums do not show. An unknown verb stays
in the journal and does nothing; a command whose arguments make no sense is told (`Malformed`) and passed over; the
rest is judged. Nothing else in the package reads the arguments of a recorded command, or writes them.
"""

from __future__ import annotations

import math
from collections.abc import Iterator, Mapping
from dataclasses import dataclass
from typing import Annotated, TypeAlias, TypeGuard, get_args

import msgspec
import numpy as np
from msgspec import Meta

from imufeedback import settings as setup
from imufeedback.errors import UsageError
from imufeedback.foreign_text import printable
from imufeedback.records import Command, Fit, Floats, Json, Level, Mode, Role, Segment, SegmentFit, frozen
from imufeedback.settings import Settings

# Wide bounds: they only keep what follows from numbers that overflow when they are squared.
_Seconds = Annotated[float, Meta(ge=-1e9, le=1e9)]
Window: TypeAlias = tuple[_Seconds, _Seconds]
"""From and to, seconds of the session."""
_Part = Annotated[float, Meta(ge=-10, le=10)]
_Bias = Annotated[float, Meta(ge=-1000, le=1000)]
_Spread = Annotated[float, Meta(ge=0, le=1000)]
_WORDS_MAX = 160
UNIT_OFF = 0.05
"""A stored quaternion whose length differs by more from 1 is a broken one."""


class Begin(Settings, frozen=True, tag="begin", tag_field="verb"):
    """The session's settings."""

    @classmethod
    def of(cls, settings: Settings) -> Begin:
        return cls(**msgspec.structs.asdict(settings))


class BeginFit(msgspec.Struct, frozen=True, tag="fit-begin", tag_field="verb"):
    """The player performs the calibration movements from now on."""


class CancelFit(msgspec.Struct, frozen=True, tag="fit-cancel", tag_field="verb"):
    """No calibration; neither the movements nor the swap that is offered."""


class AcceptSwap(msgspec.Struct, frozen=True, tag="swap", tag_field="verb"):
    """Yes to the swap that is offered."""


class Keep(msgspec.Struct, frozen=True, tag="keep", tag_field="verb"):
    """No to the swap that is offered."""


class FitWindows(msgspec.Struct, frozen=True, tag="fit", tag_field="verb"):
    """A fit by stretches of the past."""

    still: Window
    """Standing still."""
    flex: Window | dict[Segment, Window]
    """The movement, of all or of each segment."""


class FittedSegment(msgspec.Struct, frozen=True):
    """`records.SegmentFit` as it is stored."""

    segment: Segment
    q_sb: tuple[_Part, _Part, _Part, _Part]
    level: Level
    sd_rad: _Spread
    reason: str | None
    acc_bias_m_s2: tuple[_Bias, _Bias, _Bias] = (0.0, 0.0, 0.0)
    sd_axes_rad: tuple[_Spread, _Spread, _Spread] | None = None

    @classmethod
    def of(cls, fit: SegmentFit) -> FittedSegment:
        w, x, y, z = fit.q_sb.tolist()
        axes = None if fit.sd_axes_rad is None else _three(fit.sd_axes_rad)
        return cls(fit.segment, (w, x, y, z), fit.level, float(fit.sd_rad), fit.reason, _three(fit.acc_bias_m_s2), axes)

    def fit(self) -> SegmentFit:
        return SegmentFit(
            self.segment,
            frozen(_unit(np.array(self.q_sb))),
            self.level,
            self.sd_rad,
            self.reason,
            frozen(self.acc_bias_m_s2),
            None if self.sd_axes_rad is None else frozen(self.sd_axes_rad),
        )


class SetFit(msgspec.Struct, frozen=True, omit_defaults=True, tag="set-fit", tag_field="verb"):
    """A fit that an earlier session gave."""

    method: str
    segments: tuple[FittedSegment, ...]
    caution: str | None = None
    """What has to be said of it."""

    @classmethod
    def of(cls, fit: Fit, caution: str | None = None) -> SetFit:
        return cls(fit.method, tuple(FittedSegment.of(one) for one in fit.segments), caution)

    def fit(self) -> Fit:
        return Fit(self.method, tuple(one.fit() for one in self.segments))


class SetZero(msgspec.Struct, frozen=True, tag="zero", tag_field="verb"):
    """Pelvis turn and hip rotations count from now."""


class UndoZero(msgspec.Struct, frozen=True, tag="zero-undo", tag_field="verb"):
    """… from where they counted before the last zeroing; one step back."""


class SwitchSound(msgspec.Struct, frozen=True, tag="cue", tag_field="verb"):
    """One sound on or off."""

    sound: str
    on: bool


class Mute(msgspec.Struct, frozen=True, tag="mute", tag_field="verb"):
    """Silence, or sound again."""

    on: bool


class SetLimit(msgspec.Struct, frozen=True, omit_defaults=True, tag="limit", tag_field="verb"):
    """The coach's limit, from the next rep on."""

    key: str
    """A rule's id, or ``live.`` and a key."""
    value: float
    keep: bool = False
    """Kept for the player too, beyond this session."""


class BeginBlock(msgspec.Struct, frozen=True, tag="block", tag_field="verb"):
    """A block of reps."""

    name: str
    role: Role
    mode: Mode = Mode.CONCURRENT
    share: Annotated[float, Meta(ge=0, le=1)] = 1.0
    """Part of the reps with tones."""
    estimate: bool = False
    """The result waits for the player's own estimate."""
    rule_set: str | None = None
    """TOML text of the drill, where it is another one than before."""


class GoToStep(msgspec.Struct, frozen=True, tag="step", tag_field="verb"):
    """Another step of the drill, by the coach's choice."""

    number: Annotated[int, Meta(ge=0, le=1000)]
    """From 0; beyond the last one all are done."""


class Pain(msgspec.Struct, frozen=True, tag="pain", tag_field="verb"):
    """Something is tight or hurts."""


class Estimate(msgspec.Struct, frozen=True, tag="estimate", tag_field="verb"):
    """What the player thinks of a rep."""

    rep: int
    answer: str


class AddNote(msgspec.Struct, frozen=True, omit_defaults=True, tag="note", tag_field="verb"):
    """A line of text, of a rep or of the session."""

    text: str
    rep: int | None = None


class Pause(msgspec.Struct, frozen=True, tag="pause", tag_field="verb"):
    """The coach talks, or is done."""

    on: bool


class MarkGood(msgspec.Struct, frozen=True, tag="good", tag_field="verb"):
    """A rep was good, or was not after all."""

    rep: int
    on: bool


class Discard(msgspec.Struct, frozen=True, tag="discard", tag_field="verb"):
    """A rep does not count, or does again."""

    rep: int
    on: bool


AnyCommand: TypeAlias = (
    Begin
    | BeginFit
    | CancelFit
    | AcceptSwap
    | Keep
    | FitWindows
    | SetFit
    | SetZero
    | UndoZero
    | SwitchSound
    | Mute
    | SetLimit
    | BeginBlock
    | GoToStep
    | Pain
    | Estimate
    | AddNote
    | Pause
    | MarkGood
    | Discard
)
VERBS = frozenset(str(kind.__struct_config__.tag) for kind in get_args(AnyCommand))
"""All that this version knows."""


@dataclass(frozen=True, slots=True)
class Asked:
    """A command at its time in the session."""

    t_s: float
    command: AnyCommand


@dataclass(frozen=True, slots=True)
class Malformed:
    """A recorded command of a known verb that cannot be used."""

    verb: str
    wrong: str

    def __str__(self) -> str:
        """One line for a person."""
        return f"{self.verb}: {self.wrong} – passed over"


def parse(command: Command) -> AnyCommand | Malformed | None:
    """What a recorded command asks; None for a verb that this version does not know."""
    return _parsed(command.verb, command.args) if command.verb in VERBS else None


def recorded(host_ns: int, command: AnyCommand) -> Command:
    """The command as the journal keeps it."""
    return Command(host_ns, verb_of(command), args_of(command))


def verb_of(command: AnyCommand) -> str:
    """The word that stands for a command in recordings."""
    return str(type(command).__struct_config__.tag)


def args_of(command: AnyCommand) -> dict[str, Json]:
    """A command's arguments, nothing but JSON values."""
    args: dict[str, Json] = msgspec.to_builtins(command, str_keys=True)
    del args["verb"]
    return args


def is_begin(item: object) -> TypeGuard[Command]:
    """Whether an item begins a session."""
    return isinstance(item, Command) and item.verb == "begin"


def changed_begin(command: Command, other: Mapping[str, str]) -> Command:
    """The first item of a session with other texts of these settings; the rest as it was recorded."""
    return Command(command.host_ns, command.verb, {**command.args, **other}) if other else command


def settings_of(command: Command) -> Settings:
    """Settings of a session by its first item. Raises UsageError naming the key that is wrong."""
    try:
        settings = msgspec.convert(dict(command.args), Settings)
    except msgspec.ValidationError as error:
        raise UsageError(f"the session's settings are wrong: {error}", where="begin") from error
    setup.check(settings)
    return settings


def stored_fit(args: Mapping[str, Json]) -> SetFit | Malformed:
    """The fit of a file that keeps the arguments of ``set-fit``."""
    found = _parsed("set-fit", args)
    assert isinstance(found, SetFit | Malformed)
    return found


def _parsed(verb: str, args: Mapping[str, Json]) -> AnyCommand | Malformed:
    try:
        for place, value in _floats(args):
            if not math.isfinite(value):
                return Malformed(verb, _one_line(f"{place} is {value}"))
        found: AnyCommand = msgspec.convert({**args, "verb": verb}, AnyCommand, strict=False, str_keys=True)
    except RecursionError:
        return Malformed(verb, "its arguments are nested too deeply")
    except (msgspec.MsgspecError, ValueError, TypeError, OverflowError) as error:
        return Malformed(verb, _one_line(str(error)))
    return found


def _one_line(text: str) -> str:
    return printable(" ".join(text.split())[:_WORDS_MAX])


def _floats(value: object, place: str = "") -> Iterator[tuple[str, float]]:
    """Every fraction in arguments, with its place."""
    if isinstance(value, float):
        yield place or "it", value
    elif isinstance(value, Mapping):
        for key, inner in value.items():
            yield from _floats(inner, f"{place}.{key}" if place else str(key))
    elif isinstance(value, list | tuple):
        for number, inner in enumerate(value):
            yield from _floats(inner, f"{place}.{number}" if place else str(number))


def _three(values: Floats) -> tuple[float, float, float]:
    x, y, z = values.tolist()
    return x, y, z


def _unit(q: Floats) -> Floats:
    """A quaternion whose length is a little off, of unit length; one that is far off, as it is."""
    length = float(np.linalg.norm(q))
    out: Floats = q / length if 1e-9 < abs(length - 1.0) < UNIT_OFF else q
    return out
