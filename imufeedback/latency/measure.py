"""A live session of the golfer who stalls: radio thread, engine thread, sound, and a recording of what came out."""

from __future__ import annotations

import asyncio
import gc
import threading
import time
from collections.abc import Callable, Sequence
from dataclasses import dataclass, field
from typing import Any

import numpy as np
import numpy.typing as npt

from imufeedback import resources
from imufeedback.audio import BUFFER_MS, SoundTotals, open_player
from imufeedback.audio.recorder import Recorder
from imufeedback.audio.turns import first_turn, quick_turns
from imufeedback.ble.clock import MonotonicClock
from imufeedback.ble.radio import Radio
from imufeedback.ble.virtual import VirtualRadio, VirtualSensor
from imufeedback.commands import SetFit, recorded
from imufeedback.cues.mixer import Started
from imufeedback.errors import SoundError
from imufeedback.latency.motion import RadioStream, known_fit, radio_streams, stall_script
from imufeedback.packets import Layout, parse_layout
from imufeedback.record.journal import JournalWriter
from imufeedback.records import Cue, Event, Item, RawPacket
from imufeedback.session import Engine, Session, Sink, SoundSink
from imufeedback.settings import Sensor, Settings

LAYOUT = "house"
SCAN_S = 5.0
READY_S = 6.0
"""For the sound device to take samples and the recorder to hear them."""
TAIL_S = 0.8
STOP_S = 5.0


@dataclass(frozen=True, slots=True)
class Step:
    """One item on its way through the engine; host time in ns."""

    packet: RawPacket | None
    begun_ns: int
    done_ns: int
    """Its events have been told to everybody."""


@dataclass
class Trace:
    """When everything happened."""

    layout: Layout
    streams: list[RadioStream]
    settings: Settings
    begin_ns: int = 0
    """Session time 0."""
    origin_ns: int = 0
    """The motion's time 0."""
    steps: list[Step] = field(default_factory=list)
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

    def __init__(self, trace: Trace, clock: Callable[[], int], *args: Any, **kwargs: Any) -> None:
        self._trace, self._host_ns = trace, clock
        self.present: RawPacket | None = None
        super().__init__(*args, **kwargs)

    def feed(self, item: Item) -> None:
        begun_ns = self._host_ns()
        self.present = item if isinstance(item, RawPacket) else None
        super().feed(item)
        self._trace.steps.append(Step(self.present, begun_ns, self._host_ns()))


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
        text = resources.text("layouts", LAYOUT)
        layout = parse_layout(text, LAYOUT)
        self._script = stall_script(seconds, seed)
        self._seed, self._journal, self._sinks = seed, journal, tuple(sinks)
        self._record, self._on_end = record, on_end
        self._clock = MonotonicClock()
        streams = radio_streams(self._script, layout)
        settings = Settings(
            sensors=tuple(Sensor(one.serial, one.segment, LAYOUT) for one in streams),
            layouts={LAYOUT: text},
            rule_set=resources.text("rules", "swing"),
            grid_hz=layout.rate_hz,
        )
        self.trace = Trace(layout, streams, settings)
        self._failed: BaseException | None = None
        self._stopping = False
        self._thread = threading.Thread(target=self._run, name="ble", daemon=True)

    def run(self) -> Trace:
        """All of it. Raises SoundError when nothing can be played or recorded."""
        self.start()
        self.wait()
        return self.stop()

    def start(self) -> None:
        """Open sound and recorder, then begin. Raises SoundError without an output or an input that hears it."""
        quick_turns()
        now = self._clock.now_ns
        self._player = open_player(now)
        try:
            self._recorder = Recorder(now, self._record)
            self._wait_for_sound()
        except SoundError:
            self._player.close()
            raise
        trace = self.trace
        trace.level, trace.output, trace.input = self._player.level, self._player.reason, self._recorder.name
        trace.begin_ns = now()
        self.sound = SoundSink(self._player, begin_ns=trace.begin_ns, clock=now)
        self._engine = Engine(self._make_session)
        self._engine.start()
        self._engine.put(recorded(now(), SetFit.of(known_fit(self._seed))))
        gc.collect()
        gc.freeze()
        self._thread.start()

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

    def _make_session(self) -> Session:
        sinks: tuple[Sink, ...] = (self.sound, self._note, *self._sinks)
        trace = self.trace
        self._session = _TimedSession(
            trace, self._clock.now_ns, trace.settings, begin_ns=trace.begin_ns, journal=self._journal, sinks=sinks
        )
        return self._session

    def _note(self, events: list[Event]) -> None:
        for event in events:
            if isinstance(event, Cue):
                self.trace.cues.append((event, self._clock.now_ns(), self._session.present))

    def wait(self) -> None:
        """Until the golfer is done."""
        self._thread.join()

    def stop(self) -> Trace:
        """End in good order; what was measured. Raises what went wrong in the radio's thread or the engine's."""
        self._stopping = True
        self._thread.join(STOP_S)
        self._engine.stop(STOP_S)
        trace = self.trace
        self.sound.collect()
        trace.started = self.sound.started
        trace.totals, trace.expired = self._player.totals, self.sound.late
        self._recorder.close()
        self._player.close()
        gc.unfreeze()
        trace.recorded, trace.recorded_ns = self._recorder.recorded()
        for error in (self._failed, self._engine.error):
            if error is not None:
                raise error
        return trace

    # ── the radio's thread ───────────────────────────────────────────────────────────────────────────────────────

    def _run(self) -> None:
        try:
            first_turn()
            asyncio.run(self._play())
        except _Stopped:
            pass
        except Exception as error:  # noqa: BLE001 - a thread has nobody to raise to: `stop` raises it
            self._failed = error
        self._on_end()

    async def _play(self) -> None:
        trace, layout = self.trace, self.trace.layout
        sensors = [VirtualSensor(f"virtual {one.segment}", one.serial, iter(one), layout) for one in trace.streams]
        air = VirtualRadio(sensors, self._clock)
        faults: list[BaseException] = []
        await air.open()
        radio = Radio(layout, self._clock, self._engine.put, backends=air.backends, on_fault=faults.append)
        try:
            await radio.open(await radio.scan(SCAN_S, expect=len(sensors)))
            trace.origin_ns = self._clock.now_ns()
            air.begin(trace.origin_ns)
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


def floor_ms(trace: Trace, interval_s: float) -> dict[str, float]:
    """What no program can avoid: one packet's samples, one connection interval, one buffer of the sound device."""
    packet_ms = 1e3 * trace.layout.samples_per_packet / trace.layout.rate_hz
    parts = {"packet": packet_ms, "interval": 1e3 * interval_s, "buffer": float(BUFFER_MS)}
    return parts | {"sum": sum(parts.values())}
