"""How much of a core three live sensors take: a process of its own, measured from inside.

``python -m imufeedback.measure.live_load SECONDS SEED`` prints a share of one core. Packets are made before the
measurement; then a practice plays them back at their real pace: one thread hands them over, as the radio's does, the
engine's feeds pipeline and recording. What the system's Bluetooth and bleak's call into Python take beside it is not
in the figure. `app/load.py` measures the same session with the bay window.
"""

from __future__ import annotations

import sys
import tempfile
import threading
import time
from collections.abc import Callable
from datetime import datetime
from pathlib import Path

from imufeedback.begin import session_settings
from imufeedback.commands import Begin, recorded
from imufeedback.errors import ImuFeedbackError
from imufeedback.live.playback import Playback
from imufeedback.live.practice import Practice
from imufeedback.measure import process
from imufeedback.measure.golfer import fit_command
from imufeedback.packets import parse_layout
from imufeedback.record.journal import JournalWriter
from imufeedback.records import Event, Fitted, Hand, Item
from imufeedback.report.summary import Summary
from imufeedback.settings import Player
from imufeedback.synth.script import make_script
from imufeedback.synth.sensors import WORN
from imufeedback.synth.stream import raw_packets, sensor_streams, serial_of

LAYOUT = "house"
FIT_LIMIT_S = 120.0
"""The calibration movements are worked off in haste; a machine that needs longer than that cannot follow anyway."""
LOOK_S = 0.005


class Load:
    """A session whose host times begin at 0: up to the calibration in haste; then, once `go` is set, so many live
    seconds at the pace of life of a golfer who is fitted and swings slowly. There are about 65 s of it."""

    def __init__(self, seconds: float, seed: int) -> None:
        script = make_script(reps=5, seed=seed)
        worn = [(serial_of(segment), segment) for segment in WORN]
        self.settings = session_settings(worn, LAYOUT, player=Player(hand=script.hand))
        streams = sensor_streams(script, parse_layout(self.settings.layouts[LAYOUT], LAYOUT))
        ready_ns = round(script.ready_s * 1e9) + 1_000_000_000
        end_ns = ready_ns + seconds * 1e9
        packets = [packet for packet in raw_packets(streams) if packet.host_ns < end_ns]
        self.packets = len(packets)
        early: list[Item] = [packet for packet in packets if packet.host_ns < ready_ns]
        live = [packet for packet in packets if packet.host_ns >= ready_ns]
        begin = recorded(0, Begin.of(self.settings))
        self.go = threading.Event()
        self.source = Playback([begin, *early, fit_command(script), *live], hurry_ns=ready_ns, go=self.go)
        self._fitted = threading.Event()

    @property
    def hand(self) -> Hand:
        return self.settings.player.hand

    def hear(self, events: list[Event]) -> None:
        """A sink of the practice."""
        if any(isinstance(event, Fitted) for event in events):
            self._fitted.set()

    def wait_for_fit(self, practice: Practice, meanwhile: Callable[[], None] = lambda: None) -> None:
        """Until the calibration is found. Raises ImuFeedbackError when the session ends before, or takes too long."""
        until_s = time.monotonic() + FIT_LIMIT_S
        while not self._fitted.wait(LOOK_S):
            if practice.error is not None or time.monotonic() > until_s:
                raise ImuFeedbackError(f"no calibration came ({practice.error or 'too slow'})", where="load")
            meanwhile()


def measure(seconds: float, seed: int) -> float:
    """Share of one core. Raises ImuFeedbackError when the process fails."""
    own = ("-m", __name__, seconds, seed)
    return float(process.child(*own, failed="the session failed", where="live load", limit_s=seconds + 120))


def main(seconds: float, seed: int) -> float:
    """Run for so many seconds of a session that is fitted already, and swings; the share of one core."""
    load = Load(seconds, seed)
    with tempfile.TemporaryDirectory() as folder:
        journal = JournalWriter(Path(folder) / "load.mcap", title="load", started=datetime.now().astimezone())
        practice = Practice(load.source, journal, [Summary(load.hand), load.hear], open_sound=None)
        practice.start()
        try:
            load.wait_for_fit(practice)
            wall, busy = time.perf_counter(), time.process_time()
            load.go.set()
            practice.wait()
            share = (time.process_time() - busy) / (time.perf_counter() - wall)
        finally:
            practice.stop()
    return share


if __name__ == "__main__":
    sys.stdout.write(f"{main(float(sys.argv[1]), int(sys.argv[2]))}\n")
