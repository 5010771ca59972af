"""What goes wrong on the virtual radio, and when: a script in TOML.

::

    seed = 1
    mtu = 247                       # of the whole session; 23 is the least allowed
    told_mtu = 23                   # what the system says of it; the truth when missing
    close_s = 2.0                   # what the system takes to end a link

    [[fault]]
    kind = "loss"
    sensors = ["right_thigh"]       # by serial number or place; all of them when missing
    from_s = 20.0                   # seconds from when the sensors begin
    to_s = 40.0                     # to the end when missing
    every_s = 600.0                 # again after so long; once when missing
    share = 0.08

A fault either has a stretch of time (`from_s`, `to_s`) or happens at an instant (`at_s`). What it does to the packets
is
in `disturb.py`, what it does to the link in `mishaps.py`.
"""

from __future__ import annotations

import math
from collections.abc import Iterator
from typing import ClassVar, TypeAlias

import msgspec

from imufeedback import toml
from imufeedback.errors import BadToml


class _Part(msgspec.Struct, frozen=True, forbid_unknown_fields=True, tag_field="kind"):
    sensors: tuple[str, ...] = ()
    every_s: float | None = None

    def __post_init__(self) -> None:
        if self.every_s is not None and not self.every_s > 0:
            raise ValueError(f"every_s {self.every_s} must be above 0")

    def meets(self, names: tuple[str, ...]) -> bool:
        """Whether this concerns a sensor with these names."""
        return not self.sensors or any(name in self.sensors for name in names)


class _Stretch(_Part, frozen=True):
    from_s: float = 0.0
    to_s: float | None = None

    def __post_init__(self) -> None:
        super().__post_init__()
        if self.to_s is not None and not self.to_s > self.from_s:
            raise ValueError(f"to_s {self.to_s} must be later than from_s {self.from_s}")
        if self.every_s is not None and (self.to_s is None or self.every_s < self.to_s - self.from_s):
            raise ValueError("every_s needs to_s, and must not be shorter than the stretch")

    def begin_s(self, t_s: float) -> float | None:
        """When the stretch that holds this time began; None outside."""
        if t_s < self.from_s:
            return None
        begin_s = self.from_s
        if self.every_s is not None:
            begin_s += math.floor((t_s - self.from_s) / self.every_s) * self.every_s
        length_s = math.inf if self.to_s is None else self.to_s - self.from_s
        return begin_s if t_s < begin_s + length_s else None


class _Instant(_Part, frozen=True, kw_only=True):
    at_s: float

    def times_s(self, until_s: float) -> Iterator[float]:
        """When it happens, up to a time."""
        at_s = self.at_s
        while at_s < until_s:
            yield at_s
            if self.every_s is None:
                return
            at_s += self.every_s


def _share(value: float) -> None:
    if not 0 < value <= 1:
        raise ValueError(f"share {value} must be above 0 and at most 1")


class _Random(_Stretch, frozen=True, kw_only=True):
    share: float

    def __post_init__(self) -> None:
        super().__post_init__()
        _share(self.share)


class Loss(_Random, frozen=True, tag="loss"):
    """Packets that never arrive."""


class Duplicates(_Random, frozen=True, tag="duplicates"):
    """Packets that come again, `after_s` later."""

    after_s: float = 0.001


class Swap(_Random, frozen=True, tag="swap"):
    """Packets that come just behind their successor."""


class Garbled(_Random, frozen=True, tag="garbled"):
    """Packets with a cut tail."""


class Clumps(_Stretch, frozen=True, kw_only=True, tag="clumps"):
    """Packets come together, at multiples of `interval_s`: a connection interval."""

    interval_s: float

    def __post_init__(self) -> None:
        super().__post_init__()
        if not 0.001 <= self.interval_s <= 4.0:
            raise ValueError(f"interval_s {self.interval_s} is not between 0.001 and 4")


class Stall(_Stretch, frozen=True, tag="stall"):
    """Nothing comes during the stretch, and all of it at its end."""


class Silence(_Stretch, frozen=True, tag="silence"):
    """The link is up and the sensor sends nothing; what it measured is gone."""


class ClockDrift(_Stretch, frozen=True, kw_only=True, tag="clock-drift"):
    """The sensor's clock runs too fast by so much."""

    ppm: float


class RateError(_Part, frozen=True, kw_only=True, tag="rate-error"):
    """The sensor samples too fast by so much, all the session long, while its clock is right."""

    percent: float

    def __post_init__(self) -> None:
        super().__post_init__()
        if not -20 <= self.percent <= 20 or self.every_s is not None:
            raise ValueError("percent must lie between -20 and 20, and there is no every_s")


