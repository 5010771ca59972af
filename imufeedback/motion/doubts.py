"""Watches a rep for what it needs and does not have."""

from __future__ import annotations

from dataclasses import dataclass, field

import numpy as np

from imufeedback.motion import needs
from imufeedback.motion.needs import SWING, Needed, Restarted
from imufeedback.motion.track import Col
from imufeedback.records import Bools, Floats, Hand

SETTLED_S = 0.3
"""What was not known at address for the last time so long ago spoils nothing any more; chosen, as long as an angle may
take to be known again after a gap."""

_MISSING, _UNSURE = int(Col.MISSING), int(Col.UNSURE)


@dataclass
class Doubts:
    """Of the present rep; all that changes is in here, so it can be part of a stage's memory."""

    needed: Needed = SWING
    first: tuple[float, str] | None = None
    """When something needed was not known for the first time, and why."""
    last_s: float = -np.inf
    lost_turn: bool = False
    """The pelvis' turn itself was not known for a moment: the phases were blind."""
    gaps: Needed = Needed.NONE
    """Angles of which samples were missing since the zero."""
    coming: list[Restarted] = field(default_factory=list)
    """Restarts that the track has not come to yet."""
    restarts: list[Restarted] = field(default_factory=list)
    """Restarts since the zero."""
    broken: list[tuple[float, str]] = field(default_factory=list)
    """Instants since the zero at which what was counted before went for nothing, and why."""

    def any(self, row: list[float]) -> bool:
        """Whether there may be something to note at this step: seldom, so it is asked before `look`."""
        return bool(row[_MISSING] or row[_UNSURE] or self.coming)

    def look(self, row: list[float], hand: Hand) -> bool:
        """Take one step of a track; whether something needed is not known at it."""
        restart = self._arrived(row[Col.T]) if self.coming else False
        if not (row[Col.MISSING] or row[Col.UNSURE] or restart):
            return False
        missing = Needed(int(row[Col.MISSING]))
        self.gaps |= missing
        if not restart and not (missing | Needed(int(row[Col.UNSURE]))) & self.needed:
            return False
        self.last_s = row[Col.T]
        self.first = self.first or (row[Col.T], self._why(row, hand))
        self.lost_turn |= bool((missing | Needed(int(row[Col.UNSURE]))) & Needed.TURN)
        return True

    def _arrived(self, t_s: float) -> bool:
        now = [one for one in self.coming if one.t_s <= t_s]
        self.coming = [one for one in self.coming if one.t_s > t_s]
        self.restarts += now
        return bool(now)

    def _why(self, row: list[float], hand: Hand) -> str:
        missing = Needed(int(row[Col.MISSING])) & self.needed
        if self.restarts:
            return needs.restarted(self.restarts[-1].segment)
        if missing:
            return needs.missing(missing, hand)
        unsure = Needed(int(row[Col.UNSURE])) & self.needed
        return needs.unsure(unsure, hand, after_gap=bool(unsure & self.gaps))

    def spoil(self, t_s: float, why: str) -> None:
        """From here on the angles count from elsewhere, though each of them is known."""
        self.broken.append((t_s, why))
        self.first = self.first or (t_s, why)
        self.last_s = t_s

    def forget(self) -> None:
        """The player is at rest and all is well: a new rep begins without what was before."""
        self.first, self.lost_turn = None, False

    def settled(self, t_s: float) -> bool:
        """Whether what was not known is so long past that it can be forgotten."""
        return self.first is not None and t_s - self.last_s > SETTLED_S

    def zeroed(self, t_s: float) -> None:
        """Turn and rotation count anew from here: what was before plays no part any more."""
        self.forget()
        self.gaps = Needed.NONE
        self.restarts, self.broken = [], []
        self.coming = [one for one in self.coming if one.t_s > t_s]

    def not_known(self, rows: Floats) -> Bools:
        """(N,) steps at which something needed was not known."""
        bits = rows[:, Col.MISSING].astype(np.int64) | rows[:, Col.UNSURE].astype(np.int64)
        out: Bools = (bits & int(self.needed)) != 0
        return out

    def between(self, rows: Floats, begin_s: float, end_s: float, hand: Hand) -> str:
        """Why a rep from `begin_s` to `end_s` is void; empty when all that it needs was known. `rows` is its track."""
        restarts = [(one.t_s, needs.restarted(one.segment)) for one in self.restarts]
        for t_s, why in restarts + self.broken:
            if begin_s <= t_s <= end_s:
                return why
        inside = (rows[:, Col.T] >= begin_s) & (rows[:, Col.T] <= end_s)
        bad = rows[self.not_known(rows) & inside]
        return self._why(bad[0].tolist(), hand) if len(bad) else ""
