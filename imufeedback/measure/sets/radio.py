"""Sensors as they are: radio that fails, clocks that drift, packets that are none."""

from __future__ import annotations

import time
from collections.abc import Callable, Iterator
from functools import partial

import numpy as np

from imufeedback import resources
from imufeedback.begin import session_settings
from imufeedback.commands import Begin, recorded
from imufeedback.conduct.sensor_clock import clock_of
from imufeedback.measure import arrivals, bad_day, clocks, golfer, live_load, outages
from imufeedback.measure.checks import Band, Context, Measured, SetPart, at_most, exactly
from imufeedback.packets import Decoder, Layout, encode, parse_layout
from imufeedback.pipeline import Pipeline
from imufeedback.records import Angles, DeviceBlock, Notice, PacketRejected, RawPacket, Segment, Side
from imufeedback.synth.script import make_script
from imufeedback.synth.sensors import WORN
from imufeedback.synth.stream import raw_packets, sensor_streams, serial_of

HOUR_S = 3600.0
QUICK_S = 50.0
"""Long enough for most of what happens on the worst day."""
PAYLOADS, QUICK_PAYLOADS = 1_000_000, 20_000


def worst_day(context: Context) -> Iterator[Measured]:
    """Five sensors under the worst day's script."""
    seconds = QUICK_S if context.quick else HOUR_S
    day = bad_day.play(seconds, context.seed, context.work)
    name = f"worst day, {seconds:.0f} s of five sensors"
    yield Measured(f"{name}: notifications delivered", sum(day.given.values()), Band(150 * seconds, None), "packets")
    yield Measured(f"{name}: delivered, but not once in the recording", day.not_recorded, exactly(0), "packets")
    apart = day.samples_given - day.samples_used
    yield Measured(f"{name}: samples delivered less samples decoded", apart, exactly(0), "samples")
    back = day.notes["connected"] - len(day.given)
    yield Measured(f"{name}: links that came back", back, Band(day.broken, None), "links")
    yield Measured(f"{name}: cues given", day.cues, Band(1, None), "cues")
    yield Measured(f"{name}: cues from data older than 150 ms", day.stale_cues, exactly(0), "cues")


def alignment(context: Context) -> Iterator[Measured]:
    """Three sensors on links of 15 to 60 ms, with crystals of ±40 ppm, missed events and clumps."""
    trials, seconds = (20, 32.0) if context.quick else (150, 60.0)
    apart_ms = {
        name: 1e3 * arrivals.apart_s([context.seed, 11], 3, seconds, trials, rate_tolerance=tolerance)
        for name, tolerance in (("drifting phases", arrivals.RATE_TOLERANCE), ("locked phases", 0.0))
    }
    drifting, locked = (float(np.percentile(values, 95)) for values in apart_ms.values())
    yield Measured("alignment of sensors, 95th percentile from 20 s on", drifting, at_most(3.0), "ms")
    # A packet every 20.000 ms exactly, on links of 15, 30 or 60 ms, shows one least delay for ever, whatever it is.
    # One-way times cannot tell more; the GATT profile says how a board avoids it. So this is told, without a limit.
    yield Measured("the same with sample rates locked to the links', no limit", locked, Band(None, None), "ms")


BACKLOGS_S = (3, 10, 60)
SLEEPS_S = ((40.0, 2.0), (40.0, 40.0), (12.0, 3.0))
"""Length of a computer's sleep, and what its own clock counted of it: systems differ."""
MODULI = ({"clock": 10_000}, {"clock": 1_000}, {"clock": 60_000}, {"number": 250}, {"number": 100})


def backlogs(context: Context) -> Iterator[Measured]:
    """What waited for seconds comes at once, whole or with losses: numbers and ticks overrule the arrivals."""
    trials = range(1 if context.quick else 10)
    for seconds in BACKLOGS_S:
        found = [
            clocks.after_backlog_s(
                _layout(name), np.random.default_rng([context.seed, 13, trial]), seconds, lossy=lossy
            )
            for name in clocks.LAYOUTS
            for trial in trials
            for lossy in (False, True)
        ]
        worst_ms = 1e3 * max(error_s for error_s, _ in found)
        yield Measured(
            f"backlog of {seconds} s: sensor times in and after it, largest error", worst_ms, at_most(3.0), "ms"
        )
        restarts = sum(restarts for _, restarts in found)
        yield Measured(f"backlog of {seconds} s: taken for a restart", restarts, exactly(0), "restarts")


