"""All pure stages, composed: inputs in, events out. Live, replay and analysis run this same code.

It reads no clock, opens no file and starts no thread; time comes in with the items. What can be asked of it:
`imufeedback.commands`.

There is one way through the stages, for one item as it comes live and for a stretch of a recording: each stage takes
all that is there before the next one begins, and what is said is said in the order in which it became known.
"""

from __future__ import annotations

from collections import deque
from collections.abc import Iterable, Sequence
from itertools import islice
from typing import NamedTuple

from imufeedback.commands import Begin, is_begin, recorded, settings_of
from imufeedback.conduct import OWN, UNUSABLE, Hearing, Orders, Reps, Sensors, Worn, own_limits
from imufeedback.conduct.passage import Rooms, last_steps, obeyed, taken, through
from imufeedback.errors import UsageError
from imufeedback.records import Command, Event, Item, LimitChanged, Notice
from imufeedback.rules import own_layer, parse_recorded, passed_over, with_limits
from imufeedback.stage import Memory
from imufeedback.timing import Instants
from imufeedback.timing.instants import Placed

__all__ = ["Pipeline", "run"]


class _State(NamedTuple):
    begin: Command
    """With the places that the sensors have now."""
    sensors: Memory
    worn: Memory
    reps: Memory
    hearing: Memory
    instants: Memory


class Pipeline:
    """Feed it items in their order; every call returns the events that follow.

    `feed` raises UsageError or BadToml for misuse only: no ``begin`` at the start, or settings that make no sense. What
    comes after it never raises.
    """

    def __init__(self) -> None:
        self._begin_ns = 0
        self._rooms: Rooms | None = None
        """None before the session has begun."""

    def feed(self, item: Item) -> list[Event]:
        return self.feed_many((item,))

    def feed_many(self, items: Iterable[Item]) -> list[Event]:
        """The events of a stretch of items: those of feeding one after the other, in their order, but for angles, which
        come in longer blocks and are equal to rounding (1e-9 rad)."""
        out: list[Event] = []
        rest = iter(items)
        if self._rooms is None:
            out += [event for item in islice(rest, 1) for event in self._begun(item)]
        if self._rooms is not None:
            out += self._worked(self._rooms, self._rooms.instants.feed_many(list(rest)))
        return out

    def finish(self) -> list[Event]:
        """No more items: what was held back, then the totals of every sensor."""
        if self._rooms is None:
            return []
        sensors, held = self._rooms.sensors, self._rooms.instants.finish()
        out = [*self._worked(self._rooms, held), *through(self._rooms, sensors.rest())]
        return [*out, *last_steps(self._rooms), *sensors.totals()]

    @property
    def now_s(self) -> float:
        """Session time of the newest item; 0 before the session has begun."""
        return 0.0 if self._rooms is None else self._rooms.sensors.now_s

    @property
    def may_wait_s(self) -> float:
        """For how long samples may wait now without a sound in motion coming later. Where a rep needs no backswing, not
        at all: nothing tells of it before."""
        rooms = self._rooms
        if rooms is None or rooms.reps.rule_set.rep.min_backswing_deg == 0.0:
            return 0.0
        return rooms.hearing.cueing.may_wait_s

    def _worked(self, rooms: Rooms, items: Sequence[Placed]) -> list[Event]:
        """A command by itself; other items together, as many as may be when it is their turn."""
        out: list[Event] = []
        begin = 0
        commands = deque((k, item) for k, item in enumerate(items) if isinstance(item, Command))
        while begin < len(items):
            if commands and commands[0][0] == begin:
                out += obeyed(rooms, commands.popleft()[1])
                begin += 1
                continue
            end = int(min(begin + rooms.at_once, commands[0][0] if commands else len(items)))
            out += taken(rooms, items[begin:end])
            begin = end
        return out

    # ── the beginning ────────────────────────────────────────────────────────────────────────────────────────────

    def _begun(self, item: Placed) -> list[Event]:
        if not is_begin(item):
            raise UsageError("the first item of a session must be the command begin", where="pipeline")
        try:
            return self._begin(item)
        except UNUSABLE as error:
            what = f"the session's settings cannot be used ({type(error).__name__}: {error})"
            raise UsageError(what, where="begin", hint="what was recorded is damaged, or of another version") from error

    def _begin(self, command: Command) -> list[Event]:
        settings = settings_of(command)
        sensors = Sensors(settings, command.host_ns)
        worn = Worn(settings, sensors)
        own, said = own_limits(settings.limits)
        rule_set, unknown = parse_recorded(settings.rule_set, "rule set of the session")
        said += [*unknown, *passed_over(rule_set, own)]
        with_limits(rule_set, own, OWN)  # what cannot be is told at once, not in some block
        reps = Reps(settings.player.hand, rule_set, own_layer(rule_set, own), settings.earlier)
        hearing = Hearing(settings.player.hand, reps.rule_set)
        self._begin_ns = command.host_ns
        self._rooms = Rooms(sensors, worn, reps, hearing, Orders(worn, reps, hearing), Instants(command.host_ns))
        own_ones = [
            LimitChanged(0.0, key, one.value, one.usual, str(one.whose)) for key, one in reps.layers.player.items()
        ]
        if settings.earlier is not None:
            said.append(f"Until a baseline block today, your baseline of {settings.earlier.origin} counts.")
        return [*own_ones, *(Notice(0.0, text) for text in (*said, *worn.missing()))]

    # ── state ────────────────────────────────────────────────────────────────────────────────────────────────────

    @property
    def state(self) -> Memory:
        """The whole memory, independent of later items; can be pickled."""
        rooms = self._rooms
        if rooms is None:
            return None
        begin = recorded(self._begin_ns, Begin.of(rooms.worn.settings))
        places = rooms.sensors.state, rooms.worn.state, rooms.reps.state, rooms.hearing.state
        return _State(begin, *places, rooms.instants.state)

    @state.setter
    def state(self, value: Memory) -> None:
        self._rooms = None
        if value is None:
            return
        self._begin(value.begin)
        rooms = self._rooms
        assert rooms is not None
        rooms.sensors.state, rooms.worn.state = value.sensors, value.worn
        rooms.reps.state, rooms.hearing.state = value.reps, value.hearing
        rooms.instants.state = value.instants
        rooms.hearing.use(rooms.reps.rule_set)


TOGETHER = 2000
"""Items of a recording that are judged at once: some ten seconds of three sensors."""


def run(items: Iterable[Item], together: int = TOGETHER) -> Iterable[Event]:
    """All events of a list of items, to the end; so many are judged `together` (one: as they come live)."""
    pipeline, rest = Pipeline(), iter(items)
    while stretch := list(islice(rest, together)):
        yield from pipeline.feed_many(stretch)
    yield from pipeline.finish()
