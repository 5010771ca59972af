"""Everything of a live session, put together around time that is told."""

from __future__ import annotations

import gc
import os
import sys
import threading
import time
from collections import defaultdict
from collections.abc import Callable
from pathlib import Path
from typing import Any

import numpy as np

from imufeedback.app.bay import BayWindow
from imufeedback.app.feed import EventFeed
from imufeedback.app.run import make_application
from imufeedback.app.uncaught import install_hooks
from imufeedback.audio import CuePlayer, rendered
from imufeedback.errors import ImuFeedbackError
from imufeedback.live.practice import Practice
from imufeedback.measure.endurance.audit import Flow, read_back
from imufeedback.measure.endurance.day import LongDay
from imufeedback.measure.endurance.day_clock import DayClock, PulledDevice
from imufeedback.measure.endurance.gauges import python_blocks, settled_mb
from imufeedback.measure.endurance.pace import PacedSession, Spent
from imufeedback.record.journal import JournalWriter
from imufeedback.records import Event, Item
from imufeedback.settings import Settings

FRAME_S = 0.5
"""Between two frames: the window's own calm pace. What a frame itself keeps is measured at 30 a second by the set
`windows`."""
TOGETHER_NS = 1_000_000
"""What arrives within so long is put on the engine's queue at once, as when the radio hands over one interval."""
BEFORE_ALL = 2
"""Items of every session before the day's: its settings, and where the sound goes."""
LOOK_S, STUCK_S = 0.5, 60.0
STRETCH_S = 300.0
"""At most so much from the beginning is judged again from the recording."""
SAMPLES = 40
MOST_SAMPLE_S = 60.0

Hear = Callable[[list[Event]], None]


class _DaySource:
    """The source of the practice: what is handed over from outside, at times that are told."""

    def __init__(self, settings: Settings, clock: DayClock) -> None:
        self.settings, self.clock = settings, clock
        self.ready, self._over = threading.Event(), threading.Event()
        self.put: Callable[[Item], None] = lambda item: None

    def play(self, put: Callable[[Item], None]) -> None:
        self.put = put
        self.ready.set()
        self._over.wait()

    def stop(self) -> None:
        self._over.set()


