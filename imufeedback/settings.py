"""What a session is set up with: the command ``begin``, first item of every journal (`commands.Begin`).

The texts of layouts and of the rule set are inside, so that a recording replays the same on any machine and after any
edit of those files.
"""

from __future__ import annotations

from typing import Annotated

import msgspec
from msgspec import Meta

from imufeedback.errors import UsageError
from imufeedback.records import Hand, Segment

FORMAT = 1


class Sensor(msgspec.Struct, frozen=True):
    """One worn sensor."""

    id: str
    role: Segment
    layout: str
    """Name of its layout in `Settings.layouts`."""
    offset_s: Annotated[float, Meta(ge=-0.1, le=0.1)] = 0.0
    """How much later than the other sensors' its times are: the constant rest that one shared shake measures."""


class Player(msgspec.Struct, frozen=True):
    """Who is training."""

    hand: Hand = Hand.RIGHT
    name: str = ""
    height_m: Annotated[float, Meta(gt=0.5, lt=2.6)] | None = None


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
