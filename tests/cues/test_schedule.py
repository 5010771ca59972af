"""Which event makes which cue, and which makes none."""

from __future__ import annotations

import pytest

from imufeedback.cues.feedback import Feedback
from imufeedback.cues.schedule import CUE_LIFE_S, WAIT_S, Cueing, CueSettings, TimedEvent
from imufeedback.cues.waveforms import MEANINGS, SOUNDS
from imufeedback.errors import UsageError
from imufeedback.records import (
    Cue,
    Event,
    Fit,
    FitRefused,
    Fitted,
    Gap,
    Link,
    LinkState,
    Mode,
    Motion,
    Phase,
    PhaseChanged,
    Rep,
    StateChanged,
    StepTold,
    Tone,
    same,
)
from imufeedback.sounds import BY_NAME, Sound


def state(motion: Motion, t_s: float) -> StateChanged:
    return StateChanged(t_s, t_s - 0.05, motion, 0.2, 0.1)


def link(what: LinkState, t_s: float, sensor: str = "SYN-0001") -> Link:
    return Link(sensor, t_s, what, "", {})


def rep(end_s: float) -> Rep:
    return Rep(3, "swing", end_s - 2.0, end_s, {}, (), {})


def hear(cueing: Cueing, *events: tuple[float, Event]) -> list[Cue]:
    return [cue for now_s, event in events for cue in cueing.feed(TimedEvent(now_s, event))]


def sounds(cues: list[Cue]) -> list[str]:
    return [cue.sound for cue in cues]


def step(number: int, rep: int | None = None, why: str = "", over: str = "") -> StepTold:
    return StepTold(5.0, number, 2, "slow", 0, 3, "Turn. Come back.", "", rep, why, over)


def test_a_rep_of_a_drill_sounds_when_its_step_counts_it():
    cueing = Cueing()
    hear(cueing, (1.0, step(0)))
    assert hear(cueing, (5.0, rep(5.0))) == []
    assert hear(cueing, (5.0, step(0, 3, "Slower."))) == [], "no sound says that it did not count"
    assert sounds(hear(cueing, (9.0, rep(9.0)), (9.0, step(0, 4)))) == ["rep-counted"]
    assert sounds(hear(cueing, (9.0, rep(9.0)), (9.0, step(1, 5)))) == ["block-begun"], "another step"
    assert sounds(hear(cueing, (9.0, rep(9.0)), (9.0, step(0, 6, "Slower.")))) == ["block-begun"], "one step back"
    assert sounds(hear(cueing, (9.0, rep(9.0)), (9.0, step(2, 7, over="done")))) == ["rep-counted"]
    assert sounds(hear(cueing, (12.0, rep(12.0)))) == ["rep-counted"], "there are no steps any more"


def test_stalled_and_regaining():
    cues = hear(Cueing(), (1.01, state(Motion.STALLED, 1.0)), (1.22, state(Motion.GROWING, 1.2)))
    assert cues == [
        Cue("stalled", 1.0, 1.0 + CUE_LIFE_S, Sound.STALLED.urgency),
        Cue("regaining", 1.2, 1.2 + CUE_LIFE_S, Sound.REGAINING.urgency),
    ]


def test_a_kind_sounds_once_until_the_angle_is_lost_again():
    stalled, losing = Motion.STALLED, Motion.FALLING
    cueing = Cueing()
    assert sounds(hear(cueing, (1.0, state(stalled, 1.0)), (1.1, state(stalled, 1.1)))) == ["stalled"]
    assert sounds(hear(cueing, (1.2, state(losing, 1.2)), (1.3, state(stalled, 1.3)))) == ["stalled"]


def test_regaining_does_not_rearm_stalled():
    order = (Motion.STALLED, Motion.GROWING, Motion.STALLED, Motion.GROWING)
    cues = hear(Cueing(), *((0.1 * k, state(motion, 0.1 * k)) for k, motion in enumerate(order)))
    assert sounds(cues) == ["stalled", "regaining"]


