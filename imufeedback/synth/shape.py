"""One rep as numbers: where pelvis, knees and feet are at the four marks of a swing, and how long it takes."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass

import numpy as np

from imufeedback.synth.plan import Channel

STATURE_M = 1.75
"""Of the player whose lengths the tables have."""


@dataclass(frozen=True, slots=True)
class Timing:
    """Seconds of the parts of one rep."""

    back_s: float
    down_s: float
    """Top to impact."""
    through_s: float
    """Impact to finish."""

    def scaled(self, factor: float) -> Timing:
        return Timing(self.back_s * factor, self.down_s * factor, self.through_s * factor)


@dataclass(frozen=True, slots=True)
class Marks:
    """One channel at the marks of a swing; degrees, or metres for lengths."""

    address: float
    top: float
    impact: float
    finish: float

    def scaled(self, factor: float) -> Marks:
        return Marks(self.address * factor, self.top * factor, self.impact * factor, self.finish * factor)


@dataclass(frozen=True, slots=True)
class FootShape:
    """How one foot stands, and what its leg takes up of the turn; degrees."""

    flare: float
    """Outward."""
    give: float
    """Part of the pelvis' turn over the foot that knee and foot take up about the shank."""
    pivot: Marks
    """Turn about the ball of the foot."""
    torsion: float = 10.0
    """From foot to knee: the knee points so much less outward. `legs.squared` makes it fit the address."""
    heel_top: float = 0.0
    """Pitch at the top."""


@dataclass(frozen=True, slots=True)
class Shape:
    """The motion of one rep: of the pelvis, the wanted knees and the feet. All else follows (`legs`)."""

    marks: Mapping[Channel, Marks]
    """Turn, both tilts, sway and depth of the pelvis (sway and depth over the ankles), and both knees; degrees, and
    metres for a stature of `STATURE_M`. The lead knee at the top follows: that number is not looked at."""
    lead: FootShape
    trail: FootShape
    stance_m: float
    """From ankle to ankle, for a stature of `STATURE_M`."""
    timing: Timing
    stall_at: float
    """Where a `stall` begins, as a part of the turn from top to impact."""
    arm: Mapping[Channel, Marks]
    """The same as `marks` for trunk and lead arm."""
    size: float = 1.0
    """Stature over `STATURE_M`."""
    uneven: tuple[tuple[float, float], ...] = ()
    """Of each part of the rep, in its middle: turn beyond an even one, as a share of the part's, and how much
    quicker."""


def si(channel: Channel, value: float) -> float:
    """A number of the tables in radians or metres."""
    return value if channel.is_length else float(np.deg2rad(value))


def in_si(channel: Channel, marks: Marks) -> Marks:
    return Marks(*(si(channel, value) for value in (marks.address, marks.top, marks.impact, marks.finish)))
