"""Exact angles of the synthetic golfer as the stages see them, and what motion and rules say of those."""

from __future__ import annotations

import numpy as np

from imufeedback.motion import MotionStage
from imufeedback.records import (
    Angles,
    Floats,
    JointAngles,
    PelvisAngles,
    Rep,
    Side,
    StateChanged,
    Zeroed,
    frozen,
)
from imufeedback.synth.script import Script
from imufeedback.synth.truth import RepTruth

HZ = 200.0
BEFORE_S, AFTER_S = 1.0, 1.0


def angles(script: Script, t_s: Floats) -> Angles:
    """All angles at the instants ``t_s`` (N,), with error bars of nothing."""
    pose = script.golfer.pose(t_s, ())
    nothing, fine = frozen(np.zeros((len(t_s), 3))), frozen(np.ones((len(t_s), 3)), np.bool_)
    joints = [
        JointAngles(joint, side, frozen(t_s), frozen(value[side]), frozen(rate[side]), nothing, fine)
        for side in Side
        for joint, value, rate in (
            ("hip", pose.hip_rad, pose.hip_rate_rad_s),
            ("knee", pose.knee_rad, pose.knee_rate_rad_s),
        )
    ]
    pelvis = PelvisAngles(frozen(t_s), frozen(pose.pelvis_rad), frozen(pose.pelvis_rate_rad_s), nothing, fine)
    return Angles(frozen(t_s), pelvis, tuple(joints))


def around(script: Script, rep: RepTruth) -> Angles:
    """Exact angles from a second before a rep to one after it."""
    return angles(script, np.arange((rep.address_s - BEFORE_S) * HZ, (rep.finish_s + AFTER_S) * HZ) / HZ)


def judged(motion: MotionStage, whole: Angles) -> tuple[Rep | None, list[StateChanged]]:
    """What a fresh motion stage says of one rep, from a zeroing at the first instant on."""
    out = [*motion.feed(Zeroed(float(whole.t_s[0]), "address")), *motion.feed(whole), *motion.finish()]
    reps = [one for one in out if isinstance(one, Rep)]
    return (reps[0] if len(reps) == 1 else None), [one for one in out if isinstance(one, StateChanged)]
