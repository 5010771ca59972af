"""Says when data come late: sounds about the movement are then left out, and a person should know why it is quiet.

Judged by the arrival of the sensors' packets: how long after its last sample each one came. Angles say less about it:
they are also old where packets are long, or where another sensor is waited for.
"""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass, field
from typing import NamedTuple

from imufeedback.cues.schedule import CUE_LIFE_S
from imufeedback.phrases import phrase
from imufeedback.records import Notice
from imufeedback.stage import Stage

LATE_S = 2.0 * CUE_LIFE_S
"""Packets that come later than this are told of: twice what a sound may be late, so that one slow packet is not."""
FRESH_S = CUE_LIFE_S
"""A packet that comes sooner than this ends it for its sensor."""
SILENT_S = 10.0
"""One that was late and has sent nothing since for so long is not waited for any more: its link is told of. Chosen: far
longer than packets lie in a computer that is busy."""


class Arrival(NamedTuple):
    """A packet came."""

    sensor: str
    now_s: float
    """When, session time."""
    newest_s: float
    """Time of its last sample."""


@dataclass(slots=True)
class _State:
    late: dict[str, float] = field(default_factory=dict)
    """Sensors that are behind, and when each was heard last."""


class Lateness(Stage[Arrival, Notice]):
    """One notice each time that sensors fall behind, until all of them have caught up or are silent."""

    _state: _State

    def __init__(self) -> None:
        self._state = _State()

    def passes(self, ages_s: Iterable[float]) -> bool:
        """Whether arrivals so long after their samples tell nothing and leave nothing to be known: none is late, and
        none was."""
        return not self._state.late and all(age_s <= LATE_S for age_s in ages_s)

    def feed(self, item: Arrival) -> list[Notice]:
        late = self._state.late
        for sensor in [one for one, heard_s in late.items() if item.now_s - heard_s > SILENT_S]:
            del late[sensor]
        age_s = item.now_s - item.newest_s
        if age_s <= FRESH_S:
            late.pop(item.sensor, None)
        elif item.sensor in late:
            late[item.sensor] = item.now_s
        if age_s <= LATE_S:
            return []
        begins = not late
        late[item.sensor] = item.now_s
        if not begins:
            return []
        return [Notice(item.now_s, phrase("notice.data_late", age_s=age_s))]
