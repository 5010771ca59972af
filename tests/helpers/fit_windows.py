"""Stretches of players that act postures, as a calibration takes them, from ideal sensors strapped on anyhow."""

from __future__ import annotations

from collections.abc import Mapping
from itertools import pairwise

import numpy as np
from bodies import ALL, WORN
from scipy.spatial.transform import Rotation

from imufeedback.body.stretch import WindowSamples
from imufeedback.records import Fit, Hand, Segment
from imufeedback.synth.golfer import Golfer
from imufeedback.synth.plan import STANDING, Channel, MotionPlan, hold, move
from imufeedback.synth.player import Pace, make_player
from imufeedback.synth.sensors import PLACES_M, ImuPlace, measure, true_q_es

RATE_HZ = 100.0
HEADING = dict(zip(ALL, (20.0, -100.0, 170.0, 65.0, -35.0), strict=True))
"""Every sensor's earth is turned its own way."""


def stretch_of(golfer: Golfer, segment: Segment, mount: Rotation, window_s: tuple[float, float]) -> WindowSamples:
    """What an ideal sensor gives in a window."""
    place = ImuPlace(segment, np.array(PLACES_M[segment]), mount.as_quat(scalar_first=True))
    pose = golfer.pose(np.arange(*window_s, 1 / RATE_HZ), (segment,))
    gyr, acc = measure(pose, place)
    earth = Rotation.from_euler("z", HEADING[segment], degrees=True)
    q_es = (earth * Rotation.from_quat(true_q_es(pose, place), scalar_first=True)).as_quat(scalar_first=True)
    return WindowSamples(q_es, gyr, acc, RATE_HZ, window_s[0] + np.arange(len(q_es)) / RATE_HZ)


def stretches(golfer: Golfer, mounting: Mapping[Segment, Rotation], still, flex, segments=WORN):
    """Still and flexion stretches of all segments, and the whole from the one to the other; `flex` is one window or one
    by segment."""
    flex = flex if isinstance(flex, Mapping) else dict.fromkeys(segments, flex)
    whole = still[1] - 0.4, max(flex[one][1] for one in segments) + 0.3
    return (
        {one: stretch_of(golfer, one, mounting[one], still) for one in segments},
        {one: stretch_of(golfer, one, mounting[one], flex[one]) for one in segments},
        {one: stretch_of(golfer, one, mounting[one], whole) for one in segments},
    )


def errors_deg(found: Fit, mounting: Mapping[Segment, Rotation]) -> dict[Segment, float]:
    return {
        one.segment: np.rad2deg(
            (Rotation.from_quat(one.q_sb, scalar_first=True) * mounting[one.segment].inv()).magnitude()
        )
        for one in found.segments
    }


def by_segment(found: Fit):
    return {one.segment: one for one in found.segments}


def acted(*postures: tuple[float, Mapping[Channel, float]]) -> tuple[Golfer, tuple[float, float], tuple[float, float]]:
    """A player who stands for 4 s and then goes through postures; the still and the moving window."""
    pieces = [hold(0.0, 4.0, STANDING)]
    for (_, before), (seconds, after) in pairwise([(0.0, STANDING), *postures]):
        t = pieces[-1].end_s
        pieces.append(move(t, t + seconds, before, after))
    end = pieces[-1].end_s
    pieces.append(hold(end, end + 1.0, postures[-1][1]))
    return Golfer(make_player(Hand.RIGHT, Pace.SLOW, 1), MotionPlan(pieces)), (0.5, 3.5), (4.0, end)


def rad(**deg: float) -> dict[Channel, float]:
    return {Channel[name.upper()]: np.deg2rad(value) for name, value in deg.items()}


def striding(step_deg: float = 35.0, surge_m: float = 0.08):
    """Legs swing against each other under a pelvis that stays upright and surges forward and back, as in walking."""
    one = rad(trail_flexion=step_deg, lead_flexion=-10, trail_knee=30) | {Channel.DEPTH: surge_m}
    other = rad(trail_flexion=-10, lead_flexion=step_deg, lead_knee=30) | {Channel.DEPTH: -surge_m}
    return acted(*[(0.6, posture) for posture in [one, other] * 6])
