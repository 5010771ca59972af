"""The sensors where they are worn: their samples on one grid, and the angles of the body they hang on."""

from __future__ import annotations

import math
from collections.abc import Iterable
from typing import NamedTuple

import msgspec

from imufeedback.body import Body
from imufeedback.conduct.sensors import Sensors
from imufeedback.fusion.ageing import offset_sd_m_s2
from imufeedback.motion import Taps
from imufeedback.phrases import phrase
from imufeedback.records import Event, RolesChanged, Segment
from imufeedback.settings import Sensor, Settings
from imufeedback.stage import Memory
from imufeedback.timing import Merger

NEEDED = (Segment.PELVIS, Segment.LEFT_THIGH, Segment.RIGHT_THIGH)
"""Without them there is no swing to judge."""
NOT_YET_S = 0.4
"""A calibration that still waits for a bow ends after a second of standing still, samples of all sensors; some may have
come already and wait for the others."""


class _State(NamedTuple):
    merger: Memory
    body: Memory
    taps: Memory


class Worn:
    """What depends on which sensor is where. `settings` says that; they change when sensors swap their places."""

    def __init__(self, settings: Settings, sensors: Sensors) -> None:
        self.settings = settings
        self._sensors = sensors
        self.merger = self._new_merger(settings.sensors)
        self.taps = Taps()
        self.body = Body(
            _jointed(settings.sensors),
            hand=settings.player.hand,
            grid_hz=settings.grid_hz,
            offsets_sd_m_s2={
                one.role: offset_sd_m_s2(one.calibration) for one in settings.sensors if one.calibration is not None
            },
        )

    @property
    def at_once(self) -> float:
        """How many items may go together: one while a calibration may end or joints are held, few while it may not end
        yet, else all."""
        if not self.body.calibrating:
            return math.inf
        if self.body.may_be_fitted:
            return 1
        # of fewer items at least one sensor sends less than so long
        chains = [chain for chain in self._sensors.chains.values() if chain.sensor.role is not Segment.LEAD_FOREARM]
        return max(sum(math.ceil(NOT_YET_S / one.packet_s) for one in chains) - 1, 1)

    def missing(self) -> list[str]:
        """What is to be said about places without a sensor."""
        roles = [one.role for one in self.settings.sensors]
        missing = [one for one in NEEDED if one not in roles]
        if not missing:
            return []
        return [phrase("notice.no_sensor_on", places=", ".join(missing).replace("_", " "))]

    def swap(self, t_s: float) -> list[Event]:
        """Give the sensors the places that the calibration movements showed. All memory of the samples stays."""
        found = self.body.take_swap()
        if found is None:
            return []
        sensors = tuple(
            msgspec.structs.replace(one, role=found.roles.get(one.role, one.role)) for one in self.settings.sensors
        )
        self.settings = msgspec.structs.replace(self.settings, sensors=sensors)
        for one in sensors:
            self._sensors.chains[one.id].sensor = one
        merger, self.merger = self.merger, self._new_merger(sensors)
        self.merger.state = merger.state
        self.body, events = self.body.renamed(_jointed(sensors), found, t_s)
        return [RolesChanged(t_s, {one.id: one.role for one in sensors}), *events]

    def _new_merger(self, sensors: Iterable[Sensor]) -> Merger:
        return Merger([(one.id, one.role) for one in sensors], grid_hz=self.settings.grid_hz)

    @property
    def state(self) -> _State:
        return _State(self.merger.state, self.body.state, self.taps.state)

    @state.setter
    def state(self, value: _State) -> None:
        self.merger.state, self.body.state, self.taps.state = value


def _jointed(sensors: Iterable[Sensor]) -> list[Segment]:
    """The places of sensors that a joint hangs on."""
    return [one.role for one in sensors if one.role is not Segment.LEAD_FOREARM]
