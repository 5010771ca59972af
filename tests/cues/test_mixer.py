"""The one voice: takes over, waits, expires, and never clicks."""

from __future__ import annotations

import tracemalloc

import numpy as np
import pytest

from imufeedback.cues.mixer import MAX_FRAMES, WAITING_MAX, Mixer, Request
from imufeedback.cues.waveforms import SOUNDS, render

RATE_HZ = 48_000
PERIOD = 480
PERIOD_NS = 10_000_000
LATER_NS = 10**12


@pytest.fixture(name="mixer")
def make_mixer() -> Mixer:
    return Mixer({name: render(name, RATE_HZ) for name in SOUNDS}, RATE_HZ, 1.0)


def run(mixer: Mixer, periods: int, now_ns: int = 0) -> np.ndarray:
    out = np.full((periods, PERIOD), 7.0, np.float32)
    for k in range(periods):
        mixer.fill(out[k], now_ns + k * PERIOD_NS)
    return out.ravel()


def test_silence_until_asked(mixer):
    assert not run(mixer, 5).any()
    assert not mixer.playing


def test_plays_the_whole_sound_at_once_and_then_silence(mixer):
    mixer.hand_over(Request("stalled", LATER_NS, 1))
    out = run(mixer, 40)
    sound = render("stalled", RATE_HZ)
    np.testing.assert_array_equal(out[: sound.size], sound)
    assert not out[sound.size :].any()
    assert (mixer.played, mixer.expired, mixer.outranked) == (1, 0, 0)


@pytest.mark.parametrize("frames", [1, 7, 480, 4096, MAX_FRAMES])
def test_indifferent_to_buffer_borders(mixer, frames):
    mixer.hand_over(Request("ready", LATER_NS, 1))
    sound = render("ready", RATE_HZ)
    out = np.zeros(-(-sound.size // frames) * frames, np.float32)
    for start in range(0, out.size, frames):
        mixer.fill(out[start : start + frames], 0)
    np.testing.assert_array_equal(out[: sound.size], sound)


def test_gain_holds_from_the_start_of_a_sound(mixer):
    mixer.gain = 0.25
    mixer.hand_over(Request("stalled", LATER_NS, 1))
    first = run(mixer, 1)
    mixer.gain = 1.0
    out = np.concatenate([first, run(mixer, 30)])
    assert np.abs(out).max() == pytest.approx(0.25 * np.abs(render("stalled", RATE_HZ)).max())


def test_a_late_cue_is_dropped_never_played(mixer):
    mixer.hand_over(Request("stalled", 1000, 1))
    assert not run(mixer, 30, now_ns=1001).any()
    assert (mixer.played, mixer.expired) == (0, 1)


def test_on_the_deadline_it_still_sounds(mixer):
    mixer.hand_over(Request("stalled", 1000, 1))
    assert run(mixer, 30, now_ns=1000).any()


def test_more_urgent_takes_over_without_a_click(mixer):
    mixer.hand_over(Request("link-back", LATER_NS, 1))
    first = run(mixer, 5)
    mixer.hand_over(Request("regaining", LATER_NS, 2))
    out = np.concatenate([first, run(mixer, 60)]).astype(float)
    regaining = render("regaining", RATE_HZ)
    fade = round(0.012 * RATE_HZ)
    at = first.size
    np.testing.assert_allclose(out[at + fade : at + regaining.size], regaining[fade:], atol=1e-7)
    assert not out[at + regaining.size :].any(), "the old sound is gone"
    assert np.abs(np.diff(out)).max() < 0.05
    power = np.abs(np.fft.rfft(out)) ** 2
    assert power[np.fft.rfftfreq(out.size, 1 / RATE_HZ) > 6000].sum() / power.sum() < 1e-6
    assert (mixer.played, mixer.cut) == (2, 1)


def test_taking_over_in_the_middle_of_a_fade_waits_for_its_end(mixer):
    out = []
    for priority, name in enumerate(("link-back", "ready", "link-lost", "regaining")):
        mixer.hand_over(Request(name, LATER_NS, priority))
        chunk = np.zeros(200 if priority else 3000, np.float32)
        mixer.fill(chunk, 0)
        out.append(chunk)
    out.append(run(mixer, 40))
    joined = np.concatenate(out).astype(float)
    assert np.abs(np.diff(joined)).max() < 0.05
    assert mixer.played == 3, "link-lost waits for the fade, and regaining outranks it meanwhile"
    assert mixer.outranked == 1


def test_less_urgent_waits_its_turn(mixer):
    mixer.hand_over(Request("stalled", LATER_NS, 5))
    run(mixer, 1)
    mixer.hand_over(Request("rep-counted", LATER_NS, 1))
    run(mixer, 60, now_ns=PERIOD_NS)
    assert (mixer.played, mixer.cut, mixer.expired) == (2, 0, 0)


def test_less_urgent_expires_while_it_waits(mixer):
    mixer.hand_over(Request("link-lost", LATER_NS, 5))
    run(mixer, 1)
    mixer.hand_over(Request("rep-counted", 50_000_000, 1))
    run(mixer, 60, now_ns=PERIOD_NS)
    assert (mixer.played, mixer.expired) == (1, 1)


def test_of_several_at_once_the_most_urgent_sounds(mixer):
    for name, priority in (("rep-counted", 1), ("regaining", 9), ("stalled", 5)):
        mixer.hand_over(Request(name, LATER_NS, priority))
    out = run(mixer, 60)
    np.testing.assert_array_equal(out[: render("regaining", RATE_HZ).size], render("regaining", RATE_HZ))
    assert (mixer.played, mixer.outranked) == (1, 2)


def test_h88_backlog_never_grows(mixer):
    """Ten minutes of a device that runs 2 % slow: the last cue starts as soon as the first did."""
    delays = []
    now_ns, step_ns = 0, round(PERIOD_NS * 1.02)
    out = np.zeros(PERIOD, np.float32)
    for k in range(60_000):
        if k % 50 == 0:
            asked_ns, played = now_ns, mixer.played
            mixer.hand_over(Request("stalled", now_ns + 150_000_000, 5))
        mixer.fill(out, now_ns)
        if k % 50 == 0:
            assert mixer.played == played + 1
            delays.append(now_ns - asked_ns)
        now_ns += step_ns
    assert delays[0] == delays[-1]


def test_a_flood_is_bounded_and_counted(mixer):
    for _ in range(100):
        mixer.hand_over(Request("stalled", LATER_NS, 1))
    run(mixer, 1)
    assert mixer.pushed_out == 100 - WAITING_MAX
    assert mixer.played + mixer.outranked + mixer.pushed_out == 100


def test_unknown_sound(mixer):
    with pytest.raises(KeyError):
        mixer.hand_over(Request("gong", LATER_NS, 1))


def test_samples_are_allocated_beforehand(mixer):
    """A callback must not allocate arrays: the memory that NumPy reports does not move while filling."""
    mixer.hand_over(Request("link-back", LATER_NS, 1))
    out = np.zeros(PERIOD, np.float32)
    mixer.fill(out, 0)
    tracemalloc.start()
    try:
        mixer.hand_over(Request("link-lost", LATER_NS, 2))
        tracemalloc.reset_peak()
        before, _ = tracemalloc.get_traced_memory()
        for _ in range(20):
            mixer.fill(out, 0)
        _, peak = tracemalloc.get_traced_memory()
    finally:
        tracemalloc.stop()
    assert peak - before < PERIOD * 4, "less than one buffer: views and counters only"
