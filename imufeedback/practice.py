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
from imufeedback.audio import SAFE_LISTENING, Sounder, open_player
from imufeedback.audio.turns import quick_turns
from imufeedback.commands import AnyCommand, Note, recorded
from imufeedback.demo import DemoPlan
from imufeedback.demo_run import PREVIEW_NS, STOP_S, LiveDemo
from imufeedback.errors import CannotWrite
from imufeedback.packets import Layout
from imufeedback.people import Person
from imufeedback.record.files import make_folder, safe_stem
from imufeedback.record.journal import JournalWriter
from imufeedback.records import Event, Notice, Segment
from imufeedback.session import Engine, Session, Sink, SoundDelay, SoundSink
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

    def command(self, command: AnyCommand) -> None:
        """What a person asked for; journalled. Any thread; nothing before the start and after the stop."""

    def preview(self, sound: str) -> None:
        """Let one sound be heard, outside of what the session says."""

    def delay_ms(self) -> float | None:
        """Running estimate of the delay from motion to sound; None while there is none."""

    def stop(self) -> None:
        """End in good order. Any thread; may be called again."""


def new_recording(folder: Path, title: str) -> JournalWriter:
    """A recording named after the day and what it is. Raises CannotWrite."""
    try:
        make_folder(folder)
    except OSError as error:
        raise CannotWrite(
            f"the folder cannot be made ({error.strerror})", where=str(folder), hint="choose another with --out"
        ) from error
    now = datetime.now().astimezone()
    return JournalWriter(folder / f"{safe_stem(title)}_{now:%Y-%m-%d_%H-%M-%S}.mcap", title=title, started=now)


def _rounded_ms(delay: SoundDelay | None) -> float | None:
    """The estimate, to 5 ms: it is no better than that, and the number should not flicker."""
    return None if delay is None else 5.0 * round(delay.median_s * 1e3 / 5.0)


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

    def command(self, command: AnyCommand) -> None:
        self._demo.command(command)

    def preview(self, sound: str) -> None:
        self._demo.preview(sound)

    def delay_ms(self) -> float | None:
        return _rounded_ms(self._demo.delay())

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
        self._roles = tuple(roles)
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
        quick_turns()
        clock = self._station.clock
        begin_ns = self._begin_ns = clock.now_ns()
        self._sounder: Sounder = open_player(clock.now_ns)
        self._sound = SoundSink(self._sounder, begin_ns=begin_ns, clock=clock.now_ns)
        sinks: tuple[Sink, ...] = (self._sound, *self._sinks)  # sound first: it is what must not wait
        self._engine = engine = Engine(
            lambda: Session(self._settings, begin_ns=begin_ns, journal=self._journal, sinks=sinks)
        )
        engine.start()
        for sink in self._sinks:
            sink([Notice(0.0, text) for text in (self._sounder.reason, SAFE_LISTENING)])
        engine.put(recorded(clock.now_ns(), Note(self._sounder.reason)))
        self._station.stream(engine.put, self._roles)

    def command(self, command: AnyCommand) -> None:
        if self._engine is not None:
            self._engine.put(recorded(self._station.clock.now_ns(), command))

    def preview(self, sound: str) -> None:
        if self._engine is not None:
            self._sounder.play(sound, self._station.clock.now_ns() + PREVIEW_NS)

    def delay_ms(self) -> float | None:
        if self._engine is None:
            return None
        told: list[Event] = [Notice(self.elapsed_s, text) for text in self._sounder.notices()]
        for sink in self._sinks if told else ():
            sink(told)
        return _rounded_ms(self._sound.delay())

    def stop(self) -> None:
        with self._stopped:
            self._station.close()
            if self._engine is None:
                self._journal.close()
                return
            self._engine.stop(STOP_S)
            self._sounder.close()
