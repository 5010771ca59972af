"""Which steps before a session are done, and what is missing; knows nothing of Qt."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass, field
from enum import StrEnum

from imufeedback.people import Person
from imufeedback.records import Level, LinkState, Segment

NEEDED = (Segment.PELVIS, Segment.LEFT_THIGH, Segment.RIGHT_THIGH)
"""Without these swings cannot be judged."""
HERE = (LinkState.CONNECTED, LinkState.STREAMING)


class StartStep(StrEnum):
    """The steps in their order."""

    PLAYER = "player"
    SENSORS = "sensors"
    CALIBRATION = "calibration"
    WORK = "work"


class Mark(StrEnum):
    """How far a step is."""

    DONE = "done"
    OPEN = "open"
    BUSY = "busy"
    TROUBLE = "trouble"


@dataclass
class Readiness:
    """What is known so far. The window changes it; the pages show it."""

    person: Person | None = None
    links: dict[str, LinkState] = field(default_factory=dict)
    """By sensor."""
    roles: dict[str, Segment] = field(default_factory=dict)
    searching: bool = False
    search_trouble: str | None = None
    absent: str = ""
    """Own sensors that were not heard, or could not be connected: a few lines for a person."""
    others: tuple[tuple[str, str], ...] = ()
    """(address, words) of sensors in reach that are not this player's."""
    virtual: bool = False
    """The virtual golfer plays."""
    running: bool = False
    """A session has begun: it records."""
    calibrating: bool = False
    stored_fit_days: int | None = None
    """Age of the player's last calibration, when there is one."""
    fit_level: Level | None = None
    fit_refused: str | None = None
    work: str = ""
    """Name of the drill, rule set or plan."""

    def missing_places(self) -> tuple[Segment, ...]:
        """Needed places that no sensor which is here is worn on."""
        worn = {role for sensor, role in self.roles.items() if self.links.get(sensor) in HERE}
        return tuple(one for one in NEEDED if one not in worn)

    def double_places(self) -> tuple[Segment, ...]:
        """Places that two sensors were given."""
        roles = list(self.roles.values())
        return tuple(sorted({one for one in roles if roles.count(one) > 1}))

    def lost(self) -> tuple[str, ...]:
        """Sensors with a place that were here and are not now."""
        return tuple(one for one in self.roles if self.links.get(one) in (LinkState.LOST, LinkState.SILENT))

    @property
    def can_stream(self) -> bool:
        """The session can begin: everything needed is connected and has one place."""
        return (
            self.mark(StartStep.PLAYER) is Mark.DONE
            and not self.running
            and not self.missing_places()
            and not self.double_places()
        )

    @property
    def can_begin(self) -> bool:
        return all(self.mark(step) is Mark.DONE for step in StartStep)

    def mark(self, step: StartStep) -> Mark:
        """How far one step is."""
        if step is StartStep.PLAYER:
            return self._player()
        if step is StartStep.SENSORS:
            return self._sensors()
        if step is StartStep.CALIBRATION:
            return self._calibration()
        return Mark.DONE if self.work else Mark.OPEN

    def first_open(self, steps: Iterable[StartStep] = StartStep) -> StartStep | None:
        """The first step that is not done; None when all are."""
        return next((step for step in steps if self.mark(step) is not Mark.DONE), None)

    def _player(self) -> Mark:
        return Mark.DONE if self.person is not None and self.person.cautions_seen else Mark.OPEN

    def _sensors(self) -> Mark:
        if self.virtual and not self.running:
            return Mark.DONE  # it wears them
        if self.lost() or self.double_places() or (self.search_trouble and not self.running):
            return Mark.TROUBLE
        if self.searching or (self.running and self.missing_places()):
            return Mark.BUSY
        return Mark.DONE if self.running else Mark.OPEN

    def _calibration(self) -> Mark:
        if self.fit_refused is not None:
            return Mark.TROUBLE
        if self.fit_level is not None or (self.virtual and not self.running):
            return Mark.DONE  # the virtual golfer does the movements when the session has begun
        return Mark.BUSY if self.calibrating else Mark.OPEN