def restarts(context: Context) -> Iterator[Measured]:
    """A sensor goes off and comes back, its counters near 0; a computer sleeps."""
    trials = range(2 if context.quick else 20)
    rngs = [np.random.default_rng([context.seed, 14, trial]) for trial in trials]
    found = [
        clocks.after_restart_s(_layout(name), rng, float(rng.uniform(0.5, 30.0)))
        for name in clocks.LAYOUTS
        for rng in rngs
    ]
    # a short counter that begins again just where time has come to is not told from one that went on, and need not be
    untold = 100 * float(np.mean([told != 1 for _, _, told in found]))
    yield Measured("restart of a sensor: not reported, or more than once", untold, at_most(5.0), "%")
    # the first packets of a new time base are as late as the radio makes them; nothing tells how late that is
    at_once_ms = 1e3 * float(np.percentile([at_once for at_once, _, _ in found], 95))
    yield Measured("restart: sensor times at once, 95th percentile, no limit", at_once_ms, Band(None, None), "ms")
    later_ms = 1e3 * max(later for _, later, _ in found)
    yield Measured("restart: sensor times from 1 s after it, largest error", later_ms, at_most(3.0), "ms")
    slept = [
        (clocks.after_sleep_s(_layout(name), rng, *sleep)[1], clocks.told_of_sleep(rng, *sleep))
        for sleep, name in zip(SLEEPS_S, clocks.LAYOUTS, strict=False)
        for rng in rngs
    ]
    worst_ms = 1e3 * max(error_s for error_s, _ in slept)
    yield Measured("computer slept: sensor times from 1 s after it, largest error", worst_ms, at_most(3.0), "ms")
    told = 100 * float(np.mean([told for _, told in slept]))
    yield Measured("computer slept: reported", told, exactly(100), "%")


def moduli(context: Context) -> Iterator[Measured]:
    """Counters that begin again elsewhere than the layout says, and counters that do not."""
    trials = range(1 if context.quick else 10)
    rngs = [np.random.default_rng([context.seed, 15, trial]) for trial in trials]
    found = [clocks.of_other_modulus(rng, **modulus) for rng in rngs for modulus in MODULI]
    yield Measured("wrong modulus: reported, with the right one", 100 * float(np.mean(found)), exactly(100), "%")
    accused = sum(clocks.accused(_layout(name), rng) for name in clocks.LAYOUTS for rng in rngs)
    yield Measured("right modulus: accused", accused, exactly(0), "notices")


def _layout(name: str) -> Layout:
    return parse_layout(resources.text("layouts", name), name)


def links(context: Context) -> Iterator[Measured]:
    """Two sensors are gone for 5 s at once; the computer is told of one."""
    found = outages.outages()
    untold = [one for one in found if not one.told]
    yield Measured("silence noticed", max(one.noticed_s for one in untold), at_most(1.0), "s")
    yield Measured("link back after 5 s", max(one.back_s for one in found), at_most(3.0), "s")
    yield Measured("links back without their settings", sum(not one.configured for one in found), exactly(0), "links")
    worst_ms = 1e3 * max(one.clock_error_s for one in found)
    # In this process the radio has no delay but that of the scheduler, which a busy machine makes long.
    yield Measured("links back: sample times, largest error", worst_ms, at_most(10.0), "ms")


def silence(context: Context) -> Iterator[Measured]:
    """One of three sensors falls silent in the middle of a swing: how long its angles go on."""
    script = make_script(reps=1, seed=context.seed)
    stop_s = script.truth.reps[0].top_s
    silent = serial_of(Segment.RIGHT_THIGH)
    pipeline = Pipeline()
    last_s, first_bad_s, good_after = float("nan"), float("nan"), 0
    for item in golfer.items(script, WORN):
        if isinstance(item, RawPacket) and item.sensor == silent and item.host_ns * 1e-9 > stop_s:
            continue
        if isinstance(item, RawPacket) and item.sensor == silent:
            last_s = item.host_ns * 1e-9
        for event in pipeline.feed(item):
            if isinstance(event, Angles) and event.t_s[-1] > stop_s - 0.1:
                ok = event.joint("hip", Side.RIGHT).ok.any(axis=1)
                bad = event.t_s[~ok & (event.t_s > last_s)]
                if len(bad) and first_bad_s != first_bad_s:
                    first_bad_s = float(bad[0])
                good_after += int(np.count_nonzero(ok & (event.t_s > last_s + 0.040)))
    yield Measured("angles not ok after the last sample", 1e3 * (first_bad_s - last_s), at_most(40.0), "ms")
    yield Measured("angles ok more than 40 ms after the last sample", good_after, exactly(0), "steps")


def cost(context: Context) -> Iterator[Measured]:
    """Decoding and aligning of packets as they come; the best of many stretches, as the machine does other things."""
    layout = parse_layout(resources.text("layouts", "house"), "house")
    script = make_script(reps=1, seed=context.seed)
    packets = list(raw_packets(sensor_streams(script, layout)))
    best_us = min(_cost_us(layout, packets, 300) for _ in range(3 if context.quick else 10))
    yield Measured("radio to aligned samples, a packet", best_us, at_most(25.0), "µs")


