"""What a session is set up with: the command ``begin``, first item of every journal (`commands.Begin`).

The texts of layouts and of the rule set are inside, so that a recording replays the same on any machine and after any
edit of those files.
"""

from __future__ import annotations

from typing import Annotated, TypeAlias

import msgspec
from msgspec import Meta

from imufeedback.errors import UsageError
from imufeedback.records import Hand, Segment

FORMAT = 1


_Scale = Annotated[float, Meta(ge=0.5, le=2.0)]
_Cross = Annotated[float, Meta(ge=-0.5, le=0.5)]
_Offset = Annotated[float, Meta(ge=-20, le=20)]
_Three: TypeAlias = tuple[_Offset, _Offset, _Offset]


class Calibration(msgspec.Struct, frozen=True):
    """What one sensor's own errors are: true = matrix x (measured - offset), in the sensor's axes."""

    acc_offset_m_s2: tuple[_Offset, _Offset, _Offset]
    acc_scale: tuple[_Scale, _Scale, _Scale]
    acc_cross: tuple[_Cross, _Cross, _Cross]
    """Of the matrix, right of the diagonal: xy, xz, yz."""
    gyr_matrix: tuple[_Three, _Three, _Three]
    """Rows; turns the rates into the axes of the corrected accelerometer."""
    gyr_bias_rad_s: tuple[_Offset, _Offset, _Offset]
    """On that day; the filter finds today's by itself."""
    acc_offset_sd_m_s2: float
    acc_scale_sd: float
    gyr_scale_sd: float
    day: str = ""
    """ISO date."""
    temperature_c: float | None = None


class Sensor(msgspec.Struct, frozen=True):
    """One worn sensor."""

    id: str
    role: Segment
    layout: str
    """Name of its layout in `Settings.layouts`."""
    offset_s: Annotated[float, Meta(ge=-0.1, le=0.1)] = 0.0
    """How much later than the other sensors' its times are: the constant rest that one shared shake measures."""
    calibration: Calibration | None = None
    """Taken off its samples; None: they are used as they come."""


class Player(msgspec.Struct, frozen=True):
    """Who is training."""

    hand: Hand = Hand.RIGHT
    name: str = ""
    height_m: Annotated[float, Meta(gt=0.5, lt=2.6)] | None = None


class EarlierBaseline(msgspec.Struct, frozen=True):
    """Reps of the player's baselines of before, that rules may compare with until today's has enough."""

    reps: dict[str, tuple[dict[str, float], ...]]
    """Features of each rep, by the kind of rep."""
    first_day: str
    """ISO dates of the oldest and …"""
    last_day: str
    """… the newest of them."""

    @property
    def origin(self) -> str:
        """Where they are from, in words for the player."""
        return self.last_day if self.first_day == self.last_day else f"{self.first_day} to {self.last_day}"


class Settings(msgspec.Struct, frozen=True):
    """One session. Keys that this version does not know are ignored, so that newer journals still open."""

    sensors: tuple[Sensor, ...]
    layouts: dict[str, str]
    """TOML text by name."""
    rule_set: str
    """TOML text."""
    player: Player = Player()
    limits: str = ""
    """TOML text of the player's own limits, where the coach has set any."""
    earlier: EarlierBaseline | None = None
    """The player's baseline of sessions before; None without one."""
    filter: str = "vqf"
    grid_hz: Annotated[float, Meta(gt=0, le=1000)] = 200.0
    """Rate of the common time grid, and so of all angles."""
    format: int = FORMAT


def check(settings: Settings) -> None:
    """Raises UsageError for settings of a newer version, and for two sensors that cannot be told apart."""
    if settings.format > FORMAT:
        raise UsageError(
            f"the session was recorded by a newer version (format {settings.format})",
            where="begin",
            hint="install the newest imufeedback",
        )
    roles = [one.role for one in settings.sensors]
    if len(set(roles)) != len(roles) or len({one.id for one in settings.sensors}) != len(roles):
        raise UsageError("two sensors have one place or one name", where="begin", hint="give each its own")