class Rig:
    """One day. `run` plays it; the document says what was seen."""

    def __init__(self, day: LongDay, folder: Path, *, also: Hear = lambda events: None) -> None:
        """`folder` gets the recording; `also` hears every event in the engine's thread."""
        self.day = day
        self.stretch_s = min(STRETCH_S, 0.4 * day.seconds)
        self.clock = DayClock()
        self.flow = Flow()
        self.faults: list[str] = []
        self.journal = JournalWriter(folder / "long_day.mcap", title="long day")
        self.device = PulledDevice(self.clock)
        self.player = CuePlayer(rendered(), self.clock.now_ns, lambda: self.device)
        self.app = make_application()
        self.feed = EventFeed(day.settings.player.hand, clock=self.clock.seconds)
        self.source = _DaySource(day.settings, self.clock)
        self.practice = Practice(
            self.source,
            self.journal,
            (self.feed.push, also),
            open_sound=lambda clock: self.player,
            make_session=self._session,
        )
        self.window = self._window()
        self.paced: PacedSession | None = None
        self._ready = threading.Event()
        self.columns: dict[str, list[float]] = defaultdict(list)
        self._put = BEFORE_ALL - 1  # the settings are taken when the session is made
        self.sample_s = min(day.seconds / SAMPLES, MOST_SAMPLE_S)

    def _window(self) -> BayWindow:
        window = BayWindow(
            self.feed,
            on_stop=self._stop,
            sound_delay=self.practice.delay_ms,
            rule_set=self.day.settings.rule_set,
            recording=str(self.journal.path),
            roles={one.id: one.role for one in self.day.settings.sensors},
        )
        window._frames.stop()  # the frames come by the day's clock
        window.resize(1280, 720)
        window.show()
        window.acknowledge()
        return window

    def _session(self, *args: Any, **keywords: Any) -> PacedSession:
        """In the engine's thread. It works without a pause here, so it must not have its turn before all others."""
        if sys.platform == "linux":
            os.sched_setscheduler(0, os.SCHED_OTHER, os.sched_param(0))
        assert self.practice.sound is not None
        self.paced = PacedSession(
            *args,
            **keywords,
            clock=self.clock,
            device=self.device,
            player=self.player,
            sound=self.practice.sound,
            stretch_s=self.stretch_s,
        )
        self._ready.set()
        return self.paced

    def _stop(self) -> None:
        self.practice.stop(STUCK_S)
        self.feed.finish()

    # ── the day ──────────────────────────────────────────────────────────────────────────────────────────────────

    def run(self) -> dict[str, Any]:
        """Play the day. Raises ImuFeedbackError when the session ends early."""
        restore = install_hooks(lambda where, what: self.faults.append(f"{where}: {what}"))
        begun_s = time.perf_counter()
        try:
            self.practice.start()
            if not (self._ready.wait(STUCK_S) and self.source.ready.wait(STUCK_S)):
                raise self._ended()
            gc.freeze()  # so that looking for garbage at every sample looks at what the day has made
            self._play()
            self.window.stop_now()
            self.app.processEvents()
        finally:
            self.practice.stop()
            gc.unfreeze()
            restore()
        return self._document(time.perf_counter() - begun_s)

    def _play(self) -> None:
        step_ns = round(self.sample_s * 1e9)
        group_ns, sample_ns, frame_ns = -TOGETHER_NS, step_ns, round(FRAME_S * 1e9)
        for item in self.day.items():
            if item.host_ns >= group_ns + TOGETHER_NS:
                self._wait()
                while frame_ns <= item.host_ns:
                    self._paint(frame_ns)
                    frame_ns += round(FRAME_S * 1e9)
                if sample_ns <= item.host_ns:
                    self._sample(sample_ns * 1e-9)
                    sample_ns += step_ns
                group_ns = item.host_ns
            self.flow.add(item)
            self.source.put(item)
            self._put += 1
        self._wait()
        if sample_ns <= self.day.seconds * 1e9:
            self._sample(sample_ns * 1e-9)

    def _wait(self) -> None:
        """Until the engine has worked off what was put; then let the window hear of it."""
        assert self.paced is not None
        for _ in range(self._put):
            waited_s = 0.0
            while not self.paced.done.acquire(timeout=LOOK_S):
                waited_s += LOOK_S
                if self.practice.error is not None or waited_s > STUCK_S:
                    raise self._ended()
        self._put = 0
        if self.feed.waiting:
            self.app.processEvents()

    def _ended(self) -> ImuFeedbackError:
        return ImuFeedbackError(f"the session ended early ({self.practice.error!r})", where="endurance")

    def _paint(self, at_ns: int) -> None:
        self.clock.set_ns(at_ns)
        self.window.draw_now()
        self.app.processEvents()

    # ── what is seen ─────────────────────────────────────────────────────────────────────────────────────────────

    def _sample(self, t_s: float) -> None:
        assert self.paced is not None
        paced = self.paced
        spent, paced.spent = paced.spent, Spent()
        journal, last_s = self.journal.fill, self.columns["t_s"][-1] if self.columns["t_s"] else 0.0
        values = {
            "t_s": t_s,
            "memory_mb": settled_mb(),
            "blocks": python_blocks(),
            "engine_peak": self.practice.fill.peak,
            "behind": spent.behind,
            "journal": journal.waiting,
            "journal_peak": journal.peak,
            "feed": self.feed.waiting,
            "feed_peak": self.feed.peak,
            "busy": spent.busy_s / max(t_s - last_s, 1e-9),
            "event_ms": _median(spent.waits_ms),
            "worst_ms": max(spent.waits_ms, default=float("nan")),
            "sound_ms": _median(spent.sounds_ms),
            "sounds": len(spent.sounds_ms),
            "file_mb": journal.size_bytes * 1e-6,
            "raw_mb": self.flow.payload_bytes * 1e-6,
            "frames": self.window._clock.frames,
            "events": sum(paced.events.values()),
            "reps_shown": len(self.window.view.book.entries),
        }
        for name, value in values.items():
            self.columns[name].append(float(value))

    def _document(self, took_s: float) -> dict[str, Any]:
        assert self.paced is not None
        paced, journal, totals, sound = self.paced, self.journal.fill, self.player.totals, self.practice.sound
        assert sound is not None
        faults = [*self.faults, *paced.faults, *self._troubles()]
        back = read_back(self.journal.path, self.stretch_s)
        return {
            "seconds": self.day.seconds,
            "took_s": took_s,
            "samples": {name: [_json(one) for one in column] for name, column in self.columns.items()},
            "events": dict(sorted(paced.events.items())),
            "packets": sum(self.flow.packets.values()),
            "payload_bytes": self.flow.payload_bytes,
            "items": self.flow.items + BEFORE_ALL,
            "file_bytes": journal.size_bytes,
            "not_recorded": self.flow.missing_in(back.flow),
            "items_read": back.flow.items,
            "complete": back.complete,
            "stretch_s": self.stretch_s,
            "same_events": back.events == paced.digest.text,
            "feed_dropped": self.feed.dropped,
            "frames": self.window._clock.frames,
            "faults": faults,
            "sound": {
                "played": totals.played,
                "expired": totals.expired,
                "late": sound.late,
            },
        }

    def _troubles(self) -> list[str]:
        """What went wrong without an exception that got out."""
        found = [("engine", self.practice.error), ("journal", self.journal.error), ("stop", self.window.stop_failure)]
        told = [f"{where}: {what}" for where, what in found if what is not None]
        errors, dropped = self.player.totals.errors, self.journal.fill.dropped
        told += [f"sound: {errors} errors"] if errors else []
        return told + ([f"journal: {dropped} items dropped"] if dropped else [])


def _median(values: list[float]) -> float:
    return float(np.median(values)) if values else float("nan")


def _json(value: float) -> float | None:
    return value if value == value else None
