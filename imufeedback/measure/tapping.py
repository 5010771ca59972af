"""Taps on the thighs of a virtual golfer, and what of recordings looks like taps."""

from __future__ import annotations

from collections.abc import Collection, Iterable, Iterator, Sequence
from dataclasses import dataclass, replace

import numpy as np

from imufeedback.commands import BeginBlock
from imufeedback.cues.answers import FAULT, GOOD
from imufeedback.live.lesson import LessonBlock
from imufeedback.measure.guided import TYPICAL, played
from imufeedback.pipeline import run
from imufeedback.records import Floats, Hand, Item, Mode, Role, Segment, SelfEstimate, Tapped
from imufeedback.synth.golfer import SEGMENTS, Golfer, TruthPose
from imufeedback.synth.player import Pace
from imufeedback.synth.script import HOLD_S, RETURN_S, Script, make_script

RING_HZ, DIES_S = 35.0, 0.012
"""A sensor on a strap that is hit swings so fast, and so long. Chosen; taps beside a rigid sensor (BROAD trial 24)
are over in 20 to 60 ms."""
PEAK_M_S2 = (25.0, 90.0)
"""Of a tap; the same recording has up to 150 beside the sensor. Chosen."""
STANDS_S = 3.0
"""After each rep."""


@dataclass(frozen=True, slots=True)
class Tap:
    """One touch of a finger."""

    t_s: float
    segment: Segment
    peak_m_s2: float
    direction: Floats
    """(3,) unit vector."""

    def acc_m_s2(self, t_s: Floats) -> Floats:
        """(N, 3) on top of what the sensor feels anyway."""
        after = np.clip(t_s - self.t_s, 0.0, 1.0)
        course = np.exp(-after / DIES_S) * np.sin(2 * np.pi * RING_HZ * after) * 2.3  # its first peak is about 1
        return np.outer(self.peak_m_s2 * course, self.direction)


class _TappedGolfer(Golfer):
    """A golfer whose thighs are tapped."""

    def __init__(self, golfer: Golfer, taps: Sequence[Tap]) -> None:
        super().__init__(golfer.player, golfer.plan)
        self._taps = taps

    def pose(self, t_s: Floats, segments: Collection[Segment] = SEGMENTS) -> TruthPose:
        pose = super().pose(t_s, segments)
        frames = dict(pose.frames)
        for tap in self._taps:
            if tap.segment in frames:
                frame = frames[tap.segment]
                felt = frame.acceleration_m_s2 + tap.acc_m_s2(t_s)
                frames[tap.segment] = replace(frame, acceleration_m_s2=felt)
        return replace(pose, frames=frames)


@dataclass(frozen=True, slots=True)
class Answered:
    """One rep whose thigh was tapped twice after it."""

    meant: str
    heard: str


def answered(seed: int, hand: Hand, reps: int = 4) -> Iterator[Answered]:
    """A lesson in which the player says by taps what he thinks of each rep, standing again after it."""
    script, meant = taps_after_reps(seed, hand, reps)
    block = BeginBlock("own call first", Role.SWINGS, Mode.NONE, estimate=True)
    told = [one for one in played([LessonBlock(block, reps)], script, model=TYPICAL) if isinstance(one, SelfEstimate)]
    heard = {one.rep: one.answer for one in told}
    for index, answer in meant.items():
        yield Answered(answer, heard.get(index, ""))


def taps_after_reps(seed: int, hand: Hand, reps: int) -> tuple[Script, dict[int, str]]:
    """Such a session, and what is meant, by rep."""
    rng = np.random.default_rng([seed, 43])
    script = make_script(hand=hand, pace=Pace.FULL if seed % 2 else Pace.SLOW, reps=reps, seed=seed, rest_s=STANDS_S)
    meant, taps = {}, []
    for truth in script.truth.reps:
        answer = (GOOD, FAULT)[int(rng.integers(2))]
        side = hand.trail if answer == GOOD else hand.lead
        first_s = truth.finish_s + HOLD_S + RETURN_S + rng.uniform(0.5, 0.8)
        for at_s in (first_s, first_s + rng.uniform(0.18, 0.5)):
            direction = rng.normal(size=3)
            peak = rng.uniform(*PEAK_M_S2)
            taps.append(Tap(at_s, Segment.thigh(side), peak, direction / np.linalg.norm(direction)))
        meant[truth.index] = answer
    return replace(script, golfer=_TappedGolfer(script.golfer, taps)), meant


def taps_in(items: Iterable[Item]) -> int:
    """Double taps that are found in a recording."""
    return sum(isinstance(one, Tapped) for one in run(items))
