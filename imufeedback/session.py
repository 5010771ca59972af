"""One running session: items in, journal and pipeline, events out to whoever listens. Knows nothing of Qt.

`Session` is the work itself and belongs to one thread. `Engine` gives it a thread of its own: the radio's thread only
puts items on its queue. A failure inside becomes a `Fault` event and ends the session in good order.
"""

from __future__ import annotations

import threading
from collections import deque
from collections.abc import Callable, Sequence
from dataclasses import dataclass
from queue import SimpleQueue

import scipy.signal  # noqa: F401 – a fitting needs it: half a second that must not fall into a running session

from imufeedback import unforeseen
from imufeedback.audio import Sounder
from imufeedback.audio.turns import first_turn
from imufeedback.commands import Begin, recorded
from imufeedback.cues.mixer import Started
from imufeedback.pipeline import Pipeline
from imufeedback.record.disk import HangTeller
from imufeedback.record.journal import JournalWriter
from imufeedback.records import Cue, Event, Fault, Item, Notice, Tone
from imufeedback.resources import data_folder
from imufeedback.settings import Settings

DELAYS_KEPT = 50
"""Newest cues that the running estimate of the delay is made of."""

Sink = Callable[[list[Event]], None]
"""Takes events in their order; must not block. Called from the session's thread."""


class Session:
    """Feeds one pipeline, keeps its journal and tells its sinks. All calls from one thread."""

    def __init__(
        self, settings: Settings, *, begin_ns: int, journal: JournalWriter | None = None, sinks: Sequence[Sink] = ()
    ) -> None:
        """`begin_ns` is the host time of session time 0. Raises UsageError for settings that make no sense."""
        self._pipeline = Pipeline()
        self._journal = journal
        self._sinks = tuple(sinks)
        self._begin_ns = self._last_ns = begin_ns
        self._journal_error: str | None = None
        self._hang = HangTeller()
        self._over = False
        self.feed(recorded(begin_ns, Begin.of(settings)))

    def feed(self, item: Item) -> None:
        """Journal first, then judge: what was judged can always be judged again."""
        if self._over:
            return
        self._last_ns = max(self._last_ns, item.host_ns)
        if self._journal is not None:
            self._journal.write(item)
        self._tell(self._pipeline.feed(item))
        self._watch_journal()

    def finish(self) -> None:
        """What was held back and the totals go out, and the recording is closed. May be called again."""
        if self._over:
            return
        self._over = True
        try:
            self._tell(self._pipeline.finish())
        finally:
            if self._journal is not None:
                self._journal.close()
                self._watch_journal()

    def fail(self, where: str, error: BaseException) -> None:
        """Something failed: say so, and end in good order."""
        what = f"{type(error).__name__}: {error}" if str(error) else type(error).__name__
        self._tell([Fault(self._now_s, where, what)])
        self.finish()

    @property
    def _now_s(self) -> float:
        return (self._last_ns - self._begin_ns) * 1e-9

    def _tell(self, events: list[Event]) -> None:
        if events:
            for sink in self._sinks:
                sink(events)

    def _watch_journal(self) -> None:
        if self._journal is None:
            return
        if lines := self._hang.lines(self._journal.waits_s):
            self._tell([Notice(self._now_s, line) for line in lines])
        if self._journal.error is self._journal_error:
            return
        self._journal_error = self._journal.error
        self._tell([Fault(self._now_s, "recording", str(self._journal_error))])


@dataclass(frozen=True, slots=True)
class Fill:
    """How full a queue is."""

    waiting: int
    peak: int


class Engine:
    """A thread that runs a session. `put` may be called from any thread and never waits."""

    def __init__(self, make_session: Callable[[], Session]) -> None:
        self._make = make_session
        self._queue: SimpleQueue[Item | None] = SimpleQueue()
        self._peak = 0
        self._thread = threading.Thread(target=self._run, name="engine", daemon=True)
        self.error: BaseException | None = None
        """What ended the session early; None while all is well."""

    def start(self) -> None:
        self._thread.start()

    def put(self, item: Item) -> None:
        """Hand over one item; items are never dropped."""
        self._queue.put(item)
        self._peak = max(self._peak, self._queue.qsize())

    @property
    def fill(self) -> Fill:
        return Fill(self._queue.qsize(), self._peak)

    def stop(self, wait_s: float = 10.0) -> bool:
        """Work off the queue, close the recording; True when that was done in time."""
        self._queue.put(None)
        self._thread.join(wait_s)
        return not self._thread.is_alive()

    def _run(self) -> None:
        session: Session | None = None
        try:
            first_turn()
            session = self._make()
            while (item := self._queue.get()) is not None:
                session.feed(item)
            session.finish()
        except Exception as error:  # noqa: BLE001 - a thread has nobody to raise to: it becomes a Fault event
            self.error = error
            unforeseen.keep(error, data_folder())
            if session is not None:
                session.fail("engine", error)


@dataclass(frozen=True, slots=True)
class SoundDelay:
    """From motion to sound, of the newest cues; seconds. An estimate: what the radio takes at least is not seen."""

    count: int
    median_s: float
    worst_s: float


class SoundSink:
    """Plays the cues of a live session; remembers which were handed to the device in time, and how late they began."""

    def __init__(self, sounder: Sounder, *, begin_ns: int, clock: Callable[[], int]) -> None:
        """`begin_ns` and `clock` are of one clock: the one that stamps the items."""
        self._sounder = sounder
        self._begin_ns = begin_ns
        self._clock = clock
        self.played: set[tuple[str, float]] = set()
        """(sound, t_s) of every cue that was handed over before it expired."""
        self.started: list[Started] = []
        """Every sound that began, oldest first."""
        self.heard: dict[tuple[str, int], float] = {}
        """Session time at which a cue was heard, as far as the output's own delay is known; see `heard_s`."""
        self.late = 0
        self._delays_s: deque[float] = deque(maxlen=DELAYS_KEPT)

    def __call__(self, events: list[Event]) -> None:
        for event in events:
            if isinstance(event, Cue):
                self._play(event)
            elif isinstance(event, Tone):
                self._sounder.hold(event.semitones, self._host_ns(event.expires_s))
        self.collect()

    def _host_ns(self, t_s: float) -> int:
        return self._begin_ns + round(t_s * 1e9)

    def _play(self, cue: Cue) -> None:
        deadline_ns = self._host_ns(cue.expires_s)
        if self._clock() > deadline_ns:
            self.late += 1
            return
        self._sounder.play(cue.sound, deadline_ns, cue.priority, self._host_ns(cue.t_s))
        self.played.add((cue.sound, cue.t_s))

    def collect(self) -> None:
        """Take over what the player has begun since the last time. Engine thread, or after its end."""
        for started in self._sounder.started():
            heard_ns = started.now_ns + self._sounder.output_delay_s * 1e9
            if not started.request.tag:
                continue  # asked for by a person, not by a movement
            self.started.append(started)
            self.heard[started.request.sound, started.request.tag] = (heard_ns - self._begin_ns) * 1e-9
            self._delays_s.append((heard_ns - started.request.tag) * 1e-9)

    def heard_s(self, sound: str, t_s: float) -> float | None:
        """Session time at which a cue of this time was heard, as far as is known; None when it was not."""
        return self.heard.get((sound, self._host_ns(t_s)))

    def delay(self) -> SoundDelay | None:
        """The running estimate; None before the first cue. Any thread."""
        newest = sorted(list(self._delays_s))  # noqa: C414 - the copy is made in one step, sorting is not
        return SoundDelay(len(newest), newest[len(newest) // 2], newest[-1]) if newest else None
