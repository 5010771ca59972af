"""The sensors of a station as a source."""

from __future__ import annotations

import datetime
import threading
from collections.abc import Callable, Mapping
from functools import cached_property

from imufeedback.begin import session_settings
from imufeedback.fusion.ageing import aged
from imufeedback.live.station import Station
from imufeedback.packets import Layout
from imufeedback.record.calibrations import calibrations
from imufeedback.records import Item, Segment
from imufeedback.resources import data_folder
from imufeedback.settings import Calibration, EarlierBaseline, Player, Settings


class WornSensors:
    """A source of a practice: some connected sensors of a station. They send in the station's own thread. What was
    found of each sensor's own errors (`sensors calibrate`) becomes part of the settings."""

    def __init__(
        self,
        station: Station,
        roles: Mapping[str, Segment],
        layout: Layout,
        player: Player,
        *,
        offsets_s: Mapping[str, float] | None = None,
        limits: str = "",
        earlier: EarlierBaseline | None = None,
    ) -> None:
        """`roles` tells which sensor is worn where, `offsets_s` how much later than the others' its times are; `limits`
        is the TOML text of the player's own, `earlier` the baseline of sessions before."""
        self.clock = station.clock
        self._station, self._layout, self._player = station, layout, player
        self._roles, self._offsets_s, self._limits = dict(roles), offsets_s, limits
        self._earlier = earlier
        self._over = threading.Event()

    @cached_property
    def settings(self) -> Settings:
        return session_settings(
            self._roles.items(),
            self._layout.name,
            player=self._player,
            offsets_s=self._offsets_s,
            calibrations=self._calibrations(),
            limits=self._limits,
            earlier=self._earlier,
        )

    def _calibrations(self) -> dict[str, Calibration]:
        """Of each sensor that has one, as old and as warm as it is today."""
        today = datetime.date.today()
        kept = calibrations(data_folder(), self._roles)
        return {
            sensor: aged(one, _days(one.day, today), self._station.temperature_c(sensor))
            for sensor, one in kept.items()
        }

    def play(self, put: Callable[[Item], None]) -> None:
        self._station.stream(put, self._roles)
        self._over.wait()

    def stop(self) -> None:
        self._station.close()
        self._over.set()


def _days(day: str, today: datetime.date) -> float | None:
    """Since that ISO date; None when it is none."""
    try:
        return float((today - datetime.date.fromisoformat(day)).days)
    except ValueError:
        return None
