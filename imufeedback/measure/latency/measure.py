"""A live session of the golfer who stalls: radio thread, engine thread, sound, and a recording of what came out."""

from __future__ import annotations

import asyncio
import gc
import time
from collections.abc import Callable, Sequence
from dataclasses import dataclass, field
from typing import Any

import numpy as np
import numpy.typing as npt

from imufeedback import resources
from imufeedback.audio import BUFFER_MS, Sounder, SoundTotals, open_player
from imufeedback.audio.recorder import Recorder
from imufeedback.begin import session_settings
from imufeedback.ble.clock import MonotonicClock
from imufeedback.ble.radio import Radio
from imufeedback.ble.virtual import VirtualRadio, VirtualSensor
from imufeedback.commands import SetFit, recorded
from imufeedback.cues.mixer import Started
from imufeedback.errors import SoundError
from imufeedback.live.practice import Practice
from imufeedback.live.session import Session, Sink
from imufeedback.measure.latency.motion import RadioStream, known_fit, radio_streams, stall_script
from imufeedback.packets import Layout, parse_layout
from imufeedback.record.journal import JournalWriter
from imufeedback.records import Cue, Event, Item, RawPacket
from imufeedback.settings import Settings

LAYOUT = "house"
SCAN_S = 5.0
READY_S = 6.0
"""For the sound device to take samples and the recorder to hear them."""
TAIL_S = 0.8
STOP_S = 5.0


@dataclass(frozen=True, slots=True)
class EngineItem:
    """One item on its way through the engine; host time in ns."""

    packet: RawPacket | None
    begun_ns: int
    done_ns: int
    """Its events have been told to everybody."""


@dataclass
class DelayTrace:
    """When everything happened."""

    layout: Layout
    streams: list[RadioStream]
    settings: Settings
    begin_ns: int = 0
    """Session time 0."""
    origin_ns: int = 0
    """The motion's time 0."""
    steps: list[EngineItem] = field(default_factory=list)
    cues: list[tuple[Cue, int, RawPacket | None]] = field(default_factory=list)
    """Every cue, when it was decided, and the packet that decided it."""
    started: list[Started] = field(default_factory=list)
    recorded: npt.NDArray[np.float32] = field(default_factory=lambda: np.zeros(0, np.float32))
    recorded_ns: npt.NDArray[np.float64] = field(default_factory=lambda: np.zeros(0))
    """Host time of every recorded sample."""
    totals: SoundTotals = field(default_factory=SoundTotals)
    expired: int = 0
    """Cues that had expired when they reached the sound, besides those that the player dropped."""
    level: float = 0.0
    output: str = ""
    input: str = ""


class _TimedSession(Session):
    """Notes when each packet is taken and when everybody has been told."""

    def __init__(self, trace: DelayTrace, clock: Callable[[], int], *args: Any, **kwargs: Any) -> None:
        self._trace, self._host_ns = trace, clock
        self.present: RawPacket | None = None
        super().__init__(*args, **kwargs)

    def feed_many(self, items: Sequence[Item]) -> None:
        begun_ns = self._host_ns()
        packets = [one if isinstance(one, RawPacket) else None for one in items]
        self.present = next((one for one in packets if one is not None), None)  # the longest of their delays
        super().feed_many(items)
        done_ns = self._host_ns()
        self._trace.steps += [EngineItem(one, begun_ns, done_ns) for one in packets]


class _StallingGolfer:
    """A source: the golfer who stalls, on the virtual radio in real time, with a calibration that is known."""

    def __init__(self, seconds: float, seed: int) -> None:
        self.clock = MonotonicClock()
        self._script, self._seed = stall_script(seconds, seed), seed
        self.layout: Layout = parse_layout(resources.text("layouts", LAYOUT), LAYOUT)
        self.streams: list[RadioStream] = radio_streams(self._script, self.layout)
        self.settings = session_settings(((one.serial, one.segment) for one in self.streams), LAYOUT)
        self.origin_ns = 0
        self._stopping = False

    def stop(self) -> None:
        self._stopping = True

    def play(self, put: Callable[[Item], None]) -> None:
        put(recorded(self.clock.now_ns(), SetFit.of(known_fit(self._seed))))
        gc.collect()
        gc.freeze()
        try:
            asyncio.run(self._play(put))
        except _Stopped:
            pass
        finally:
            gc.unfreeze()

    async def _play(self, put: Callable[[Item], None]) -> None:
        sensors = [VirtualSensor(f"virtual {one.segment}", one.serial, iter(one), self.layout) for one in self.streams]
        air = VirtualRadio(sensors, self.clock)
        faults: list[BaseException] = []
        await air.open()
        radio = Radio(self.layout, self.clock, put, backends=air.backends, on_fault=faults.append)
        try:
            await radio.open(await radio.scan(SCAN_S, expect=len(sensors)))
            self.origin_ns = self.clock.now_ns()
            air.begin(self.origin_ns)
            await radio.start()
            until_ns = round((self._script.duration_s + TAIL_S) * 1e9)
            await air.play(until_ns, realtime=True, on_tick=self._look)
        finally:
            await radio.close()
            await air.close()
        if faults:
            raise faults[0]

    def _look(self, _now_ns: int) -> None:
        if self._stopping:
            raise _Stopped


