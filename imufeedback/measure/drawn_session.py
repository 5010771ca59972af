"""Drawn reps as a session that sensors can be worn in: calibration movements, and the reps from address to finish."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from scipy.interpolate import CubicSpline

from imufeedback import resources
from imufeedback.measure.golfer import items
from imufeedback.measure.swingers import PACKET, TYPICAL
from imufeedback.pipeline import run
from imufeedback.records import Finding, Floats, Hand, Rep, Verdict
from imufeedback.synth.golfer import SEGMENTS, Golfer
from imufeedback.synth.grounded import TOP, RepCourses
from imufeedback.synth.plan import STANDING, Channel, MotionPlan, Piece, Posture, hold, move
from imufeedback.synth.profile import Profile
from imufeedback.synth.script import ADDRESS_S, BEND_S, HOLD_S, REST_S, RETURN_S, Script, Truth, make_script


@dataclass(frozen=True, slots=True)
class DrawnOutcome:
    """What the pipeline says of a session of drawn reps, in their order; None where no rep was found."""

    reps: list[Rep | None]
    faults: list[frozenset[str]]
    """Rules, of each."""


class _Course:
    """A smooth course through a drawn rep's instants, from rest to rest."""

    def __init__(self, t_s: Floats, values: Floats) -> None:
        self._spline = CubicSpline(t_s, values, bc_type="clamped")

    def value(self, x: Floats) -> Floats:
        return np.asarray(self._spline(x))

    def rate(self, x: Floats) -> Floats:
        return np.asarray(self._spline(x, 1))

    def accel(self, x: Floats) -> Floats:
        return np.asarray(self._spline(x, 2))


def with_sensors(moved: RepCourses, which: Sequence[int], stature_m: float, hand: Hand, seed: int) -> DrawnOutcome:
    """Some reps of one player, worn with typical sensors and soft tissue, judged by the built-in rules. The arms hang:
    without a forearm's sensor impact is estimated, as in `reps_of`."""
    script, tops_s = session(moved, which, stature_m, hand, seed)
    layout = resources.text("layouts", "lossless").replace("samples_per_packet = 10", f"samples_per_packet = {PACKET}")
    events = list(run(items(script, SEGMENTS, model=TYPICAL, layout_text=layout)))
    reps = [one for one in events if isinstance(one, Rep) and not one.void]
    found = [next((one for one in reps if abs(one.positions["top_s"] - top_s) < 0.2), None) for top_s in tops_s]
    wrong = [one for one in events if isinstance(one, Finding) and one.verdict is Verdict.FAULT]
    faults = [frozenset(one.rule for one in wrong if rep is not None and one.rep == rep.index) for rep in found]
    return DrawnOutcome(found, faults)


def session(
    moved: RepCourses, which: Sequence[int], stature_m: float, hand: Hand, seed: int
) -> tuple[Script, list[float]]:
    """The session, and the instants of the tops."""
    base = make_script(hand=hand, reps=0, seed=seed, height_m=stature_m)
    pieces, tops_s = list(base.golfer.plan.pieces), []
    for k in which:
        courses = _channels(moved, k, base.golfer.player.body.hip_height_m)
        address: Posture = {channel: float(values[0]) for channel, values in courses.items()}
        finish: Posture = {channel: float(values[-1]) for channel, values in courses.items()}
        bent_s = pieces[-1].end_s + BEND_S
        begin_s = bent_s + ADDRESS_S
        t_s = begin_s + moved.t_s[k]
        end_s = float(t_s[-1])
        profiles: dict[Channel, Profile] = {channel: _Course(t_s, values) for channel, values in courses.items()}
        pieces += [
            move(pieces[-1].end_s, bent_s, STANDING, address),
            hold(bent_s, begin_s, address),
            Piece(begin_s, end_s, profiles),
            hold(end_s, end_s + HOLD_S, finish),
            move(end_s + HOLD_S, end_s + HOLD_S + RETURN_S, finish, STANDING),
            hold(end_s + HOLD_S + RETURN_S, end_s + HOLD_S + RETURN_S + REST_S, STANDING),
        ]
        tops_s.append(float(t_s[TOP]))
    plan = MotionPlan(pieces)
    golfer = Golfer(base.golfer.player, plan)
    script = Script(hand, base.pace, seed, golfer, (), Truth(()), base.fit_windows, base.ready_s, plan.duration_s)
    return script, tops_s


def _channels(moved: RepCourses, k: int, hip_height_m: float) -> dict[Channel, Floats]:
    pelvis, lead, trail = moved.pelvis, moved.lead, moved.trail
    return {
        Channel.TURN: pelvis.turn[k],
        Channel.SIDE_TILT: pelvis.side[k],
        Channel.FORWARD_TILT: pelvis.forward[k],
        Channel.SWAY: pelvis.to_target_m[k],
        Channel.DEPTH: pelvis.ahead_m[k],
        Channel.HEIGHT: pelvis.height_m[k] - hip_height_m,
        Channel.TRAIL_FLEXION: trail.flexion[k],
        Channel.TRAIL_ADDUCTION: trail.adduction[k],
        Channel.TRAIL_ROTATION: trail.rotation[k],
        Channel.TRAIL_KNEE: trail.knee[k],
        Channel.LEAD_FLEXION: lead.flexion[k],
        Channel.LEAD_ADDUCTION: lead.adduction[k],
        Channel.LEAD_ROTATION: lead.rotation[k],
        Channel.LEAD_KNEE: lead.knee[k],
    }
