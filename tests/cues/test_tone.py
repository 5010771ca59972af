"""The held tone: when there is one, which pitch it has, and that it never clicks."""

from __future__ import annotations

import numpy as np
import pytest

from imufeedback.cues.mixer import Mixer, Request
from imufeedback.cues.schedule import CUE_LIFE_S, TimedEvent
from imufeedback.cues.tone import REFRESH_S, LosingTone, pitch_hz
from imufeedback.cues.waveforms import render
from imufeedback.records import (
    Angles,
    Event,
    Hand,
    JointAngles,
    Motion,
    PelvisAngles,
    Phase,
    PhaseChanged,
    Side,
    StateChanged,
    Tone,
    frozen,
)

RATE_HZ = 48_000
PERIOD = 480
LATER_NS = 10**15


def angles(t_s: float, left_deg: float, *, ok: bool = True, side: Side = Side.RIGHT) -> Angles:
    """One step at which so much thigh angle is left until 2 degrees."""
    time = frozen([t_s])
    hips = []
    for one in Side:
        flexion = np.radians(left_deg + 2.0) if one is side else 1.0
        values = frozen([[flexion, 0.0, 0.0]])
        hips.append(JointAngles("hip", one, time, values, values, values, frozen([[ok] * 3], np.bool_)))
    nothing = frozen(np.zeros((1, 3)))
    return Angles(time, PelvisAngles(time, nothing, nothing, nothing, frozen([[True] * 3], np.bool_)), tuple(hips))


def state(motion: Motion, t_s: float) -> StateChanged:
    return StateChanged(t_s, t_s, motion, 0.2, 0.1)


def stage(hand: Hand = Hand.RIGHT) -> LosingTone:
    return LosingTone(hand=hand, target_rad=float(np.radians(2.0)))


def follow(tone: LosingTone, *events: tuple[float, Event], late_s: float = 0.02) -> list[Tone]:
    return [made for t_s, event in events for made in tone.feed(TimedEvent(t_s + late_s, event))]


LOSING = (1.0, state(Motion.FALLING, 1.0))


def test_silent_until_the_angle_is_being_lost():
    assert follow(stage(), (0.9, angles(0.9, 10.0))) == []
    (tone,) = follow(stage(), LOSING, (1.005, angles(1.005, 10.0)))
    assert tone == Tone(1.005, 1.005 + CUE_LIFE_S, 3 - 5)


def test_the_pitch_rises_with_what_is_lost_and_has_a_lowest():
    steps = [(1.0 + 0.1 * k, left) for k, left in enumerate((60.0, 24.0, 20.0, 10.0, 4.0, 0.5))]
    tones = follow(stage(), LOSING, *((t, angles(t, left)) for t, left in steps))
    assert [one.semitones for one in tones] == [-9, -9, -7, -2, 1, 3]


def test_it_is_renewed_before_it_expires_but_not_at_every_step():
    events = [(1.0 + 0.005 * k, angles(1.0 + 0.005 * k, 10.0)) for k in range(1, 101)]
    tones = follow(stage(), LOSING, *events)
    gaps = np.diff([one.t_s for one in tones])
    assert gaps.max() < CUE_LIFE_S
    assert gaps.min() >= REFRESH_S - 0.006
    assert {one.semitones for one in tones} == {-2}


@pytest.mark.parametrize(
    "ending",
    [
        state(Motion.STALLED, 1.1),
        state(Motion.GROWING, 1.1),
        state(Motion.IDLE, 1.1),
        PhaseChanged(1.1, Phase.FINISH),
        PhaseChanged(1.1, Phase.WAITING),
        angles(1.1, 10.0, ok=False),
        angles(1.1, float("nan")),
    ],
)
def test_it_ends(ending):
    tone = stage()
    assert len(follow(tone, LOSING, (1.05, angles(1.05, 10.0)))) == 1
    assert follow(tone, (1.1, ending)) == [Tone(1.1, 1.1 + CUE_LIFE_S, None)]
    assert follow(tone, (1.1, ending)) == [], "told once"


def test_the_target_is_told_once_and_ends_it():
    tones = follow(stage(), LOSING, *((t, angles(t, left)) for t, left in ((1.1, 3.0), (1.2, -0.1), (1.3, -5.0))))
    assert [(one.semitones, one.reached) for one in tones] == [(1, False), (None, True)]