class Saturation(_Stretch, frozen=True, kw_only=True, tag="saturation"):
    """The gyroscope's range ends at so many °/s, the accelerometer's at so many g: values beyond stand at full
    scale."""

    gyr_deg_s: float | None = None
    acc_g: float | None = None

    def __post_init__(self) -> None:
        super().__post_init__()
        if self.gyr_deg_s is None and self.acc_g is None:
            raise ValueError("saturation needs gyr_deg_s or acc_g")


class Stuck(_Stretch, frozen=True, tag="stuck"):
    """The values of the stretch's first sample, for ever; numbers and clock go on."""


class WrongRange(_Stretch, frozen=True, kw_only=True, tag="wrong-range"):
    """Raw numbers are larger by these factors, as after a restart that forgot the range."""

    gyr: float = 1.0
    acc: float = 1.0


class WrongAxes(_Stretch, frozen=True, kw_only=True, tag="wrong-axes"):
    """What stands as x, y and z is another of the sensor's axes, or has the other sign, as from a part that was
    soldered on wrongly."""

    gyr: tuple[str, str, str] = ("x", "y", "z")
    acc: tuple[str, str, str] = ("x", "y", "z")

    def __post_init__(self) -> None:
        super().__post_init__()
        for axes in (self.gyr, self.acc):
            if sorted(one.removeprefix("-") for one in axes) != ["x", "y", "z"]:
                raise ValueError(f"{list(axes)} does not name x, y and z once each, with or without a minus")


class Disconnect(_Instant, frozen=True, kw_only=True, tag="disconnect"):
    """The link breaks; the sensor cannot be reached for `away_s`, and goes on counting.

    Without `callback` the computer is not told: the link looks connected, and is dead.
    """

    away_s: float = 1.0
    callback: bool = True
    new_address: bool = False
    """It comes back under another address."""


class Reboot(_Instant, frozen=True, kw_only=True, tag="reboot"):
    """The sensor is off for `away_s`, and begins again: counters, settings, not streaming."""

    away_s: float = 1.0
    callback: bool = True
    new_address: bool = False


class Battery(_Instant, frozen=True, kw_only=True, tag="battery"):
    """The sensor tells this battery level from now on."""

    percent: int

    def __post_init__(self) -> None:
        super().__post_init__()
        if not 0 <= self.percent <= 100:
            raise ValueError(f"percent {self.percent} is not between 0 and 100")


Fault: TypeAlias = (
    Loss
    | Duplicates
    | Swap
    | Garbled
    | Clumps
    | Stall
    | Silence
    | ClockDrift
    | RateError
    | Saturation
    | Stuck
    | WrongRange
    | WrongAxes
    | Disconnect
    | Reboot
    | Battery
)


class FaultScript(msgspec.Struct, frozen=True, forbid_unknown_fields=True):
    """All faults of a session."""

    least_mtu: ClassVar[int] = 23

    fault: tuple[Fault, ...] = ()
    seed: int = 1
    mtu: int | None = None
    told_mtu: int | None = None
    """What the system says of the MTU, whatever was agreed."""
    close_s: float = 0.0
    """What the system takes to end a link."""

    def __post_init__(self) -> None:
        if self.mtu is not None and not self.least_mtu <= self.mtu <= 517:
            raise ValueError(f"mtu {self.mtu} is not between {self.least_mtu} and 517")

    def of(self, *names: str) -> tuple[Fault, ...]:
        """Faults that concern a sensor with these names, in the script's order."""
        return tuple(one for one in self.fault if one.meets(names))

    def rate_error(self, *names: str) -> float:
        """Part by which a sensor with these names samples too fast."""
        return sum(one.percent for one in self.of(*names) if isinstance(one, RateError)) / 100

    def check_names(self, known: tuple[str, ...], where: str) -> None:
        """Raise BadToml when a fault concerns a sensor that is not there."""
        for one in self.fault:
            for name in one.sensors:
                if name not in known:
                    raise BadToml(f"no sensor is called {name!r}", where=where, hint=f"choose of {', '.join(known)}")


def parse_faults(text: str, where: str) -> FaultScript:
    """The script a TOML text holds; `where` names it in errors. Raises BadToml naming the key."""
    try:
        return msgspec.convert(toml.table(text, where), FaultScript, str_keys=True)
    except msgspec.ValidationError as error:
        raise BadToml(_in_words(str(error)), where=where, hint="correct that key of the fault script") from error


def _in_words(message: str) -> str:
    what, _, path = message.partition(" - at `$")
    key = path.rstrip("`").lstrip(".")
    if "Invalid value" in what and key.endswith("kind"):
        what = f"{what}; kinds are {', '.join(KINDS)}"
    return f"{key}: {what}" if key else what


KINDS = tuple(
    str(one.__struct_config__.tag)
    for one in (
        *(Loss, Duplicates, Swap, Garbled, Clumps, Stall, Silence, ClockDrift, RateError),
        *(Saturation, Stuck, WrongRange, WrongAxes, Disconnect, Reboot, Battery),
    )
)
