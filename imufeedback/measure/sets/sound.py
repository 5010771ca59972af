"""Sound: from motion to the recorded output, and what the sounds themselves are like."""

from __future__ import annotations

import json
from collections.abc import Iterator, Mapping
from contextlib import contextmanager
from typing import Any

import numpy as np

from imufeedback.audio import RATE_HZ, START_LEVEL, rendered
from imufeedback.audio.recorder import find_input
from imufeedback.cues.loudness import loudness_lufs
from imufeedback.cues.mixer import Mixer, Request
from imufeedback.cues.tone import pitch_hz
from imufeedback.cues.waveforms import RAMP_S, SECOND_HARMONIC, SOUNDS
from imufeedback.errors import SoundError
from imufeedback.measure import process, sound_server
from imufeedback.measure.checks import Band, Context, LeftOut, Measured, SetPart, at_most, exactly

SECONDS, QUICK_SECONDS = 60, 10
SEEDS, QUICK_SEEDS = 3, 1
"""How sensors, packets and connection events fall against each other depends on the seed, and does not change during a
run; so a full measurement takes several."""


def end_to_end(context: Context) -> Iterator[Measured]:
    """A stalling golfer from radio to the recorded output; then the same under load."""
    with _output():
        plain = [_latency(context, seed) for seed in _seeds(context)]
        loaded = [_latency(context, seed, "--window", "--journal") for seed in _seeds(context)]
    yield from _lines(plain)
    yield from _loaded_lines(plain, loaded)


@contextmanager
def _output() -> Iterator[None]:
    """The system's own output if it can be recorded, else a sound server of our own. Raises LeftOut without both."""
    try:
        find_input(None)
    except SoundError as error:
        if not sound_server.installed():
            raise LeftOut(
                f"there is no output that can be recorded, and no PulseAudio to make one ({error})"
            ) from error
        with sound_server.null_sink():
            yield
    else:
        yield


def _seeds(context: Context) -> range:
    return range(context.seed, context.seed + (QUICK_SEEDS if context.quick else SEEDS))


def _latency(context: Context, seed: int, *load: str) -> dict[str, Any]:
    file = context.work / f"latency{seed}{''.join(load)}.json"
    seconds = QUICK_SECONDS if context.quick else SECONDS
    process.command("latency", "--seconds", str(seconds), "--seed", str(seed), *load, "--json", str(file))
    document: dict[str, Any] = json.loads(file.read_text(encoding="utf-8"))
    for part, row in document["parts"].items():
        context.rows.append(
            {"set": "sound", "trial": f"seed {seed}", "method": f"{part} {' '.join(load)}".strip()} | row
        )
    return document


def _all_ms(runs: list[dict[str, Any]]) -> np.ndarray[tuple[int], np.dtype[np.float64]]:
    return np.array([one["end_to_end"] for run in runs for one in run["each_ms"]], dtype=np.float64)


def _lines(runs: list[dict[str, Any]]) -> Iterator[Measured]:
    each, floor = _all_ms(runs), runs[0]["floor_ms"]["sum"]
    beside = f"(packet + interval + buffer: {floor:.0f} ms)"
    yield Measured(f"motion to sound, median {beside}", _percentile(each, 50), at_most(60.0), "ms")
    yield Measured(f"motion to sound, 99th percentile {beside}", _percentile(each, 99), at_most(100.0), "ms")
    yield Measured("motion to sound, jitter", float(np.std(each)) if len(each) else np.nan, at_most(12.0), "ms")
    engine = max(run["engine_alone"]["p99_ms"] for run in runs)
    yield Measured("engine alone, packet in to cue decided, 99th percentile", engine, at_most(3.0), "ms")
    yield Measured("tones measured", len(each), Band(8.0, None), "tones")
    yield Measured("tones asked for and not in the recording", _count(runs, "missing"), exactly(0.0), "tones")
    yield Measured("tones played late", _count(runs, "late"), exactly(0.0), "tones")
    peak = max(run["recording"]["peak_dbfs"] for run in runs)
    yield Measured("recorded output: peak", peak, at_most(-12.0), "dBFS")
    yield Measured("recorded output: mean", max(abs(run["recording"]["mean"]) for run in runs), at_most(1e-3), "1")
    step = max(run["recording"]["step_ratio"] for run in runs)
    yield Measured("recorded output: largest step / what the sounds' slopes allow", step, at_most(1.05), "ratio")


