"""A practice as a window sees it: something that was started, takes commands, and ends in good order. No Qt.

`SensorPractice` runs on real sensors (`station.Station`), `VirtualPractice` on the virtual golfer. Both write a
recording, and both end with the recording closed, whatever happens.
"""

from __future__ import annotations

import threading
from collections.abc import Callable, Mapping, Sequence
from datetime import datetime
from pathlib import Path
from typing import Protocol

from imufeedback import resources
from imufeedback.audio import Sounder, open_player
from imufeedback.demo import DemoPlan
from imufeedback.demo_run import STOP_S, LiveDemo
from imufeedback.errors import CannotWrite
from imufeedback.packets import Layout
from imufeedback.people import Person
from imufeedback.record.files import safe_stem
from imufeedback.record.journal import JournalWriter
from imufeedback.records import Command, Json, Notice, Segment
from imufeedback.session import Engine, Session, Sink, SoundSink
from imufeedback.settings import Sensor, Settings
from imufeedback.station import Station
from imufeedback.synth.player import Pace
from imufeedback.synth.swing import Flaw

TRY_REPS = 8
TRY_FLAWS = (Flaw.NONE, Flaw.STALL, Flaw.NONE, Flaw.PUSH_BACK)
"""What the virtual golfer does, again and again: something to see for the coach who tries the tool."""


class Practice(Protocol):
    """One session from its start to its closed recording."""

    @property
    def recording(self) -> Path: ...

    @property
    def elapsed_s(self) -> float:
        """Session time now; 0 before the start."""

    def start(self) -> None: ...

    def command(self, verb: str, args: Mapping[str, Json]) -> None:
        """What a person asked for; journalled. Any thread; nothing before the start and after the stop."""

    def stop(self) -> None:
        """End in good order. Any thread; may be called again."""


def new_recording(folder: Path, title: str) -> JournalWriter:
    """A recording named after the day and what it is. Raises CannotWrite."""
    try:
        folder.mkdir(parents=True, exist_ok=True)
    except OSError as error:
        raise CannotWrite(
            f"the folder cannot be made ({error.strerror})", where=str(folder), hint="choose another with --out"
        ) from error
    now = datetime.now().astimezone()
    return JournalWriter(folder / f"{safe_stem(title)}_{now:%Y-%m-%d_%H-%M-%S}.mcap", title=title, started=now)


class VirtualPractice:
    """The virtual golfer, to try everything without sensors."""

    def __init__(
        self,
        person: Person,
        journal: JournalWriter,
        sinks: Sequence[Sink] = (),
        on_end: Callable[[], None] = lambda: None,
        *,
        reps: int = TRY_REPS,
        pace: Pace = Pace.SLOW,
    ) -> None:
        """`on_end` is called from a thread when the golfer is done and the recording is closed."""
        flaws = tuple(TRY_FLAWS[k % len(TRY_FLAWS)] for k in range(reps))
        self._demo = LiveDemo(DemoPlan(person.hand, pace, flaws, reps), journal, sinks, on_end)
        self.recording = journal.path

    @property
    def elapsed_s(self) -> float:
        return self._demo.elapsed_s

    def start(self) -> None:
        self._demo.start()

    def command(self, verb: str, args: Mapping[str, Json]) -> None:
        self._demo.command(verb, args)

    def stop(self) -> None:
        self._demo.stop()


class SensorPractice:
    """A player with sensors."""

    def __init__(
        self,
        person: Person,
        station: Station,
        roles: Mapping[str, Segment],
        layout: Layout,
        journal: JournalWriter,
        sinks: Sequence[Sink] = (),
        *,
        rule_set: str = "swing",
        offsets_s: Mapping[str, float] | None = None,
    ) -> None:
        """`roles` tells which sensor is worn where, `offsets_s` how much later than the others' its times are.
        Raises UsageError when two sensors have one place."""
        self.recording = journal.path
        self._journal = journal
        self._station = station
        self._sinks = tuple(sinks)
        self._engine: Engine | None = None
        self._stopped = threading.Lock()
        self._settings = Settings(
            sensors=tuple(
                Sensor(one, segment, layout.name, (offsets_s or {}).get(one, 0.0)) for one, segment in roles.items()
            ),
            layouts={layout.name: resources.text("layouts", layout.name)},
            rule_set=resources.text("rules", rule_set),
            player=person.player,
            grid_hz=layout.rate_hz,
        )

    @property
    def elapsed_s(self) -> float:
        return 0.0 if self._engine is None else (self._station.clock.now_ns() - self._begin_ns) * 1e-9

    def start(self) -> None:
        """Open the sound, begin the session, let the sensors send."""
        clock = self._station.clock
        begin_ns = self._begin_ns = clock.now_ns()
        self._sounder: Sounder = open_player(clock.now_ns)
        sound = SoundSink(self._sounder, begin_ns=begin_ns, clock=clock.now_ns)
        sinks: tuple[Sink, ...] = (sound, *self._sinks)  # sound first: it is what must not wait
        self._engine = engine = Engine(
            lambda: Session(self._settings, begin_ns=begin_ns, journal=self._journal, sinks=sinks)
        )
        engine.start()
        for sink in self._sinks:
            sink([Notice(0.0, self._sounder.reason)])
        self._station.stream(engine.put)

    def command(self, verb: str, args: Mapping[str, Json]) -> None:
        if self._engine is not None:
            self._engine.put(Command(self._station.clock.now_ns(), verb, dict(args)))

    def stop(self) -> None:
        with self._stopped:
            self._station.close()
            if self._engine is None:
                self._journal.close()
                return
            self._engine.stop(STOP_S)
            self._sounder.close()
