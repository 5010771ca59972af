"""Sensors' clocks on bad days: backlogs, losses, restarts, a computer that slept, layouts that are wrong.

Every disturbed stream is compared with the same stream undisturbed, sample by sample: what the radio's own delays do to
the fitted clock is in both.
"""

from __future__ import annotations

from collections.abc import Callable, Iterable, Sequence
from dataclasses import dataclass, replace
from functools import partial

import msgspec
import numpy as np

from imufeedback import resources
from imufeedback.begin import session_settings
from imufeedback.commands import Begin, recorded
from imufeedback.conduct.sensor_clock import clock_of
from imufeedback.packets import Decoder, Layout, encode, parse_layout
from imufeedback.pipeline import Pipeline
from imufeedback.records import ClockRestarted, DeviceBlock, Floats, ImuBlock, Ints, Notice, RawPacket
from imufeedback.synth.sensors import WORN

LAYOUTS = ("house", "example_big_endian", "example_floats", "example_modulus")
"""A clock in µs with long numbers, one in ms with short ones, a count of samples without numbers, and moduli that are
no powers of two."""
BEGIN_S = 40.0
"""Before it the clocks have settled."""
AFTER_S = 20.0
LEAST_DELAY_S, MEAN_DELAY_S = 0.004, 0.005
"""Of the radio: the least, and the mean of what comes on top (exponential). Chosen."""
CRYSTAL_PPM, PART = 40.0, 0.01
"""How far a crystal and a part's own oscillator are off, at most."""
Disturb = Callable[[list[RawPacket]], list[tuple[int, RawPacket]]]


@dataclass(frozen=True, slots=True)
class ClockOutcome:
    """What came of a stream."""

    begin_s: Floats
    """(N,) session time of the first sample of each packet by its place in the undisturbed stream; NaN: it never
    came."""
    restarts: int
    notices: tuple[str, ...]


