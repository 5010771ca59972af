"""How much of a core three live sensors take: a process of its own, measured from inside.

``python -m imufeedback.validate.live_load SECONDS SEED`` prints a share of one core. Packets are made before the
measurement; then one thread hands them over at their real pace, as the radio's does, and the main thread feeds the
pipeline and the recording. What the system's Bluetooth and bleak's call into Python take beside it is not in the
figure. `app/load.py` measures the same session with the bay window.
"""

from __future__ import annotations

import subprocess
import sys
import tempfile
import threading
import time
from collections.abc import Callable, Sequence
from dataclasses import dataclass
from datetime import datetime
from pathlib import Path
from queue import SimpleQueue

from imufeedback import resources
from imufeedback.commands import Begin, recorded
from imufeedback.errors import ImuFeedbackError
from imufeedback.packets import parse_layout
from imufeedback.pipeline import Pipeline
from imufeedback.record.journal import JournalWriter
from imufeedback.records import Hand, Item, RawPacket
from imufeedback.report.summary import Summary
from imufeedback.settings import Player, Sensor, Settings
from imufeedback.synth.script import make_script
from imufeedback.synth.sensors import WORN
from imufeedback.synth.stream import raw_packets, sensor_streams, serial_of
from imufeedback.validate.golfer import fit_command

LAYOUT = "house"


@dataclass(frozen=True, slots=True)
class Load:
    """A session whose host times begin at 0."""

    settings: Settings
    early: tuple[Item, ...]
    """Up to the fitting, which is the last; to be fed in haste."""
    live: tuple[RawPacket, ...]
    """To be fed at the pace of life."""

    @property
    def hand(self) -> Hand:
        return self.settings.player.hand


def prepared(seconds: float, seed: int) -> Load:
    """So many live seconds of a golfer who is fitted and swings slowly; there are about 65 s of it."""
    script = make_script(reps=5, seed=seed)
    text = resources.text("layouts", LAYOUT)
    settings = Settings(
        sensors=tuple(Sensor(serial_of(one), one, LAYOUT) for one in WORN),
        layouts={LAYOUT: text},
        rule_set=resources.text("rules", "swing"),
        player=Player(hand=script.hand),
    )
    packets = list(raw_packets(sensor_streams(script, parse_layout(text, LAYOUT))))
    ready_ns = round(script.ready_s * 1e9) + 1_000_000_000
    early: list[Item] = [one for one in packets if one.host_ns < ready_ns]
    live = tuple(one for one in packets if ready_ns <= one.host_ns < ready_ns + seconds * 1e9)
    return Load(settings, (*early, fit_command(script)), live)


def pace(packets: Sequence[RawPacket], put: Callable[[RawPacket], None]) -> None:
    """Hand the packets over at the distances that they came in."""
    begin_s, first_ns = time.perf_counter(), packets[0].host_ns
    for packet in packets:
        time.sleep(max(0.0, begin_s + (packet.host_ns - first_ns) * 1e-9 - time.perf_counter()))
        put(packet)


def measure(seconds: float, seed: int) -> float:
    """Share of one core. Raises ImuFeedbackError when the process fails."""
    command = [sys.executable, "-m", __name__, str(seconds), str(seed)]
    done = subprocess.run(command, capture_output=True, text=True, timeout=seconds + 120, check=False)
    if done.returncode:
        last = done.stderr.strip().splitlines()[-1:] or ["no word"]
        raise ImuFeedbackError(f"ended with status {done.returncode}: {last[0]}", where="live load")
    return float(done.stdout)


def main(seconds: float, seed: int) -> float:
    """Run for so many seconds of a session that is fitted already, and swings; the share of one core."""
    load = prepared(seconds, seed)
    pipeline, summary = Pipeline(), Summary(load.hand)
    pipeline.feed(recorded(0, Begin.of(load.settings)))
    for early in load.early:
        pipeline.feed(early)
    queue: SimpleQueue[Item | None] = SimpleQueue()
    radio = threading.Thread(target=_radio, args=(load.live, queue), name="ble")
    with tempfile.TemporaryDirectory() as folder:
        journal = JournalWriter(Path(folder) / "load.mcap", title="load", started=datetime.now().astimezone())
        wall, busy = time.perf_counter(), time.process_time()
        radio.start()
        while (item := queue.get()) is not None:
            journal.write(item)
            summary(pipeline.feed(item))
        share = (time.process_time() - busy) / (time.perf_counter() - wall)
        journal.close()
    return share


def _radio(packets: Sequence[RawPacket], queue: SimpleQueue[Item | None]) -> None:
    pace(packets, queue.put)
    queue.put(None)


if __name__ == "__main__":
    sys.stdout.write(f"{main(float(sys.argv[1]), int(sys.argv[2]))}\n")
