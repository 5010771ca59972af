"""One running session: items in, journal and pipeline, events out to whoever listens. Knows nothing of Qt.

`Session` is the work itself and belongs to one thread. `Engine` gives it a thread of its own: the radio's thread only
puts items on its queue. A failure inside becomes a `Fault` event and ends the session in good order.
"""

from __future__ import annotations

import time
from collections.abc import Callable, Iterator, Sequence
from dataclasses import dataclass
from queue import SimpleQueue

from imufeedback import unforeseen
from imufeedback.commands import Begin, recorded
from imufeedback.pipeline import Pipeline
from imufeedback.record.disk import HangTeller
from imufeedback.record.journal import JournalWriter
from imufeedback.records import Event, Fault, Item, Notice
from imufeedback.resources import data_folder
from imufeedback.settings import Settings
from imufeedback.threads import start_prompt

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
        Session.feed_many(self, [recorded(begin_ns, Begin.of(settings))])  # before a subclass is complete

    def feed(self, item: Item) -> None:
        self.feed_many((item,))

    def feed_many(self, items: Sequence[Item]) -> None:
        """Journal first, then judge: what was judged can always be judged again."""
        if self._over:
            return
        for item in items:
            self._last_ns = max(self._last_ns, item.host_ns)
            if self._journal is not None:
                self._journal.write(item)
        self._tell(self._pipeline.feed_many(items))
        self._watch_journal()

    @property
    def may_wait_s(self) -> float:
        """For how long what comes now may wait without a sound in motion coming later."""
        return self._pipeline.may_wait_s

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


AT_ONCE_NS = 20_000_000
"""What waits in the queue is worked off in one call, up to so much of it by its arrival, or two pauses: dearer steps
are then shared, and no sound in motion comes later by more than that."""


class Engine:
    """A thread that runs a session, from now on. `put` may be called from any thread and never waits."""

    def __init__(self, make_session: Callable[[], Session]) -> None:
        self._make = make_session
        self._queue: SimpleQueue[Item | None] = SimpleQueue()
        self._peak = 0
        self.error: BaseException | None = None
        """What ended the session early; None while all is well."""
        self._thread = start_prompt("engine", self._run)

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
            session = self._make()
            for items in self._stretches(session):
                session.feed_many(items)
            session.finish()
        except Exception as error:  # noqa: BLE001 - a thread has nobody to raise to: it becomes a Fault event
            self.error = error
            unforeseen.keep(error, data_folder())
            if session is not None:
                session.fail("engine", error)

    def _stretches(self, session: Session) -> Iterator[list[Item]]:
        """What came, in its order, as much at once as is waiting; until the end. A call costs much the same for one
        packet as for several, so while there is time, the next one begins only when some have come."""
        held: list[Item] = []
        begun_s = time.monotonic()
        while True:
            if self._queue.empty():
                if held:
                    yield held
                    held = []
                rest_s = begun_s + session.may_wait_s - time.monotonic()
                if rest_s > 0.0:
                    time.sleep(rest_s)
                begun_s = time.monotonic()
            item = self._queue.get()
            at_most_ns = max(AT_ONCE_NS, 2e9 * session.may_wait_s)
            if held and (item is None or item.host_ns - held[0].host_ns > at_most_ns):
                yield held
                held = []
            if item is None:
                return
            held.append(item)
