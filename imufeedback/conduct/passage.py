"""The way of items through the rooms of a session that has begun: sensors, body, motion, rules, what is heard.

Each stage takes all that is there before the next one begins, and what is said is said in the order in which it became
known.
"""

from __future__ import annotations

from collections import deque
from collections.abc import Iterable, Iterator, Sequence
from dataclasses import dataclass
from heapq import merge
from itertools import islice

from imufeedback.conduct.batch import Batch
from imufeedback.conduct.body_sensors import Worn
from imufeedback.conduct.hearing import Hearing
from imufeedback.conduct.orders import Orders
from imufeedback.conduct.reps import Reps
from imufeedback.conduct.sensors import Sensors, Timed
from imufeedback.motion import without_forearm
from imufeedback.records import (
    AlignedBlock,
    Angles,
    ClockRestarted,
    Command,
    Event,
    Fitted,
    Notice,
    PhaseChanged,
    StateChanged,
    Zeroed,
)
from imufeedback.timing import Instants
from imufeedback.timing.instants import Placed
from imufeedback.timing.releases import Releases

MANY = 24
"""Fewer items go one by one. Chosen, for the same reason as `FEWEST` of `packets/columns.py`."""


@dataclass(frozen=True, slots=True)
class Rooms:
    """What a session that has begun is made of."""

    sensors: Sensors
    worn: Worn
    reps: Reps
    hearing: Hearing
    orders: Orders
    instants: Instants

    @property
    def at_once(self) -> float:
        """How many items may go together: one, where the effect of samples on the next ones matters. A calibration that
        ends corrects the accelerometers; hip turns and held positions have no phases by which their parts are told."""
        return 1 if self.reps.own_way is not None else self.worn.at_once


def obeyed(rooms: Rooms, command: Command) -> list[Event]:
    """What a command does, and what follows from it."""
    now_s = rooms.sensors.pass_to(command.host_ns)
    asked = rooms.orders.feed(rooms.sensors.seconds(command.host_ns), command)
    return [heard for event in _followed(rooms, asked) for heard in rooms.hearing.hear(now_s, event)]


def taken(rooms: Rooms, stretch: Sequence[Placed]) -> list[Event]:
    """Items that are no commands: many of them column by column."""
    if len(stretch) < MANY:
        return through(rooms, rooms.sensors.timed(stretch))
    return _heard(rooms, rooms.sensors.batch(stretch))


def through(rooms: Rooms, timed: Iterator[Timed]) -> list[Event]:
    """Samples and what is said about them: all of them together, or one by one."""
    out: list[Event] = []
    while batch := list(islice(timed, 1 if rooms.at_once == 1 else None)):
        out += _heard(rooms, Batch.of(batch))
    return out


def _heard(rooms: Rooms, batch: Batch) -> list[Event]:
    """Each stage takes all of a batch before the next one begins."""
    hear = rooms.hearing.hear
    told = deque(batch.told)
    for _, made in batch.told:
        if isinstance(made, ClockRestarted):
            rooms.reps.restarted(rooms.sensors.chains[made.sensor].sensor.role, made)
    places, arrived = rooms.sensors.oriented(batch)
    out: list[Event] = []
    for block, released in rooms.worn.merger.feed_many(arrived):
        known = [places[by] for by in released.by]
        for release, event in _measured(rooms, block, Releases(block.t_s, released.ends)):
            while told and told[0][0] < known[release]:
                at, earlier = told.popleft()
                out += hear(batch.heard_s(at), earlier)
            out += hear(batch.heard_s(known[release]), event)
    return out + [heard for at, event in told for heard in hear(batch.heard_s(at), event)]


def last_steps(rooms: Rooms) -> list[Event]:
    """Steps of the grid that waited for late sensors."""
    out: list[Event] = []
    for block in rooms.worn.merger.finish():
        for _, event in _measured(rooms, block, Releases(block.t_s, [len(block.t_s)])):
            out += rooms.hearing.hear(rooms.sensors.now_s, event)
    return out


def _measured(rooms: Rooms, block: AlignedBlock, releases: Releases) -> Iterator[tuple[int, Event]]:
    """Events of the body and its motion, each with the release of the step that decided it. To be heard one by one:
    what is heard decides how finely the angles are parted."""
    jointed, forearm = without_forearm(block)
    if forearm is not None:
        rooms.reps.feed(forearm)
    taps = [(releases.of(one.t_s), one) for one in rooms.worn.taps.feed(jointed)]
    yield from merge(_of_body(rooms, jointed, releases), taps, key=lambda one: one[0])


def _of_body(rooms: Rooms, jointed: AlignedBlock, releases: Releases) -> Iterator[tuple[int, Event]]:
    for made in rooms.worn.body.feed(jointed):
        if isinstance(made, Angles):
            yield from _parted(rooms, made, releases)
        else:
            release = releases.of(made.t_s)
            for event in _followed(rooms, [made]):
                yield release, event


def _parted(rooms: Rooms, angles: Angles, releases: Releases) -> Iterator[tuple[int, Event]]:
    """Angles as long as nothing happens, then what happened; release by release where the end of each one is listened
    to."""
    events = _released(rooms.reps.feed(angles), releases)
    t_s, begin = angles.t_s, 0
    while begin < len(t_s):
        if events and not rooms.hearing.follows:
            release = events[0][0]
        else:
            release = releases.of(t_s.item(begin if rooms.hearing.follows else -1))
        end = releases.upto(release, t_s)
        yield release, angles.part(slice(begin, end))
        while events and events[0][0] <= release:
            yield events.popleft()
        begin = end


def _released(events: Sequence[Event], releases: Releases) -> deque[tuple[int, Event]]:
    """What the motion tells, with the releases at which it does. A rep and its findings are told with the change of
    phase after them."""
    out: deque[tuple[int, Event]] = deque()
    release = 0
    for event in reversed(events):
        if isinstance(event, PhaseChanged | StateChanged | Notice):
            release = releases.of(event.t_s)
        out.appendleft((release, event))
    return out


def _followed(rooms: Rooms, events: Iterable[Event]) -> Iterator[Event]:
    """Events of the body, with what follows from a new fit and a new zero."""
    for event in events:
        yield event
        if isinstance(event, Fitted):
            rooms.sensors.correct(event.fit)
        elif isinstance(event, Angles | Zeroed):
            yield from rooms.reps.feed(event)
