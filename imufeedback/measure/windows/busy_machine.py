"""A session at the pace of life with a bay window, while other programs keep a core busy."""

from __future__ import annotations

import subprocess
import sys
import threading
import time
from collections.abc import Callable
from typing import NoReturn

from imufeedback.app.bay import BayWindow
from imufeedback.app.feed import EventFeed
from imufeedback.app.run import make_application
from imufeedback.audio import CuePlayer
from imufeedback.commands import Begin, recorded
from imufeedback.errors import SoundError
from imufeedback.live.golfer import DemoPlan, VirtualGolfer
from imufeedback.live.playback import Playback
from imufeedback.live.practice import Practice
from imufeedback.measure.windows.frames import put_away
from imufeedback.pipeline import run
from imufeedback.records import Cue, Event, Hand, Item, RawPacket, Rep, SensorTotals
from imufeedback.synth.flaws import Flaw

BEFORE_S, AFTER_S = 1.5, 5.0
"""Of the top of the swing: what is played at the pace of life."""
STOP_S = 10.0
LOOK_S = 0.0005


def starved(busy: float) -> dict[str, float]:
    """`busy` processes spin beside a stalled swing: what reached the engine, which cues came in time."""
    golfer = VirtualGolfer(DemoPlan(Hand.RIGHT, flaw=Flaw.STALL, reps=1, realtime=False, sensors="ideal"))
    begin_ns = golfer.clock.now_ns()
    items: list[Item] = [recorded(begin_ns, Begin.of(golfer.settings))]
    golfer.play(items.append)
    top_ns = begin_ns + int((golfer.script.truth.reps[0].top_s + golfer.truth_offset_s(begin_ns)) * 1e9)
    expected = list(run(items))
    spinning = [subprocess.Popen([sys.executable, "-c", "while True: pass"]) for _ in range(int(busy))]
    try:
        return _play(items, top_ns, expected)
    finally:
        for process in spinning:
            process.kill()
            process.wait()


def _no_sound(clock: Callable[[], int]) -> CuePlayer:
    """Notes which cues would be in time, without a sound device."""

    def no_device() -> NoReturn:
        raise SoundError("no sound device is used", where="sound", hint="")

    return CuePlayer({}, clock, no_device, wait=True)


def _play(items: list[Item], top_ns: int, expected: list[Event]) -> dict[str, float]:
    app = make_application()
    feed = EventFeed(Hand.RIGHT)
    window = BayWindow(feed, on_stop=lambda: None)
    window.resize(1280, 720)
    window.show()
    window.acknowledge()
    begin_ns, live_ns, end_ns = items[0].host_ns, top_ns - int(BEFORE_S * 1e9), top_ns + int(AFTER_S * 1e9)
    given = [item for item in items if item.host_ns < end_ns]
    told: list[Event] = []
    go, over = threading.Event(), threading.Event()
    playback = Playback(given, hurry_ns=live_ns, go=go)
    practice = Practice(playback, None, [told.extend, feed.push], over.set, open_sound=_no_sound)
    practice.start()
    while not (playback.hurried.is_set() and not practice.fill.waiting):
        app.processEvents()
        time.sleep(0.005)
    drawn = window.frame_stats.count
    go.set()
    while not over.is_set():
        app.processEvents()
        time.sleep(LOOK_S)
    practice.stop(STOP_S)
    frames = window.frame_stats.count - drawn
    put_away(window)
    assert practice.sound is not None
    packets = sum(isinstance(item, RawPacket) for item in given)
    totals = [event for event in told if isinstance(event, SensorTotals)]
    samples, lost = sum(one.samples for one in totals), sum(one.lost + one.rejected for one in totals)
    until_s = (end_ns - begin_ns) * 1e-9
    cues = [
        event for event in expected if isinstance(event, Cue) and (live_ns - begin_ns) * 1e-9 < event.t_s < until_s - 1
    ]
    in_time = [cue for cue in cues if (cue.sound, cue.t_s) in practice.sound.played]
    return {
        "packets": float(packets),
        "packets_missing": float(lost) + abs(packets * 4 - samples) / 4,
        "cues": float(len(cues)),
        "cues_missing": float(len(cues) - len(in_time)),
        "cues_late": float(practice.sound.late),
        "reps": float(sum(isinstance(event, Rep) for event in told)),
        "frames_per_s": frames / (BEFORE_S + AFTER_S),
        "queue_peak": float(practice.fill.peak),
    }