class _Stopped(Exception):
    """The measurement was asked to end."""


class Measurement:
    """One run. `start`, `wait`, `stop`; or `run` for all of it."""

    def __init__(
        self,
        seconds: float,
        seed: int,
        *,
        journal: JournalWriter | None = None,
        sinks: Sequence[Sink] = (),
        record: str | None = None,
        on_end: Callable[[], None] = lambda: None,
    ) -> None:
        """`record` is a part of the name of the input that hears the output; None: the output's own monitor."""
        self._record = record
        golfer = self._golfer = _StallingGolfer(seconds, seed)
        self.trace = DelayTrace(golfer.layout, golfer.streams, golfer.settings)
        self._practice = Practice(
            golfer,
            journal,
            [self._note, *sinks],
            on_end,
            open_sound=self._open_sound,
            make_session=self._make_session,
        )

    def run(self) -> DelayTrace:
        """All of it. Raises SoundError when nothing can be played or recorded."""
        self.start()
        self.wait()
        return self.stop()

    def start(self) -> None:
        """Open sound and recorder, then begin. Raises SoundError without an output or an input that hears it."""
        self._practice.start()
        self.trace.begin_ns = self._practice.begin_ns

    def _open_sound(self, clock: Callable[[], int]) -> Sounder:
        player = self._player = open_player(clock)
        try:
            self._recorder = Recorder(clock, self._record)
            self._wait_for_sound()
        except SoundError:
            player.close()
            raise
        trace = self.trace
        trace.level, trace.output, trace.input = player.level, player.reason, self._recorder.name
        return player

    def _wait_for_sound(self) -> None:
        until = time.monotonic() + READY_S
        while not (self._player.running and self._recorder.blocks > 20):
            if time.monotonic() > until:
                self._recorder.close()
                raise SoundError(
                    f"no sound comes out or none is recorded ({self._player.reason}; recording {self._recorder.name})",
                    where="sound",
                    hint="check the output, and choose the input with --record",
                )
            time.sleep(0.05)

    def _make_session(self, *args: Any, **keywords: Any) -> Session:
        self._session = _TimedSession(self.trace, self._golfer.clock.now_ns, *args, **keywords)
        return self._session

    def _note(self, events: list[Event]) -> None:
        for event in events:
            if isinstance(event, Cue):
                self.trace.cues.append((event, self._golfer.clock.now_ns(), self._session.present))

    def wait(self) -> None:
        """Until the golfer is done."""
        self._practice.wait()

    def stop(self) -> DelayTrace:
        """End in good order; what was measured. Raises what went wrong in the radio's thread or the engine's."""
        practice, trace = self._practice, self.trace
        practice.stop(STOP_S)
        self._recorder.close()
        trace.origin_ns = self._golfer.origin_ns
        assert practice.sound is not None
        practice.sound.collect()
        trace.started = practice.sound.started
        trace.totals, trace.expired = self._player.totals, practice.sound.late
        trace.recorded, trace.recorded_ns = self._recorder.recorded()
        if practice.error is not None:
            raise practice.error
        return trace


def floor_ms(trace: DelayTrace, interval_s: float) -> dict[str, float]:
    """What no program can avoid: one packet's samples, one connection interval, one buffer of the sound device."""
    packet_ms = 1e3 * trace.layout.samples_per_packet / trace.layout.rate_hz
    parts = {"packet": packet_ms, "interval": 1e3 * interval_s, "buffer": float(BUFFER_MS)}
    return parts | {"sum": sum(parts.values())}
