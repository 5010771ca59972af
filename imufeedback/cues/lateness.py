"""Says when data come late: sounds about the movement are then left out, and a person should know why it is quiet."""

from __future__ import annotations

from dataclasses import dataclass

from imufeedback.cues.schedule import CUE_LIFE_S, Heard
from imufeedback.records import Angles, Notice
from imufeedback.stage import Stage

LATE_S = 2.0 * CUE_LIFE_S
"""Older angles than this are told of: twice what a sound may be late, so that one slow packet is not."""
FRESH_S = CUE_LIFE_S
"""Angles younger than this end it."""


@dataclass(slots=True)
class _State:
    late: bool = False


class Lateness(Stage[Heard, Notice]):
    """One notice each time the angles fall behind."""

    _state: _State

    def __init__(self) -> None:
        self._state = _State()

    @property
    def late(self) -> bool:
        """Whether the angles are behind."""
        return self._state.late

    def feed(self, item: Heard) -> list[Notice]:
        if not isinstance(item.event, Angles):
            return []
        age_s = item.now_s - float(item.event.t_s[-1])
        begins = age_s > LATE_S and not self._state.late
        self._state.late = age_s > (FRESH_S if self._state.late else LATE_S)
        if not begins:
            return []
        text = f"the data come {age_s:.1f} s late, so tones are left out – close other programs, bring the sensors near"
        return [Notice(item.now_s, text)]