@pytest.mark.parametrize("between", [state(Motion.IDLE, 2.0), PhaseChanged(2.0, Phase.DOWNSWING)])
def test_the_next_downswing_begins_anew(between):
    cues = hear(Cueing(), (1.0, state(Motion.STALLED, 1.0)), (2.0, between), (3.0, state(Motion.STALLED, 3.0)))
    assert sounds(cues) == ["stalled", "stalled"]


def test_no_cue_from_old_data():
    """Data 150 ms old may still sound, older may not; the limit is the published one for noticing a delay."""
    assert hear(Cueing(), (10.151, state(Motion.STALLED, 10.0))) == []
    assert len(hear(Cueing(), (10.149, state(Motion.STALLED, 10.0)))) == 1
    assert hear(Cueing(), (10.2, link(LinkState.LOST, 10.0))) == []
    assert hear(Cueing(), (10.2, Fitted(10.0, Fit("m", ())))) == []


def test_a_cue_expires_150_ms_after_its_sample_however_late_it_was_decided():
    (cue,) = hear(Cueing(), (10.1, state(Motion.STALLED, 10.0)))
    assert cue.t_s == 10.0
    assert cue.expires_s == pytest.approx(10.15)


def test_rep_counts_from_when_it_was_seen():
    (cue,) = hear(Cueing(), (8.0, rep(7.0)))
    assert (cue.sound, cue.t_s, cue.rep) == ("rep-counted", 8.0, 3)


def test_ready_after_calibration():
    assert sounds(hear(Cueing(), (9.05, Fitted(9.0, Fit("m", ()))))) == ["ready"]


def test_link_lost_once_and_back_when_the_last_is_back():
    cueing = Cueing()
    events = [
        (1.0, link(LinkState.SILENT, 1.0, "a")),
        (1.5, link(LinkState.LOST, 1.5, "a")),
        (2.0, link(LinkState.LOST, 2.0, "b")),
        (3.0, link(LinkState.STREAMING, 3.0, "a")),
        (4.0, link(LinkState.STREAMING, 4.0, "b")),
        (5.0, link(LinkState.STREAMING, 5.0, "b")),
    ]
    cues = hear(cueing, *events)
    assert [(cue.sound, cue.t_s) for cue in cues] == [("link-lost", 1.0), ("link-lost", 2.0), ("link-back", 4.0)]


def test_a_refused_step_of_the_calibration_is_asked_for_again():
    assert sounds(hear(Cueing(), (9.05, FitRefused(9.0, "moved")))) == ["fit-again"]


def test_the_held_tone_ends_in_target_reached():
    assert sounds(hear(Cueing(), (3.01, Tone(3.0, 3.15, None, reached=True)))) == ["target-reached"]
    assert hear(Cueing(), (3.01, Tone(3.0, 3.15, None))) == []


def battery(percent: object, t_s: float, sensor: str = "a") -> tuple[float, Event]:
    return t_s, Link(sensor, t_s, LinkState.STREAMING, "", {"battery_percent": percent})


def test_a_low_battery_is_told_once_a_sensor():
    cues = hear(Cueing(), *(battery(one, 1.0 + k) for k, one in enumerate((40, 15, 14, 16, 15))), battery(9, 9.0, "b"))
    assert [(cue.sound, cue.t_s) for cue in cues] == [("battery-low", 2.0), ("battery-low", 9.0)]


def test_a_charged_battery_may_be_told_of_again_and_nonsense_is_quiet():
    cues = hear(Cueing(), battery(10, 1.0), battery(90, 2.0), battery(10, 3.0), battery("?", 4.0))
    assert [cue.t_s for cue in cues] == [1.0, 3.0]


def test_the_held_sound_is_off_until_it_is_asked_for():
    cueing = Cueing()
    assert [cueing.allows(one) for one in ("losing", "stalled")] == [False, True]
    cueing.set_enabled("losing", True)
    assert cueing.allows("losing")
    cueing.set_muted(True)
    assert not cueing.allows("losing")
    assert set(MEANINGS) - set(SOUNDS) == {"losing"}


