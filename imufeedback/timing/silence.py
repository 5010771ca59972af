"""A computer that slept or stood still: seen by all sensors being silent at once, and by what their clocks did."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass, field
from typing import NamedTuple

from imufeedback.phrases import phrase
from imufeedback.records import Notice
from imufeedback.stage import Stage

SILENCE_S = 3.0
"""All sensors silent together for longer is told. Chosen; a single link that is lost is told of by its own note."""
TOLD_MOST = 20
"""So many silences are told one by one. Chosen: beyond that a person reads no more of them."""
AWAKE_S = 1.0
"""Other items with no longer pauses show that the computer was awake: time that passes comes every few hundredths of a
second. Chosen."""
AHEAD_S = 1.0
"""Clocks of sensors that are ahead by more, all alike, ran on while the computer's stood still."""
ALIKE_S = 1.0
TOGETHER_S = 30.0
"""By the computer's clock: within so long the sensors come back from one sleep. Chosen; links need a few seconds."""


class WakeSign(NamedTuple):
    """Something that shows that the computer is awake."""

    t_s: float
    """When it came, session time."""
    sensor: str = ""
    """Whose packet it is; empty when it is none."""
    ahead_s: float | None = None
    """Its clock begins anew here, and going on would have been ahead of the computer's by so much."""
    by_radio: bool = True
    """Else it comes out of files, and its time is that of its samples."""


@dataclass
class _State:
    heard: set[str] = field(default_factory=set)
    packet_s: float | None = None
    any_s: float = 0.0
    still_s: float = 0.0
    """Longest time without anything since the last packet."""
    told: int = 0
    """Silences so far."""
    ahead: dict[str, tuple[float, float]] = field(default_factory=dict)
    """By sensor: when its clock was found ahead, and by how much."""


class SilenceWatch(Stage[WakeSign, Notice]):
    """One notice each time that no sensor was heard for long, or that the computer's clock stood still meanwhile."""

    _state: _State

    def __init__(self, least_s: float = SILENCE_S) -> None:
        """`least_s`: shorter silences are usual."""
        self._least_s = max(least_s, SILENCE_S)
        self._state = _State()

    def feed(self, item: WakeSign) -> list[Notice]:
        s = self._state
        s.still_s = max(s.still_s, item.t_s - s.any_s)
        s.any_s = max(s.any_s, item.t_s)
        if not item.sensor:
            return []
        if item.ahead_s is not None:
            return self._slept(item.sensor, item.t_s, item.ahead_s)
        return self._silent(item)

    def passes(self, signs: Iterable[tuple[float, str, float | None]]) -> bool:
        """Whether signs (time, sensor, how far ahead a clock was that begins anew) tell nothing, because no pause is
        long and no clock begins anew. Then what is known is that after them; else nothing has changed."""
        s = self._state
        packet_s, any_s, still_s, heard = s.packet_s, s.any_s, s.still_s, set()
        for t_s, sensor, ahead_s in signs:
            if sensor:
                if ahead_s is not None or (packet_s is not None and t_s - packet_s > self._least_s):
                    return False
                packet_s, still_s = t_s, 0.0
                heard.add(sensor)
            elif t_s - any_s > still_s:
                still_s = t_s - any_s
            if t_s > any_s:
                any_s = t_s
        s.packet_s, s.any_s, s.still_s = packet_s, any_s, still_s
        s.heard |= heard
        return True

    def _silent(self, item: WakeSign) -> list[Notice]:
        s = self._state
        s.heard.add(item.sensor)
        silent_s = 0.0 if s.packet_s is None else item.t_s - s.packet_s
        still_s = s.still_s
        s.packet_s, s.still_s = item.t_s, 0.0
        if silent_s <= self._least_s or s.told >= TOLD_MOST:
            return []
        s.told += 1
        return [
            Notice(
                item.t_s,
                self._words(item, silent_s, still_s) + (phrase("notice.enough") if s.told == TOLD_MOST else ""),
            )
        ]

    def _words(self, item: WakeSign, silent_s: float, still_s: float) -> str:
        s = self._state
        if not item.by_radio:
            return phrase("notice.nothing_recorded", span=_span(silent_s), t_s=item.t_s)
        why = phrase("notice.out_of_reach" if still_s <= AWAKE_S else "notice.slept_or_busy")
        heard = "notice.none_heard" if len(s.heard) > 1 else "notice.one_not_heard"
        return phrase(heard, sensor=item.sensor, span=_span(silent_s), why=why)

    def _slept(self, sensor: str, t_s: float, ahead_s: float) -> list[Notice]:
        """A sensor that is switched off and on begins anywhere; two that are ahead by the same did go on."""
        s = self._state
        s.ahead = {name: one for name, one in s.ahead.items() if t_s - one[0] <= TOGETHER_S and name != sensor}
        if ahead_s <= AHEAD_S:
            return []
        alike = sum(abs(one[1] - ahead_s) <= ALIKE_S for one in s.ahead.values())
        s.ahead[sensor] = t_s, ahead_s
        if alike != 1:  # with the second one it is known, and a third one says nothing new
            return []
        return [Notice(t_s, phrase("notice.slept", slept_s=ahead_s))]


def _span(seconds: float) -> str:
    """Seconds, or hours where nobody can read so many seconds."""
    return f"{seconds:.0f} s" if seconds < 36_000 else f"{seconds / 3600:.0f} hours"