def _loaded_lines(plain: list[dict[str, Any]], loaded: list[dict[str, Any]]) -> Iterator[Measured]:
    more = _percentile(_all_ms(loaded), 50) - _percentile(_all_ms(plain), 50)
    yield Measured("window and journal: median against without", more, at_most(10.0), "ms")
    frames = min(run["frames_per_second"] for run in loaded)
    yield Measured("window: frames a second while measured", frames, Band(50.0, None), "1/s")
    yield Measured("window and journal: tones played late", _count(loaded, "late"), exactly(0.0), "tones")


def _percentile(values: np.ndarray[tuple[int], np.dtype[np.float64]], q: float) -> float:
    return float(np.percentile(values, q)) if len(values) else float("nan")


def _count(runs: list[dict[str, Any]], what: str) -> float:
    return float(sum(run["cues"][what] for run in runs))


def after_an_hour(context: Context) -> Iterator[Measured]:
    """A simulated hour: the clocks of sensors and sound device wrong by different amounts, late cues among others."""
    # below the layer that knows how, so through the command, as everything here that is a whole program
    file = context.work / "hour.json"
    quick = ("--quick",) if context.quick else ()
    process.command("latency", "--hour", *quick, "--seed", str(context.seed), "--json", str(file))
    found: Mapping[str, float] = json.loads(file.read_text(encoding="utf-8"))
    growth = found["growth_ms"] if found["growth_ms"] is not None else float("nan")
    yield Measured("delay after a simulated hour against its first minute", abs(growth), at_most(5.0), "ms")
    yield Measured("simulated hour: cues played late", found["late"], exactly(0.0), "cues")
    uncounted = abs(found["provoked"] - found["expired"])
    yield Measured("simulated hour: expired cues not counted", uncounted, exactly(0.0), "cues")


def sounds(context: Context) -> Iterator[Measured]:
    """The sounds on their samples, as they leave the mixer at the volume a session begins with."""
    made = {name: samples.astype(np.float64) for name, samples in rendered().items()}
    loud = [loudness_lufs(one) for one in made.values()]
    yield Measured("sounds: loudest against softest, BS.1770", max(loud) - min(loud), at_most(1.0), "LU")
    out = _medley(START_LEVEL)
    peak = 20.0 * float(np.log10(np.abs(out).max()))
    yield Measured("sounds one over the other: peak at the first volume", peak, at_most(-12.0), "dBFS")
    full = 20.0 * float(np.log10(max(np.abs(one).max() for one in made.values())))
    yield Measured("sounds: peak before the volume", full, at_most(-12.0), "dBFS")
    yield Measured("sounds: largest mean", max(abs(float(one.mean())) for one in made.values()), at_most(1e-3), "1")
    step = float(np.abs(np.diff(out)).max()) / _steepest(START_LEVEL)
    yield Measured(
        "sounds one over the other: largest step / what ramps and pitches allow", step, at_most(1.0), "ratio"
    )


def _medley(gain: float) -> np.ndarray[tuple[int], np.dtype[np.float64]]:
    """Every sound cut off by the next one at an odd moment, with the held tone in between."""
    mixer = Mixer(rendered(), RATE_HZ, gain)
    out = np.zeros((400, 480), np.float32)
    names = list(SOUNDS)
    for k, row in enumerate(out):
        if k % 23 == 0:
            mixer.hand_over(Request(names[k // 23 % len(names)], 10**18, k))
        if k % 31 == 0:
            mixer.hold((-9, 3, None)[k // 31 % 3], 10**18)
        mixer.fill(row, 0)
    return out.ravel().astype(np.float64)


def _steepest(gain: float) -> float:
    """Largest step that the loudest sound makes at the highest pitch, with another one fading out below it."""
    peak = gain * max(float(np.abs(one).max()) for one in rendered().values())
    highest = max(note.semitones for sound in SOUNDS.values() for note in sound.notes)
    slope = 2.0 * np.pi * pitch_hz(highest) * (1.0 + 2.0 * SECOND_HARMONIC) + np.pi / (2.0 * RAMP_S)
    return 2.0 * peak * float(slope) / RATE_HZ


STEPS = (
    SetPart("the sounds", sounds),
    SetPart("after an hour", after_an_hour),
    SetPart("from motion to sound", end_to_end),
)