def _cost_us(layout: Layout, packets: list[RawPacket], stretch: int) -> float:
    decoders = {serial_of(one): Decoder(serial_of(one), layout, 0) for one in WORN}
    clocks = {serial: clock_of(serial, layout, 0) for serial in decoders}
    best = float("inf")
    for begin in range(0, len(packets) - stretch, stretch):
        begun = time.process_time()
        for packet in packets[begin : begin + stretch]:
            for block in decoders[packet.sensor].feed(packet):
                if isinstance(block, DeviceBlock):
                    clocks[packet.sensor].feed(block)
        best = min(best, (time.process_time() - begun) / stretch)
    return best * 1e6


def payloads(context: Context) -> Iterator[Measured]:
    """Random bytes, and packets with random damage, through every layout."""
    count = QUICK_PAYLOADS if context.quick else PAYLOADS
    for name in resources.available("layouts"):
        layout = parse_layout(resources.text("layouts", name), name)
        rng = np.random.default_rng([context.seed, 12])
        raised, strange = _fuzz(layout, count, rng, partial(Decoder, "a", layout, 0))
        what = f"{count} random payloads through layout {name}"
        yield Measured(f"{what}: exceptions", raised, exactly(0), "exceptions")
        yield Measured(f"{what}: answers that are neither samples nor a rejection", strange, exactly(0), "answers")
    text = resources.text("layouts", "house")
    raised, _ = _fuzz(
        parse_layout(text, "house"), count // 20, np.random.default_rng(context.seed), lambda: _whole(text)
    )
    yield Measured(
        f"{count // 20} random payloads through the whole pipeline: exceptions", raised, exactly(0), "exceptions"
    )


def _whole(text: str) -> Pipeline:
    worn = [("a" if k == 0 else serial_of(segment), segment) for k, segment in enumerate(WORN)]
    settings = session_settings(worn, "house", layout_text=text)
    pipeline = Pipeline()
    pipeline.feed(recorded(0, Begin.of(settings)))
    return pipeline


def _fuzz(
    layout: Layout, count: int, rng: np.random.Generator, make: Callable[[], Decoder | Pipeline]
) -> tuple[int, int]:
    raised = strange = 0
    stage = make()
    whole = isinstance(stage, Pipeline)
    lengths = rng.integers(0, 260, count)
    kinds = rng.random(count)
    valid = _valid(layout, rng)
    for k in range(count):
        payload = rng.bytes(int(lengths[k])) if kinds[k] < 0.5 else _damaged(valid[k % len(valid)], rng, kinds[k])
        try:
            answers = stage.feed(RawPacket("a", k * 5_000_000, payload))
        except Exception:  # noqa: BLE001 - that none comes is what is measured
            raised += 1
            stage = make()
            continue
        if not whole:
            strange += sum(not isinstance(one, DeviceBlock | PacketRejected | Notice) for one in answers)
    return raised, strange


def _valid(layout: Layout, rng: np.random.Generator) -> list[bytes]:
    out = []
    for k in range(256):
        n = layout.samples_per_packet
        ticks = np.rint((k * n + np.arange(n)) * layout.nominal_step_ticks).astype(np.int64)
        out.append(encode(layout, k, int(ticks[0]), rng.normal(0, 3, (n, 3)), rng.normal(0, 20, (n, 3)), ticks))
    return out


def _damaged(payload: bytes, rng: np.random.Generator, kind: float) -> bytes:
    """One byte changed, the tail cut, or something hung on."""
    at = int(kind * 1e6) % len(payload)
    if kind < 0.8:
        return payload[:at] + bytes([int(kind * 1e9) & 0xFF]) + payload[at + 1 :]
    return payload[:at] if kind < 0.95 else payload + rng.bytes(at + 1)


def load(context: Context) -> Iterator[Measured]:
    """Three sensors live in a process of their own: packets at their real pace, pipeline, recording, no window."""
    used = live_load.measure(6.0 if context.quick else 30.0, context.seed)
    yield Measured("three sensors live, whole process", 100 * used, at_most(15.0), "% of a core")


STEPS = (
    SetPart("worst day", worst_day),
    SetPart("alignment", alignment),
    SetPart("backlogs", backlogs),
    SetPart("restarts and sleep", restarts),
    SetPart("moduli of counters", moduli),
    SetPart("outages", links),
    SetPart("silence in a swing", silence),
    SetPart("cost of a packet", cost),
    SetPart("random payloads", payloads),
    SetPart("load of three sensors", load),
)
