"""What of a session may be shown now: results of a baseline or test come when the block is over, and where the player
says first what he thinks of a rep, that rep's result comes after his answer.

The sounds keep to the same by `imufeedback.cues.schedule`; this is for screens and for lines on a terminal.
"""

from __future__ import annotations

from imufeedback.records import BlockBegun, Event, Finding, Motion, Rep, Role, SelfEstimate, StateChanged

UNTOLD = (Role.BASELINE, Role.TEST)
"""They show what the player does when nobody tells, so nobody does."""


class Telling:
    """Holds back what would tell a result too early. Events go in as they come; out comes what may be shown."""

    def __init__(self) -> None:
        self._role = Role.SWINGS
        self._estimate = False
        self._held: list[Event] = []

    @property
    def untold(self) -> bool:
        """A baseline or a test: nothing of its result is shown before it is over."""
        return self._role in UNTOLD

    @property
    def quiet(self) -> bool:
        """The live judgement is not shown: it would be the result before its time."""
        return self.untold or self._estimate

    @property
    def asks(self) -> int | None:
        """The rep that the player's answer is waited for; None when there is none."""
        if self.untold or not self._estimate:
            return None
        return next((one.index for one in self._held if isinstance(one, Rep)), None)

    def hear(self, event: Event) -> list[Event]:
        """What may be shown because of this event, in order."""
        match event:
            case BlockBegun():
                out = [*self.rest(), event]
                self._role, self._estimate = event.role, event.estimate
                return out
            case Rep(void=""):
                return self._rep(event)
            case Finding():
                if self._holds(event.rep):
                    self._held.append(event)
                    return []
            case StateChanged(state=state) if self.quiet and state is not Motion.IDLE:
                return []
            case SelfEstimate(rep=rep) if not self.untold and self._holds(rep):
                return [event, *self.rest()]
        return [event]

    def rest(self) -> list[Event]:
        """All that is held back: the session is over, or the block."""
        out, self._held = self._held, []
        return out

    def _rep(self, rep: Rep) -> list[Event]:
        if not self.quiet:
            return [rep]
        # the next rep came before an answer: the one before is told, and no more asked for
        out = [] if self.untold else self.rest()
        self._held.append(rep)
        return out

    def _holds(self, index: int) -> bool:
        return any(isinstance(one, Rep) and one.index == index for one in self._held)