def test_no_tone_from_old_data():
    assert follow(stage(), LOSING, (1.1, angles(1.1, 10.0)), late_s=0.2) == []


def test_a_left_hander_is_judged_by_the_left_thigh():
    (tone,) = follow(stage(Hand.LEFT), LOSING, (1.1, angles(1.1, 4.0, side=Side.LEFT)))
    assert tone.semitones == 1


# ── samples ──────────────────────────────────────────────────────────────────────────────────────────────────────


@pytest.fixture(name="mixer")
def make_mixer() -> Mixer:
    return Mixer({"stalled": render("stalled", RATE_HZ)}, RATE_HZ, 1.0)


def run(mixer: Mixer, periods: int, now_ns: int = 0) -> np.ndarray:
    out = np.zeros((periods, PERIOD), np.float32)
    for row in out:
        mixer.fill(row, now_ns)
    return out.ravel().astype(float)


def clean(samples: np.ndarray) -> bool:
    """No step beyond what the partials' slopes allow, and next to nothing above 6 kHz."""
    steepest = np.abs(samples).max() * 2 * np.pi * pitch_hz(3) / RATE_HZ * 1.5
    power = np.abs(np.fft.rfft(samples)) ** 2
    high = np.fft.rfftfreq(samples.size, 1 / RATE_HZ) > 6000
    return bool(np.abs(np.diff(samples)).max() <= steepest and power[high].sum() / power.sum() < 1e-6)


def test_onset_change_of_pitch_and_end_do_not_click(mixer):
    out = [run(mixer, 3)]
    for semitones in (-9, -8, 3, -9, None):
        mixer.hold(semitones, LATER_NS)
        out.append(run(mixer, 7))
    samples = np.concatenate(out)
    assert clean(samples)
    assert abs(samples.mean()) < 1e-3
    assert 20 * np.log10(np.abs(samples).max()) <= -12.0
    assert not samples[-PERIOD:].any(), "it dies out"


def test_a_jump_of_pitch_without_glide_would_be_seen():
    t = np.arange(4800) / RATE_HZ
    jump = 0.1 * np.concatenate([np.sin(2 * np.pi * pitch_hz(-9) * t), np.cos(2 * np.pi * pitch_hz(3) * t)])
    assert not clean(jump)


def test_short_calls_on_and_off_do_not_click(mixer):
    out = []
    for semitones in (-9, None, -5, None, -9, None):
        mixer.hold(semitones, LATER_NS)
        out.append(run(mixer, 1))
    assert clean(np.concatenate([*out, run(mixer, 5)]))


def test_the_pitch_is_equal_tempered(mixer):
    mixer.hold(-9, LATER_NS)
    samples = run(mixer, 100)[4800:]
    spectrum = np.abs(np.fft.rfft(samples * np.hanning(samples.size), 1 << 18))
    assert np.argmax(spectrum) * RATE_HZ / (1 << 18) == pytest.approx(261.626, abs=0.5)


def test_it_dies_out_when_nobody_renews_it(mixer):
    mixer.hold(0, 1000)
    assert run(mixer, 5, now_ns=1000).any()
    run(mixer, 3, now_ns=1001)
    assert not run(mixer, 3, now_ns=1001).any()


def test_every_other_sound_silences_it_and_it_comes_back(mixer):
    mixer.hold(0, LATER_NS)
    first = run(mixer, 10)
    mixer.hand_over(Request("stalled", LATER_NS, 1))
    both = run(mixer, 50)
    sound = render("stalled", RATE_HZ)
    fade = round(0.020 * RATE_HZ)
    np.testing.assert_allclose(both[fade : sound.size], sound[fade:], atol=1e-7)
    assert both[-PERIOD:].any()
    mixer.hold(None, LATER_NS)
    assert clean(np.concatenate([first, both, run(mixer, 5)]))


def test_indifferent_to_buffer_borders_up_to_the_glide(mixer):
    mixer.hold(0, LATER_NS)
    a = run(mixer, 20)
    other = Mixer({}, RATE_HZ, 1.0)
    other.hold(0, LATER_NS)
    b = np.zeros(a.size, np.float32)
    for k in range(0, b.size, 37):
        other.fill(b[k : k + 37], 0)
    np.testing.assert_allclose(a, b, atol=1e-6)