def stream(layout: Layout, rng: np.random.Generator, seconds: float, sensor: str = "a") -> list[RawPacket]:
    """A resting sensor's packets; every one has an arrival of its own, to the nanosecond."""
    size = layout.samples_per_packet
    counts_samples = layout.nominal_step_ticks < 2
    hz = layout.rate_hz * (1 + (rng.uniform(-PART, PART) if counts_samples else 0.0))
    skew = 0.0 if counts_samples else rng.uniform(-CRYSTAL_PPM, CRYSTAL_PPM) * 1e-6
    first, number = int(rng.integers(0, layout.counter_modulus // 2)), int(rng.integers(0, layout.sequence_numbers))
    count = int(seconds * hz) // size
    arrivals = (np.arange(count) * size + size - 1) / hz + LEAST_DELAY_S + rng.exponential(MEAN_DELAY_S, count)
    host_ns = np.rint(np.maximum.accumulate(arrivals) * 1e9).astype(np.int64) + np.arange(count)
    scale = layout.nominal_step_ticks * (1 + skew) * layout.rate_hz / hz
    scale = 1.0 if counts_samples else scale
    out = []
    for k in range(count):
        ticks = first + np.rint((k * size + np.arange(size)) * scale).astype(np.int64)
        out.append(RawPacket(sensor, int(host_ns[k]), _packet(layout, number + k, ticks, rng)))
    return out


def _packet(layout: Layout, number: int, ticks: Ints, rng: np.random.Generator) -> bytes:
    gyr, acc = rng.normal(0.0, 0.01, (len(ticks), 3)), rng.normal((0.0, 0.0, 9.81), 0.05, (len(ticks), 3))
    return encode(layout, number, int(ticks[0]), gyr, acc, ticks)


def timed(layout: Layout, packets: Sequence[RawPacket], places: dict[int, int], count: int) -> ClockOutcome:
    """The packets through decoder and clock. `places`: place in the undisturbed stream by arrival."""
    decoder = Decoder("a", layout, 0)
    clock = clock_of("a", layout, 0)
    begin_s, restarts, notices = np.full(count, np.nan), 0, []
    for packet in packets:
        for block in decoder.feed(packet):
            if isinstance(block, Notice):
                notices.append(block.text)
            elif isinstance(block, DeviceBlock):
                for out in clock.feed(block):
                    if isinstance(out, ImuBlock):
                        begin_s[places[block.host_ns]] = out.t_s[0]
                    restarts += isinstance(out, ClockRestarted)
    return ClockOutcome(begin_s, restarts, tuple(notices))


def compared(
    layout: Layout, packets: list[RawPacket], disturbed: list[tuple[int, RawPacket]], shift_s: float = 0.0
) -> tuple[Floats, ClockOutcome]:
    """Error (s) of each packet's time against the undisturbed stream's, and what was found. `disturbed`: packets with
    their places; `shift_s`: how much later they are, truly."""
    plain = timed(layout, packets, {one.host_ns: k for k, one in enumerate(packets)}, len(packets))
    places = {one.host_ns: k for k, one in disturbed}
    found = timed(layout, [one for _, one in disturbed], places, len(packets))
    return found.begin_s - plain.begin_s - shift_s, found


def backlog(packets: Iterable[RawPacket], seconds: float, lost: range = range(0)) -> list[tuple[int, RawPacket]]:
    """What was sent in so many seconds comes at their end, all at once, but for some packets of it."""
    begin_ns, end_ns = round(BEGIN_S * 1e9), round((BEGIN_S + seconds) * 1e9)
    out, held = [], 0
    for k, one in enumerate(packets):
        inside = begin_ns <= one.host_ns < end_ns
        held += inside
        if not (inside and held in lost):
            out.append((k, replace(one, host_ns=end_ns + held) if inside else one))
    return out


def after_backlog_s(layout: Layout, rng: np.random.Generator, seconds: float, *, lossy: bool) -> tuple[float, int]:
    """Largest error of sensor times in and after a backlog, and restarts that were seen."""
    packets = stream(layout, rng, BEGIN_S + seconds + AFTER_S)
    error, found = compared(layout, packets, backlog(packets, seconds, range(20, 26) if lossy else range(0)))
    return float(np.nanmax(np.abs(error))), found.restarts


def slept(packets: Iterable[RawPacket], seconds: float, counted_s: float) -> list[tuple[int, RawPacket]]:
    """The computer sleeps: what is sent meanwhile is lost, and its clock counts only a part of the time."""
    begin_ns, end_ns = round(BEGIN_S * 1e9), round((BEGIN_S + seconds) * 1e9)
    back_ns = round((seconds - counted_s) * 1e9)
    return [
        (k, one if one.host_ns < begin_ns else replace(one, host_ns=one.host_ns - back_ns))
        for k, one in enumerate(packets)
        if not begin_ns <= one.host_ns < end_ns
    ]


def after_sleep_s(layout: Layout, rng: np.random.Generator, seconds: float, counted_s: float) -> tuple[float, float]:
    """Largest error of sensor times at once after a sleep, and from a second after it."""
    packets = stream(layout, rng, BEGIN_S + seconds + AFTER_S)
    error, _ = compared(layout, packets, slept(packets, seconds, counted_s), counted_s - seconds)
    return _at_once_and_later(error, packets, BEGIN_S + seconds)


def restarted(
    layout: Layout, rng: np.random.Generator, packets: list[RawPacket], away_s: float
) -> list[tuple[int, RawPacket]]:
    """The sensor goes off and comes back, its counters near 0."""
    begin_ns, end_ns = round(BEGIN_S * 1e9), round((BEGIN_S + away_s) * 1e9)
    size, out, number = layout.samples_per_packet, [], 0
    booted = int(rng.uniform(0.1, 1.0) * min(away_s, 1.0) / layout.counter.unit_s)
    for k, one in enumerate(packets):
        if one.host_ns < begin_ns:
            out.append((k, one))
        elif one.host_ns >= end_ns:
            ticks = booted + np.rint((number * size + np.arange(size)) * layout.nominal_step_ticks).astype(np.int64)
            out.append((k, replace(one, payload=_packet(layout, number, ticks, rng))))
            number += 1
    return out


def after_restart_s(layout: Layout, rng: np.random.Generator, away_s: float) -> tuple[float, float, int]:
    """Largest error of sensor times at once after a restart, and from a second after it; restarts that were told."""
    packets = stream(layout, rng, BEGIN_S + away_s + AFTER_S)
    error, found = compared(layout, packets, restarted(layout, rng, packets, away_s))
    return *_at_once_and_later(error, packets, BEGIN_S + away_s), found.restarts


def _at_once_and_later(error: Floats, packets: Sequence[RawPacket], end_s: float) -> tuple[float, float]:
    arrived_s = np.array([one.host_ns for one in packets]) * 1e-9
    # packets that waited for those before them come out later, so what never came is NaN
    parts = (error[arrived_s >= end_s], error[arrived_s >= end_s + 1.0])
    return float(np.nanmax(np.abs(parts[0]))), float(np.nanmax(np.abs(parts[1])))


def of_other_modulus(rng: np.random.Generator, *, clock: int | None = None, number: int | None = None) -> bool:
    """Whether a sensor whose counters begin again elsewhere than its layout says is told of, with the right figure."""
    said = parse_layout(resources.text("layouts", "example_big_endian"), "said")
    real = msgspec.structs.replace(
        said, counter=msgspec.structs.replace(said.counter, modulus=clock), sequence_modulus=number
    )
    packets = stream(real, rng, 3.5 * max((clock or 0) * said.counter.unit_s, 0.02 * (number or 0)) + 5.0)
    lossy = [one for one in packets if rng.random() > 0.02]
    found = timed(said, lossy, {one.host_ns: k for k, one in enumerate(lossy)}, len(lossy))
    wanted = f"write modulus = {clock} " if clock else f"write sequence_modulus = {number} "
    return len(found.notices) == 1 and wanted in f"{found.notices[0]} "


def accused(layout: Layout, rng: np.random.Generator) -> int:
    """Notices about moduli that are right: losses, and restarts at any time."""
    packets = stream(layout, rng, 160.0)
    given: list[tuple[int, RawPacket]] = [(k, one) for k, one in enumerate(packets) if rng.random() > 0.1]
    for _ in range(4):
        given = restarted(layout, rng, [one for _, one in given], float(rng.uniform(0.5, 10.0)))
        given = [(k, replace(one, host_ns=one.host_ns + k)) for k, one in given]
    return len(timed(layout, [one for _, one in given], {one.host_ns: k for k, one in given}, len(packets)).notices)


def told_of_sleep(rng: np.random.Generator, seconds: float, counted_s: float) -> bool:
    """Whether a computer that slept is told of, whatever its clock counted of it."""
    told = notices(partial(slept, seconds=seconds, counted_s=counted_s), rng)
    return 1 <= len(told) <= 2 and "the computer slept" in told[-1]


def notices(disturb: Disturb, rng: np.random.Generator) -> list[str]:
    """What a session of three sensors tells when all their streams are disturbed alike."""
    text = resources.text("layouts", "house")
    layout = parse_layout(text, "house")
    names = [str(one) for one in WORN]
    settings = session_settings(zip(names, WORN, strict=True), "house")
    streams = [stream(layout, rng, BEGIN_S + 60.0, name) for name in names]
    items = sorted((one for own in streams for _, one in disturb(own)), key=lambda one: one.host_ns)
    pipeline = Pipeline()
    begun = pipeline.feed(recorded(0, Begin.of(settings)))
    events = [*begun, *pipeline.feed_many(items), *pipeline.finish()]
    return [one.text for one in events if isinstance(one, Notice)]
