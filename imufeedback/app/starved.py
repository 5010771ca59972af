"""A session at the pace of life with a bay window, while other programs keep a core busy."""

from __future__ import annotations

import subprocess
import sys
import time
from collections.abc import Callable

from imufeedback.app.bay import BayWindow
from imufeedback.app.feed import EventFeed
from imufeedback.app.run import make_application
from imufeedback.ble.clock import ManualClock
from imufeedback.demo import Demo, DemoPlan, run_inline
from imufeedback.records import Cue, Event, Hand, Item, RawPacket, Rep, SensorTotals
from imufeedback.session import Engine, Session
from imufeedback.synth.swing import Flaw

BEFORE_S, AFTER_S = 1.5, 5.0
"""Of the top of the swing: what is played at the pace of life."""


class _Ears:
    """What `session.SoundSink` does, without a sound device: a cue that comes after its time is dropped."""

    def __init__(self, begin_ns: int, clock: Callable[[], int]) -> None:
        self._begin_ns = begin_ns
        self._clock = clock
        self.played: set[tuple[str, float]] = set()
        self.late = 0

    def __call__(self, events: list[Event]) -> None:
        for event in events:
            if isinstance(event, Cue):
                if self._clock() > self._begin_ns + int(event.expires_s * 1e9):
                    self.late += 1
                else:
                    self.played.add((event.sound, event.t_s))


def starved(busy: float) -> dict[str, float]:
    """`busy` processes spin beside a stalled swing: what reached the engine, which cues came in time."""
    demo = Demo(DemoPlan(Hand.RIGHT, flaw=Flaw.STALL, reps=1, realtime=False), ManualClock())
    items: list[Item] = []
    run_inline(demo, items.append)
    top_ns = demo.begin_ns + int((demo.script.truth.reps[0].top_s + demo.truth_offset_s) * 1e9)
    expected = _heard(demo, items)
    spinning = [subprocess.Popen([sys.executable, "-c", "while True: pass"]) for _ in range(int(busy))]
    try:
        return _play(demo, items, top_ns, expected)
    finally:
        for one in spinning:
            one.kill()
            one.wait()


def _heard(demo: Demo, items: list[Item]) -> list[Event]:
    """All events without any haste."""
    out: list[Event] = []
    session = Session(demo.settings, begin_ns=demo.begin_ns, sinks=[out.extend])
    for item in items:
        session.feed(item)
    session.finish()
    return out


def _play(demo: Demo, items: list[Item], top_ns: int, expected: list[Event]) -> dict[str, float]:
    app = make_application()
    feed = EventFeed(Hand.RIGHT)
    window = BayWindow(feed, on_stop=lambda: None)
    window.resize(1280, 720)
    window.show()
    window.acknowledge()
    live_ns, end_ns = top_ns - int(BEFORE_S * 1e9), top_ns + int(AFTER_S * 1e9)
    origin: list[int] = []

    def clock() -> int:
        return live_ns + time.monotonic_ns() - origin[0] if origin else 0

    sound = _Ears(demo.begin_ns, clock)
    told: list[Event] = []
    engine = Engine(
        lambda: Session(demo.settings, begin_ns=demo.begin_ns, sinks=[sound, lambda e: told.extend(e), feed.push])
    )
    engine.start()
    early = [item for item in items if item.host_ns < live_ns]
    for item in early:
        engine.put(item)
    while engine.fill.waiting:
        app.processEvents()
        time.sleep(0.005)
    origin.append(time.monotonic_ns())
    played = [item for item in items if live_ns <= item.host_ns < end_ns]
    drawn = window.frame_stats.count
    for item in played:
        while clock() < item.host_ns:
            app.processEvents()
            time.sleep(0.0005)
        engine.put(item)
    engine.stop()
    given = sum(isinstance(item, RawPacket) for item in early + played)
    samples = sum(one.samples for one in told if isinstance(one, SensorTotals))
    lost = sum(one.lost + one.rejected for one in told if isinstance(one, SensorTotals))
    until_s = (end_ns - demo.begin_ns) * 1e-9
    cues = [
        one for one in expected if isinstance(one, Cue) and (live_ns - demo.begin_ns) * 1e-9 < one.t_s < until_s - 1
    ]
    in_time = [one for one in cues if (one.sound, one.t_s) in sound.played]
    return {
        "packets": float(given),
        "packets_missing": float(lost) + abs(given * 4 - samples) / 4,
        "cues": float(len(cues)),
        "cues_missing": float(len(cues) - len(in_time)),
        "cues_late": float(sound.late),
        "reps": float(sum(isinstance(one, Rep) for one in told)),
        "frames_per_s": (window.frame_stats.count - drawn) / (BEFORE_S + AFTER_S),
        "queue_peak": float(engine.fill.peak),
    }