@pytest.mark.parametrize(
    ("feedback", "drill", "guides"),
    [
        (Feedback(Mode.CONCURRENT), (), True),
        (Feedback(Mode.CONCURRENT), ("stalled", "regaining"), True),
        (Feedback(Mode.CONCURRENT), ("target-reached",), False),
        (Feedback(Mode.CONCURRENT, share=0.0), (), False),
        (Feedback(Mode.AFTER_REP), (), False),
        (Feedback(Mode.NONE), (), False),
    ],
)
def test_the_held_sound_follows_mode_and_drill(feedback, drill, guides):
    cueing = Cueing(CueSettings({"losing": True}))
    assert cueing.guides()
    cueing.begin_block(feedback, drill)
    assert cueing.guides() is guides
    cueing.set_enabled("losing", False)
    assert not cueing.guides()


def test_first_streaming_and_closing_are_quiet():
    events = [
        (1.0, link(LinkState.STREAMING, 1.0)),
        (2.0, link(LinkState.LOST, 2.0)),
        (3.0, link(LinkState.CLOSED, 3.0)),
    ]
    assert sounds(hear(Cueing(), *events)) == ["link-lost"]


def test_other_events_are_quiet():
    assert hear(Cueing(), (1.0, Gap("a", 1.0, 0.1, 20)), (1.0, PhaseChanged(1.0, Phase.BACKSWING))) == []


def test_switches():
    cueing = Cueing(CueSettings(enabled={"stalled": False}))
    assert hear(cueing, (1.0, state(Motion.STALLED, 1.0))) == []
    cueing.set_enabled("stalled", True)
    cueing.set_muted(True)
    assert hear(cueing, (2.0, state(Motion.FALLING, 2.0)), (2.1, state(Motion.STALLED, 2.1))) == []
    cueing.set_muted(False)
    assert sounds(hear(cueing, (3.0, state(Motion.FALLING, 3.0)), (3.1, state(Motion.STALLED, 3.1)))) == ["stalled"]


def test_a_sound_that_does_not_exist():
    with pytest.raises(UsageError, match=r"gong.*stalled"):
        Cueing(CueSettings({"gong": True}))
    with pytest.raises(UsageError, match=r"gong.*stalled"):
        Cueing().set_enabled("gong", False)


def test_every_sound_has_a_priority_and_no_two_the_same():
    assert set(BY_NAME) == set(SOUNDS)
    assert len({sound.urgency for sound in Sound}) == len(Sound)


def test_first_half_and_restored_state_and_second_half_is_the_whole():
    events = [
        (1.0, state(Motion.STALLED, 1.0)),
        (1.1, link(LinkState.LOST, 1.1)),
        (1.2, state(Motion.STALLED, 1.2)),
        (1.3, state(Motion.GROWING, 1.3)),
        (2.0, link(LinkState.STREAMING, 2.0)),
        (2.1, rep(2.0)),
    ]
    whole = hear(Cueing(), *events)
    for cut in range(len(events) + 1):
        first = Cueing()
        begun = hear(first, *events[:cut])
        second = Cueing(CueSettings(muted=True))
        second.state = first.state
        hear(first, (9.0, state(Motion.FALLING, 9.0)))  # the copy must not be tied to the original
        assert same(begun + hear(second, *events[cut:]), whole)


@pytest.mark.parametrize(
    ("phase", "mode", "wait_s"),
    [
        (Phase.DOWNSWING, Mode.CONCURRENT, 0.0),
        (Phase.BACKSWING, Mode.CONCURRENT, 0.0),
        (Phase.ADDRESS, Mode.CONCURRENT, WAIT_S),
        (Phase.THROUGH_SWING, Mode.CONCURRENT, WAIT_S),
        (Phase.DOWNSWING, Mode.AFTER_REP, WAIT_S),
    ],
)
def test_samples_may_wait_unless_they_may_decide_a_sound_in_motion(phase, mode, wait_s):
    cueing = Cueing()
    cueing.begin_block(Feedback(mode))
    assert cueing.may_wait_s == WAIT_S
    cueing.feed(TimedEvent(1.0, PhaseChanged(1.0, phase)))
    assert cueing.may_wait_s == wait_s
    cueing.set_muted(True)
    assert cueing.may_wait_s == WAIT_S
