"""Sessions that begin with calibration movements as people perform them (`movements`), well done or spoiled."""

from __future__ import annotations

import numpy as np

from imufeedback.records import Hand
from imufeedback.synth.flaws import Flaw
from imufeedback.synth.golfer import Golfer
from imufeedback.synth.legs import address
from imufeedback.synth.movements import TAIL_S, Performing, Spoil, Style, performed
from imufeedback.synth.plan import STANDING, Channel, MotionPlan, Posture, move
from imufeedback.synth.player import Pace, make_player, rep_shape
from imufeedback.synth.script import ADDRESS_S, BEND_S, Script, Truth, around
from imufeedback.synth.swing import make_swing
from imufeedback.synth.truth import rep_truth


def make_performance(
    seed: int, *, hand: Hand = Hand.RIGHT, spoil: Spoil | None = None, reps: int = 0, pace: Pace = Pace.FULL
) -> Script:
    """One performance from the first still second on, well done or spoiled, and reps after it.

    LOOSE and OFF are well performed: what is wrong there is the sensor (`worn_badly` of the scoreboard). Its windows
    are those in which the player really does it.
    """
    style = Style.drawn(seed, hand)
    course = Performing(style)
    windows = performed(course, spoil)
    if spoil not in (None, Spoil.LOOSE):
        course.stand(TAIL_S)
    ready_s = course.now_s
    player = make_player(hand, pace, seed)
    rng = np.random.default_rng([seed, 22])
    swings, truths = [], []
    for index in range(reps):
        shape = rep_shape(player.shape, rng)
        begin_s = course.now_s
        course.pieces.append(move(begin_s, begin_s + BEND_S, STANDING, address(shape)))
        start_s = course.now_s
        swing = make_swing(shape, Flaw.NONE, start_s + ADDRESS_S)
        course.pieces += around(swing, start_s, 0.6)
        swings.append(swing)
        truths.append(rep_truth(index, start_s, swing))
    plan = MotionPlan(course.pieces)
    return Script(
        hand, pace, seed, Golfer(player, plan), tuple(swings), Truth(tuple(truths)), windows, ready_s, plan.duration_s
    )


def make_addresses(seed: int, count: int, *, hand: Hand = Hand.RIGHT) -> tuple[Script, list[float]]:
    """A good performance, then addresses as people take them, each a little different; every third one with a full
    swing. Also the instants, standing, before each address."""
    course = Performing(Style.drawn(seed, hand))
    windows = performed(course, None)
    ready_s = course.now_s
    player = make_player(hand, Pace.FULL, seed)
    rng = np.random.default_rng([seed, 26])
    before: list[float] = []
    for index in range(count):
        before.append(course.now_s)
        course.stand(1.0)
        there = address(player.shape) if index % 3 == 2 else _scattered(address(player.shape), rng)
        course.go(STANDING, there, BEND_S)
        if index % 3 == 2:
            start_s = course.now_s
            swing = make_swing(player.shape, Flaw.NONE, start_s + ADDRESS_S)
            course.pieces += around(swing, start_s, 0.3)
        else:
            course.stay(there, ADDRESS_S)
            course.go(there, STANDING, BEND_S)
    plan = MotionPlan(course.pieces)
    golfer = Golfer(player, plan)
    return Script(hand, Pace.FULL, seed, golfer, (), Truth(()), windows, ready_s, plan.duration_s), before


ADDRESS_SD_DEG = {
    Channel.FORWARD_TILT: 1.5,
    Channel.TRAIL_FLEXION: 1.5,
    Channel.LEAD_FLEXION: 1.5,
    Channel.TRAIL_ADDUCTION: 1.0,
    Channel.LEAD_ADDUCTION: 1.0,
    Channel.TRAIL_ROTATION: 1.5,
    Channel.LEAD_ROTATION: 1.5,
    Channel.TRAIL_KNEE: 3.0,
    Channel.LEAD_KNEE: 3.0,
}
"""From address to address. Chosen."""


def _scattered(address: Posture, rng: np.random.Generator) -> Posture:
    return {
        **address,
        **{
            channel: address.get(channel, 0.0) + float(np.deg2rad(sd) * rng.standard_normal())
            for channel, sd in ADDRESS_SD_DEG.items()
        },
    }
