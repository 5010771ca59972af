"""What there is to know about a sensor while it streams: for `sensors watch` and `sensors check`."""

from __future__ import annotations

from collections import deque
from dataclasses import dataclass, field

import numpy as np

from imufeedback.conduct.sensor_clock import clock_of
from imufeedback.packets import Decoder, Layout
from imufeedback.records import (
    ClockFitted,
    ClockRestarted,
    DeviceBlock,
    Floats,
    ImuBlock,
    LinkNote,
    LinkState,
    RawPacket,
    Tick,
)

KEEP_S = 60.0


@dataclass(frozen=True, slots=True)
class MonitorRow:
    """One sensor as it is now; None where nothing is known yet."""

    sensor: str
    link: LinkState
    detail: str
    rate_hz: float | None
    nominal_hz: float
    samples: int
    loss_percent: float
    rejected: int
    saturated_percent: float
    battery_percent: float | None
    battery_age_s: float | None
    temperature_c: float | None
    signal_dbm: int | None
    skew_ppm: float | None
    spread_ms: float | None
    restarts: int


@dataclass
class SensorMonitor:
    """Feed it one sensor's packets and notes; ask it for its row, or for its last samples."""

    sensor: str
    layout: Layout
    origin_ns: int
    signal_dbm: int | None = None
    keep_s: float = KEEP_S
    """Samples are kept for so long."""
    _link: LinkState = LinkState.SEARCHING
    _detail: str = ""
    _battery: float | None = None
    _battery_ns: int = 0
    _temperature: float | None = None
    _fitted: ClockFitted | None = None
    _restarts: int = 0
    _blocks: deque[ImuBlock] = field(default_factory=deque)

    def __post_init__(self) -> None:
        self._decoder = Decoder(self.sensor, self.layout, self.origin_ns)
        self._clock = clock_of(self.sensor, self.layout, self.origin_ns, delay_s=self.layout.delay_s)

    def feed(self, item: RawPacket | LinkNote | Tick) -> None:
        if isinstance(item, LinkNote):
            self._hear(item)
            return
        for block in self._decoder.feed(item):
            if isinstance(block, DeviceBlock):
                self._time(block)

    def _hear(self, note: LinkNote) -> None:
        self._link, self._detail = note.state, note.detail
        percent, temperature_c = note.facts.get("battery_percent"), note.facts.get("temperature_c")
        if isinstance(percent, int | float):
            self._battery, self._battery_ns = float(percent), note.host_ns
        if isinstance(temperature_c, int | float):
            self._temperature = float(temperature_c)

    def _time(self, block: DeviceBlock) -> None:
        for out in self._clock.feed(block):
            if isinstance(out, ImuBlock):
                self._blocks.append(out)
                while out.t_s[-1] - self._blocks[0].t_s[0] > self.keep_s:
                    self._blocks.popleft()
            elif isinstance(out, ClockFitted):
                self._fitted = out
            elif isinstance(out, ClockRestarted):
                self._restarts += 1
                self._blocks.clear()

    def row(self, now_ns: int) -> MonitorRow:
        counts = self._decoder.counts
        expected = counts.samples + counts.lost
        fitted = self._fitted
        return MonitorRow(
            sensor=self.sensor,
            link=self._link,
            detail=self._detail,
            rate_hz=self._clock.rate_hz if counts.samples else None,
            nominal_hz=self.layout.rate_hz,
            samples=counts.samples,
            loss_percent=100 * counts.lost / expected if expected else 0.0,
            rejected=counts.rejected,
            saturated_percent=100 * counts.saturated / counts.samples if counts.samples else 0.0,
            battery_percent=self._battery,
            battery_age_s=None if self._battery is None else (now_ns - self._battery_ns) * 1e-9,
            temperature_c=self._temperature,
            signal_dbm=self.signal_dbm,
            skew_ppm=None if fitted is None else fitted.skew_ppm,
            spread_ms=None if fitted is None else fitted.spread_s * 1e3,
            restarts=self._restarts,
        )

    def samples(self) -> tuple[Floats, Floats, Floats]:
        """(N,) t_s, (N, 3) gyr_rad_s and (N, 3) acc_m_s2 of the last minute, at most."""
        if not self._blocks:
            return np.empty(0), np.empty((0, 3)), np.empty((0, 3))
        blocks = list(self._blocks)
        return (
            np.concatenate([one.t_s for one in blocks]),
            np.concatenate([one.gyr_rad_s for one in blocks]),
            np.concatenate([one.acc_m_s2 for one in blocks]),
        )
