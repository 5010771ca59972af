"""Looks for the sensors of a session without a window until all that is needed are connected."""

from __future__ import annotations

import time
from collections.abc import Iterable, Mapping
from threading import Event as Flag
from typing import TYPE_CHECKING

from imufeedback.cli.output import say
from imufeedback.cli.telling import LiveTeller
from imufeedback.errors import RadioError, UsageError

if TYPE_CHECKING:
    from imufeedback.ble.roster import KnownSensor
    from imufeedback.live.station import Station
    from imufeedback.live.worn_golfer import WornGolfer
    from imufeedback.packets import Layout
    from imufeedback.records import Segment

LOOK_S = 0.5
PATIENCE_S = 60.0
"""Three whole searches with their attempts to connect: longer than that the station has failed. Chosen."""


def check_places(known: Iterable[KnownSensor], layout: Layout) -> None:
    """Raises UsageError when there is no sensor for a place that is needed: looking for one would be in vain."""
    from imufeedback.app.start.readiness import NEEDED

    roles = {one.role for one in known if one.layout == layout.name}
    missing = [one for one in NEEDED if one not in roles]
    if missing:
        names = ", ".join(one.replace("_", " ") for one in missing)
        hint = "`imufeedback sensors scan`, then `imufeedback sensors assign SENSOR PLACE`"
        raise UsageError(f"no sensor is assigned to: {names}", where="live", hint=hint)


class Searched:
    """How the last search ended."""

    def __init__(self) -> None:
        self.done = Flag()
        self.trouble: str | None = None

    def __call__(self, trouble: str | None) -> None:
        self.trouble = trouble
        self.done.set()


def open_station(layout: Layout, known: Iterable[KnownSensor], golfer: WornGolfer | None) -> tuple[Station, Searched]:
    from imufeedback.live.station import Station

    searched = Searched()
    make = None if golfer is None else golfer.backends
    return Station(layout, LiveTeller(), searched, known=lambda: known, make_backends=make), searched


def find(station: Station, searched: Searched, known: Iterable[KnownSensor], wait_s: float) -> Mapping[str, Segment]:
    """Search until all that is needed is connected; who wears what. Raises RadioError."""
    from imufeedback.app.start.readiness import NEEDED
    from imufeedback.ble.roster import key, why_missing

    places = {key(one.serial): one.role for one in known if one.role is not None}
    until = time.monotonic() + wait_s
    told: set[str] = set()
    say("looking for your sensors …")
    while True:
        searched.done.clear()
        station.search()
        _wait(searched.done)
        roles = {one: role for one in station.sensors if (role := places.get(key(one))) is not None}
        missing = [one for one in NEEDED if one not in roles.values()]
        lines = [*why_missing(station.absent), *station.troubles]
        if searched.trouble is not None:
            lines.insert(0, searched.trouble)
        if not missing:
            for sensor, role in roles.items():
                say(f"{role.replace('_', ' ')}: {sensor}")
            return roles
        for line in (one for one in lines if one not in told):
            say(line)
        told.update(lines)
        if time.monotonic() > until:
            names = ", ".join(one.replace("_", " ") for one in missing)
            raise RadioError(f"not in reach: {names}", where="live", hint="switch them on, bring them close, try again")


def _wait(done: Flag) -> None:
    until = time.monotonic() + PATIENCE_S
    while not done.wait(LOOK_S):
        if time.monotonic() > until:
            raise RadioError("Bluetooth does not answer", where="live", hint="switch Bluetooth off and on, try again")
