"""Running a demo: as fast as it goes in one thread, or at the pace of life with the threads of a real session."""

from __future__ import annotations

import asyncio
import gc
import threading
from collections.abc import Callable, Sequence

import msgspec

from imufeedback.audio import SAFE_LISTENING, Sounder, open_player
from imufeedback.audio.turns import first_turn, quick_turns
from imufeedback.ble.clock import ManualClock, MonotonicClock
from imufeedback.commands import AnyCommand, Mute, Note, recorded
from imufeedback.demo import Demo, DemoPlan, run_inline
from imufeedback.document import Document
from imufeedback.record.journal import JournalWriter
from imufeedback.records import Event, LinkNote, LinkState, Notice
from imufeedback.report.summary import Summary
from imufeedback.session import Engine, Session, Sink, SoundDelay, SoundSink

PREVIEW_NS = 500_000_000
STOP_S = 2.0
"""For the radio, and again for the engine: together less than a closing window waits."""


def run_fast(plan: DemoPlan, journal: JournalWriter) -> tuple[Summary, Document]:
    """The whole demo without waiting and without sound; returns the summary and its document."""
    demo = Demo(plan, ManualClock())
    summary = Summary(plan.hand)
    session = Session(demo.settings, begin_ns=demo.begin_ns, journal=journal, sinks=[summary])
    # The simulated radio makes millions of short-lived objects that reference counting frees by itself; looking for
    # cycles among them again and again costs a tenth of the run.
    gc.freeze()
    usual = gc.get_threshold()
    gc.set_threshold(100_000, 50, 50)
    try:
        run_inline(demo, session.feed)
    finally:
        gc.set_threshold(*usual)
        gc.unfreeze()
        session.finish()
    return summary, _document(summary, demo, journal, None)


class LiveDemo:
    """A demo at the pace of life: radio thread, engine thread, journal thread, sound. For with and without a window."""

    def __init__(
        self,
        plan: DemoPlan,
        journal: JournalWriter,
        sinks: Sequence[Sink] = (),
        on_end: Callable[[], None] = lambda: None,
    ) -> None:
        """`on_end` is called, from the radio's thread, when the golfer is done and the recording is closed."""
        self.plan = plan
        self.summary = Summary(plan.hand)
        self._journal = journal
        self._sinks = tuple(sinks)
        self._on_end = on_end
        self._clock = MonotonicClock()
        self._demo: Demo | None = None
        self._radio = threading.Thread(target=self._run_radio, name="ble", daemon=True)
        self._stopped = threading.Lock()

    def start(self) -> None:
        """Open the sound, begin the session, start the threads."""
        quick_turns()
        self._sounder: Sounder = open_player(self._clock.now_ns)
        self._demo = demo = Demo(self.plan, self._clock)
        self.sound = SoundSink(self._sounder, begin_ns=demo.begin_ns, clock=self._clock.now_ns)
        # sound first: it is what must not wait
        sinks: tuple[Sink, ...] = (self.sound, self.summary, *self._sinks)
        self._engine = Engine(
            lambda: Session(demo.settings, begin_ns=demo.begin_ns, journal=self._journal, sinks=sinks)
        )
        self._engine.start()
        # which output it was belongs to the recording: delays cannot be understood without it
        self._engine.put(recorded(self._clock.now_ns(), Note(self._sounder.reason)))
        for sink in sinks[1:]:
            sink([Notice(0.0, text) for text in (self._sounder.reason, SAFE_LISTENING, *self._sounder.notices())])
        self._radio.start()

    @property
    def elapsed_s(self) -> float:
        """Session time now; 0 before the start."""
        return 0.0 if self._demo is None else (self._clock.now_ns() - self._demo.begin_ns) * 1e-9

    def wait(self) -> None:
        """Until the golfer is done."""
        self._radio.join()

    def stop(self) -> None:
        """End in good order: the recording is closed, the sound is off. From any thread; may be called again."""
        with self._stopped:
            if self._demo is None:
                self._journal.close()
                return
            self._demo.stop()
            self._radio.join(STOP_S)
            self._engine.stop(STOP_S)
            self._sounder.close()

    def set_muted(self, muted: bool) -> None:
        """Silence the tones, or let them sound again; journalled."""
        self.command(Mute(muted))

    def command(self, command: AnyCommand) -> None:
        """What a person asked for; journalled. Nothing before the start."""
        if self._demo is not None:
            self._engine.put(recorded(self._clock.now_ns(), command))

    def delay(self) -> SoundDelay | None:
        """Running estimate of the delay from motion to sound; also tells what the sound output has to say."""
        if self._demo is None:
            return None
        told: list[Event] = [Notice(self._now_s, text) for text in self._sounder.notices()]
        if told:
            self.summary(told)
            for sink in self._sinks:
                sink(told)
        return self.sound.delay()

    def preview(self, sound: str) -> None:
        """Let one sound be heard, outside of what the session says."""
        if self._demo is not None:
            self._sounder.play(sound, self._clock.now_ns() + PREVIEW_NS)

    @property
    def _now_s(self) -> float:
        assert self._demo is not None
        return (self._clock.now_ns() - self._demo.begin_ns) * 1e-9

    def document(self) -> Document:
        """The summary's document, after `stop`; without the truth when the demo never began."""
        if self._demo is None:
            return self.summary.document(recording=str(self._journal.path))
        return _document(self.summary, self._demo, self._journal, self.sound)

    def _run_radio(self) -> None:
        assert self._demo is not None
        first_turn()
        try:
            asyncio.run(self._demo.run(self._engine.put))
        except Exception as error:  # noqa: BLE001 - a thread has nobody to raise to: the session is told
            self._engine.put(
                LinkNote("radio", self._clock.now_ns(), LinkState.LOST, f"{type(error).__name__}: {error}")
            )
        self._engine.stop(STOP_S)
        self._on_end()


def _document(summary: Summary, demo: Demo, journal: JournalWriter, sound: SoundSink | None) -> Document:
    if sound is None:
        document = summary.document(recording=str(journal.path))
    else:
        sound.collect()
        document = summary.document(
            played=lambda cue: (cue.sound, cue.t_s) in sound.played,
            heard_s=lambda cue: sound.heard_s(cue.sound, cue.t_s),
            late=sound.late,
            recording=str(journal.path),
        )
    return msgspec.structs.replace(document, truth=demo.truth())
