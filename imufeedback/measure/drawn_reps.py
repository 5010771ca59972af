"""Drawn reps as the pipeline would measure them without any sensor error, and their features."""

from __future__ import annotations

from collections.abc import Iterator

import numpy as np

from imufeedback.motion.falling import falling
from imufeedback.motion.features import features
from imufeedback.motion.positions import positions_of
from imufeedback.motion.track import Col
from imufeedback.records import Floats, Rep
from imufeedback.rules import RuleSet
from imufeedback.synth.drawn import Drawn, players
from imufeedback.synth.grounded import TOP, RepCourses, moves

THIGH_SD, TILT_SD, ROTATION_SD = np.deg2rad([2.4, 1.2, 3.0]).tolist()
"""What the pipeline says of typical sensors (medians of 80 of these players); angles themselves are exact."""


def standing(rng: np.random.Generator, count: int) -> Drawn:
    """`count` players whose legs reach the ground in their typical rep; others are drawn again."""
    kept: list[Drawn] = []
    found = 0
    while found < count:
        drawn = players(rng, count)
        drawn = drawn.chosen(np.flatnonzero(moves(drawn).stands))
        kept.append(drawn)
        found += len(drawn)
    return joined(kept).chosen(np.arange(count))


def joined(parts: list[Drawn]) -> Drawn:
    """One after the other."""
    names = Drawn.__dataclass_fields__
    return Drawn(*(np.concatenate([getattr(one, name) for one in parts]) for name in names))


def reps_of(made: RepCourses, rules: RuleSet) -> Iterator[Rep]:
    """Every drawn rep, with its marks and features as the motion stage finds them; pelvis and thighs are worn, and the
    shanks too."""
    target = float(np.deg2rad(rules.live.target_deg))
    for index, track in enumerate(_tracks(made)):
        t = track[:, Col.T]
        marked, estimated = positions_of(track, float(t[TOP]), float(t[-1]))
        fall = falling(track[t >= marked["top_s"]], rules.live.min_slope, target)
        yield Rep(index, rules.name, float(t[0]), float(t[-1]), marked, estimated, features(track, marked, fall))


def _tracks(made: RepCourses) -> Iterator[Floats]:
    """(T, `len(Col)`) rows of each rep; turn and rotation count from the address."""
    pelvis, lead, trail = made.pelvis, made.lead, made.trail
    columns = {
        Col.TURN: pelvis.turn,
        Col.SIDE_TILT: pelvis.side,
        Col.FORWARD_TILT: pelvis.forward,
        Col.TRAIL_THIGH: trail.flexion,
        Col.LEAD_THIGH: lead.flexion,
        Col.TRAIL_ROTATION: trail.rotation - trail.rotation[:, :1],
        Col.LEAD_ROTATION: lead.rotation - lead.rotation[:, :1],
        Col.TRAIL_ADDUCTION: trail.adduction,
        Col.LEAD_ADDUCTION: lead.adduction,
        Col.TRAIL_KNEE: trail.knee,
        Col.LEAD_KNEE: lead.knee,
    }
    rates = {
        Col.TURN_RATE: Col.TURN,
        Col.SIDE_TILT_RATE: Col.SIDE_TILT,
        Col.TRAIL_THIGH_RATE: Col.TRAIL_THIGH,
        Col.LEAD_THIGH_RATE: Col.LEAD_THIGH,
        Col.TRAIL_ROTATION_RATE: Col.TRAIL_ROTATION,
        Col.LEAD_ROTATION_RATE: Col.LEAD_ROTATION,
        Col.LEAD_KNEE_RATE: Col.LEAD_KNEE,
    }
    for k in range(len(made.t_s)):
        out = np.zeros((made.t_s.shape[1], len(Col)))
        out[:, Col.T] = made.t_s[k]
        for column, values in columns.items():
            out[:, column] = values[k]
        for column, of in rates.items():
            out[:, column] = np.gradient(out[:, of], out[:, Col.T])
        out[:, [Col.THIGH_SD, Col.LEAD_THIGH_SD]] = THIGH_SD
        out[:, Col.TILT_SD], out[:, Col.ROTATION_SD] = TILT_SD, ROTATION_SD
        yield out
