"""A practice: one session from its start to its closed recording, whatever its source. No Qt.

This is the only place that wires a live session: source → engine → session → recording, pipeline, sound and sinks. The
source is the sensors of a station (`worn`), the virtual golfer (`golfer`), a recording (`playback`), or whatever else
fulfils `Source`. However it ends, the recording is closed.
"""

from __future__ import annotations

import threading
from collections import deque
from collections.abc import Callable, Sequence
from datetime import datetime
from pathlib import Path
from typing import Protocol

from imufeedback.audio import SAFE_LISTENING, Sounder, open_player
from imufeedback.commands import AddNote, AnyCommand, recorded
from imufeedback.errors import CannotWrite
from imufeedback.live.session import Engine, Fill, Session, Sink
from imufeedback.live.sound import SoundSink
from imufeedback.record.files import make_folder, safe_stem
from imufeedback.record.journal import JournalWriter
from imufeedback.records import Event, Item, LinkNote, LinkState, Notice
from imufeedback.settings import Settings
from imufeedback.threads import quick_turns, start_prompt

PREVIEW_NS = 500_000_000
STOP_S = 2.0
"""For the source, and again for the engine: together less than a closing window waits."""
DELAY_STEP_MS = 5.0
"""The running estimate of the delay is no better than that, and the number should not flicker."""


class HostClock(Protocol):
    """What stamps the items."""

    def now_ns(self) -> int:
        """Monotonic time in nanoseconds, from any start."""


class Source(Protocol):
    """Where the items of a practice come from."""

    @property
    def clock(self) -> HostClock:
        """The clock that stamps its items."""

    @property
    def settings(self) -> Settings:
        """What the session is set up with; may take a while when it is asked for first."""

    def play(self, put: Callable[[Item], None]) -> None:
        """Give every item, and return when there is no more, or after `stop`. Called once, in a thread of its own."""

    def stop(self) -> None:
        """End early. Any thread; may be called again, and before `play`."""


OpenSound = Callable[[Callable[[], int]], Sounder]
"""Opens a sound output; deadlines are on the clock that it is given, in nanoseconds."""


class MakeSession(Protocol):
    """`Session`, or one that takes notes of what passes."""

    def __call__(
        self, settings: Settings, *, begin_ns: int, journal: JournalWriter | None, sinks: Sequence[Sink]
    ) -> Session: ...


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


class Practice:
    """One session. `start` lets it run in threads of its own, `run` in the caller's; `stop` ends it."""

    def __init__(
        self,
        source: Source,
        journal: JournalWriter | None = None,
        sinks: Sequence[Sink] = (),
        on_end: Callable[[], None] = lambda: None,
        *,
        open_sound: OpenSound | None = open_player,
        make_session: MakeSession = Session,
    ) -> None:
        """
        Args:
            source: gives the items.
            journal: the recording; closed at the end.
            sinks: hear every event, after the sound.
            on_end: called from a thread when the source has no more, and the recording is closed.
            open_sound: opens the sound output when the session starts; None for a session without sound.
            make_session: called in the engine's thread.
        """
        self.source = source
        self.sounder: Sounder | None = None
        self.sound: SoundSink | None = None
        self.begin_ns = 0
        """Host time of session time 0; known once it has started."""
        self._journal = journal
        self._sinks = tuple(sinks)
        self._on_end = on_end
        self._open_sound = open_sound
        self._make_session = make_session
        self._failed: BaseException | None = None
        self._engine: Engine | None = None
        self._giving: threading.Thread | None = None
        self._stopped = threading.Lock()
        self._asked: deque[Item] = deque()
        """Commands of a practice in the caller's thread, which come between two items."""
        self._in_turn = False

    @property
    def recording(self) -> Path | None:
        return None if self._journal is None else self._journal.path

    @property
    def elapsed_s(self) -> float:
        """Session time now; 0 before the start."""
        return 0.0 if self._engine is None else (self.source.clock.now_ns() - self.begin_ns) * 1e-9

    @property
    def fill(self) -> Fill:
        """Of the engine's queue."""
        return Fill(0, 0) if self._engine is None else self._engine.fill

    @property
    def error(self) -> BaseException | None:
        """What ended source or session early; None while all is well."""
        return self._failed or (None if self._engine is None else self._engine.error)

    # ── from start to end ────────────────────────────────────────────────────────────────────────────────────────

    def start(self) -> None:
        """Open the sound, begin the session, let the source give its items."""
        quick_turns()
        clock = self.source.clock
        if self._open_sound is not None:
            self.sounder = self._open_sound(clock.now_ns)
        settings = self.source.settings
        begin_ns = self.begin_ns = clock.now_ns()
        sinks = self._sinks
        if self.sounder is not None:
            self.sound = SoundSink(self.sounder, begin_ns=begin_ns, clock=clock.now_ns)
            sinks = (self.sound, *sinks)  # sound first: it is what must not wait
        self._engine = Engine(
            lambda: self._make_session(settings, begin_ns=begin_ns, journal=self._journal, sinks=sinks)
        )
        self._tell_of_sound()
        self._giving = start_prompt("source", self._give)

    def _tell_of_sound(self) -> None:
        if self.sounder is None or self._engine is None:
            return
        # which output it was belongs to the recording: delays cannot be understood without it
        self._engine.put(recorded(self.source.clock.now_ns(), AddNote(self.sounder.reason)))
        self._tell([Notice(0.0, text) for text in (self.sounder.reason, SAFE_LISTENING, *self.sounder.notices())])

    def _give(self) -> None:
        assert self._engine is not None
        try:
            self.source.play(self._engine.put)
        except Exception as error:  # noqa: BLE001 - a thread has nobody to raise to: the session is told
            self._failed = error
            text = f"{type(error).__name__}: {error}"
            self._engine.put(LinkNote("radio", self.source.clock.now_ns(), LinkState.LOST, text))
        self._engine.stop(STOP_S)
        self._on_end()

    def run(self, together: int = 1) -> None:
        """All of it in the caller's thread, without sound: nothing runs beside it. Raises what the source raises.

        So many items are judged `together`. More than one is faster, and tells the same; but a command that answers an
        event then comes as many items later."""
        settings = self.source.settings
        self.begin_ns = self.source.clock.now_ns()
        session = self._make_session(settings, begin_ns=self.begin_ns, journal=self._journal, sinks=self._sinks)
        waiting: list[Item] = []

        def put(item: Item) -> None:
            waiting.append(item)
            if len(waiting) >= together:
                judge()

        def judge() -> None:
            items = [*waiting]
            waiting.clear()
            if len(items) == 1:
                session.feed(items[0])
            else:
                session.feed_many(items)
            while self._asked:
                session.feed(self._asked.popleft())

        self._in_turn = True
        try:
            try:
                self.source.play(put)
            finally:
                judge()
        finally:
            self._in_turn = False
            session.finish()

    def wait(self) -> None:
        """Until the source has no more."""
        if self._giving is not None:
            self._giving.join()

    def stop(self, wait_s: float = STOP_S) -> None:
        """End in good order: the recording is closed, the sound is off. Any thread; may be called again."""
        with self._stopped:
            self.source.stop()
            over = True
            if self._giving is not None and self._engine is not None:
                self._giving.join(wait_s)
                over = self._engine.stop(wait_s)
            if self._journal is not None and over:
                self._journal.close()
            if self.sounder is not None:
                self.sounder.close()

    # ── what a person does and asks ──────────────────────────────────────────────────────────────────────────────

    def command(self, command: AnyCommand) -> None:
        """What a person asked for; journalled. Any thread; nothing before the start."""
        if self._engine is not None:
            self._engine.put(recorded(self.source.clock.now_ns(), command))
        elif self._in_turn:
            self._asked.append(recorded(self.source.clock.now_ns(), command))

    def preview(self, sound: str) -> None:
        """Let one sound be heard, outside of what the session says."""
        if self.sounder is not None:
            self.sounder.play(sound, self.source.clock.now_ns() + PREVIEW_NS)

    def sound_trouble(self) -> str:
        """Why no tone can be heard now, in one line; empty while it can, and before the start. Any thread."""
        return "" if self.sounder is None else self.sounder.trouble

    def delay_ms(self) -> float | None:
        """Running estimate of the delay from motion to sound; None while there is none. Also tells what the sound
        output has to say."""
        if self.sounder is None or self.sound is None:
            return None
        told = [Notice(self.elapsed_s, text) for text in self.sounder.notices()]
        if told:
            self._tell(list(told))
        delay = self.sound.delay()
        return None if delay is None else DELAY_STEP_MS * round(delay.median_s * 1e3 / DELAY_STEP_MS)

    def _tell(self, events: list[Event]) -> None:
        for sink in self._sinks:
            sink(events)
