"""Which way two neighbours face, from the joint that both share, as recordings come.

A stretch without gaps from standing to standing goes the way of `shared_hip.py`. Any other is taken piece by piece. A
piece that touches standing knows how both sensors stood: its filter's orientations serve, and the errors of both tilts
and their growth are unknown too. Of a piece after a gap nothing is known about how its headings go on from standing.
The acceleration of the joint says how the two sensors stand to each other in the piece itself; and since a hip or a
knee turns little about its long axis, the right sides of both segments point nearly the same way. No heading is needed
for that, and none is trusted.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from imufeedback.body.facing import ANGLES, ROBUST, STEP_RAD, STEPS, by_difference
from imufeedback.body.joint_problem import (
    GRID,
    HEADINGS,
    Problem,
    SensorResidual,
    Shared,
    arm_prior,
    circular,
    inflation,
    seen,
)
from imufeedback.body.matrices import from_q
from imufeedback.body.relevel import touches
from imufeedback.body.shared_hip import ends_as_it_began, shared_hip, unknown
from imufeedback.body.stretch import OFFSET_SD_M_S2, WindowSamples, paired
from imufeedback.records import Floats

PIECE_S = 0.3
"""Shorter pieces say nothing: a foot strike is as long. Chosen."""
LEAST_S = 0.6
TILT_SD_RAD, LOST_TILT_SD_RAD = float(np.deg2rad(1.5)), float(np.deg2rad(4.0))
"""Of a tilt: the filter's as it runs; of a piece by itself, where a change of speed by 0.5 m/s in 0.7 s tips it so."""
GROWTH_SD_RAD_S = float(np.deg2rad(0.1))
JOINT_SD_RAD = float(np.deg2rad(2.0))
"""What the shared joint itself misses (soft tissue, a hip that is no point): both forwards are that unsure."""
SET_SD_RAD, EACH_SD_RAD = float(np.deg2rad(15.0)), float(np.deg2rad(10.0))
"""Turn of a hip or knee about its long axis against standing: how the feet were set in the gap, in common for all
pieces, and in each of them. Hips turn by ±40° at most (from memory); chosen."""
_SETS = np.arange(-2, 3) * 10
"""Turns in common that are tried, steps of the circle: by 15°."""
_Y_UP = np.array([[1.0, 0.0, 0.0], [0.0, 0.0, 1.0], [0.0, -1.0, 0.0]])
"""Earth with z up to one with y up, as segments have it."""


@dataclass(frozen=True, slots=True)
class JointSide:
    """One of the two sensors."""

    still: WindowSamples
    """In quiet standing."""
    whole: WindowSamples
    """From standing to after the movements, or the other way round."""
    R: Floats
    """(3, 3) coordinates in the segment to the sensor."""
    arm_m: Floats
    """(3,) from the sensor to the joint, segment axes."""


def shared_joint(p: JointSide, d: JointSide) -> Shared | None:
    """What proximal and distal sensor show together; None when they have too little in common."""
    whole_p, whole_d = paired(p.whole, d.whole)
    if len(whole_p.t_s) < LEAST_S * whole_p.rate_hz:
        return None
    begins_standing = p.still.t_s[0] <= whole_p.t_s[0] <= p.still.t_s[-1]
    if begins_standing and ends_as_it_began(whole_p) and ends_as_it_began(whole_d):
        turn, sd, curve, offset, spread = shared_hip(whole_p, whole_d, p.R, d.R, p.arm_m, d.arm_m)
        energy = _of_turn(curve)
        return Shared(turn, sd, offset, spread, energy, float(np.ptp(curve)))
    return _by_pieces(whole_p, whole_d, p, d)


def _by_pieces(whole_p: WindowSamples, whole_d: WindowSamples, p: JointSide, d: JointSide) -> Shared | None:
    unbroken, later = np.zeros(GRID), []
    pieces = [one for one in whole_p.pieces if one.stop - one.start >= PIECE_S * whole_p.rate_hz]
    for piece in pieces:
        piece_p, piece_d = whole_p.rows(piece), whole_d.rows(piece)
        if touches(piece_p, p.still):
            sides = _from_standing(piece_p, p), _from_standing(piece_d, d)
            unbroken += _energy(*sides, TILT_SD_RAD)
        else:
            curve = circular(_energy(_level(piece_p, p), _level(piece_d, d), LOST_TILT_SD_RAD), ANGLES)
            curve = blurred(np.clip(curve, 0.0, ROBUST), EACH_SD_RAD)
            later.append((curve, _apart(piece_p, piece_d, p, d)))
    if not pieces:
        return None
    energy = _of_turn(unbroken)
    if later:
        sets = [sum(curve[(at + k) % STEPS] for curve, at in later) + (k * STEP_RAD / SET_SD_RAD) ** 2 for k in _SETS]
        energy = energy + np.min(sets, axis=0)
    energy = energy - energy.min()
    turn, sd = _least(energy)
    (zero_p, spread_p), (zero_d, spread_d) = (unknown(one.whole.offset_sd_m_s2) for one in (p, d))
    return Shared(turn, sd, (zero_p, zero_d), (spread_p, spread_d), energy, float(np.ptp(unbroken)))


def blurred(energy: Floats, sd_rad: float) -> Floats:
    """(STEPS,) least over what may lie in between."""
    off = np.minimum(np.arange(STEPS), STEPS - np.arange(STEPS)) * STEP_RAD
    shifts = np.flatnonzero(off < 4 * sd_rad)
    out: Floats = np.min([np.roll(energy, int(k)) + (off[k] / sd_rad) ** 2 for k in shifts], axis=0)
    return out


def _of_turn(curve: Floats) -> Floats:
    """(STEPS, STEPS) from (GRID,) energies of the distal's turn against the proximal one as fitted."""
    # who is turned to the left now, is to be turned to the right
    by_turn = np.maximum(circular(curve, -ANGLES), 0.0)
    return by_difference(blurred(by_turn, JOINT_SD_RAD))


def _least(energy: Floats) -> tuple[float, float]:
    """The distal's turn against the proximal one that fits best, and its standard deviation."""
    rows = np.arange(STEPS)
    curve = np.array([energy[rows, (rows + k) % STEPS].min() for k in range(STEPS)])
    at = int(np.argmin(curve))
    around = np.arange(-4, 5)
    bend = float(np.polyfit(around * STEP_RAD, curve[(at + around) % STEPS], 2)[0])
    turn = -at * STEP_RAD
    return (turn + np.pi) % (2 * np.pi) - np.pi, min(1.0 / np.sqrt(max(bend, 1e-3)), np.pi)


def _energy(p: SensorResidual, d: SensorResidual, tilt_sd_rad: float) -> Floats:
    """(GRID,) -2 log likelihood, of a scale that heeds what is left unexplained."""
    prior = np.r_[arm_prior(OFFSET_SD_M_S2), np.repeat([tilt_sd_rad**-2, GROWTH_SD_RAD_S**-2], 2)]
    problem = Problem(p, d, np.tile(prior, 2))
    costs = problem.costs(HEADINGS)
    low = float(costs.min())
    return (costs - low) / inflation(low, problem.rows)


def _from_standing(piece: WindowSamples, side: JointSide) -> SensorResidual:
    u, _, v = np.linalg.svd((from_q(side.still.q_es) @ side.R).mean(axis=0))
    S = (u @ v).T @ from_q(piece.q_es) @ side.R
    return _seen(piece, side, S, side.still.acc_m_s2.mean(axis=0) @ side.R, np.eye(3))


def _level(piece: WindowSamples, side: JointSide) -> SensorResidual:
    """With no heading: both feel gravity, so it goes out of the difference."""
    return _seen(piece, side, _Y_UP @ from_q(piece.q_es) @ side.R, np.zeros(3), np.zeros((3, 3)))


def _seen(piece: WindowSamples, side: JointSide, S: Floats, standing: Floats, of_standing: Floats) -> SensorResidual:
    rate, acc = piece.gyr_rad_s @ side.R, piece.acc_m_s2 @ side.R
    felt = (S @ acc[..., None])[..., 0]
    tipped = np.stack([np.cross(e, felt) for e in (np.eye(3)[0], np.eye(3)[2])], axis=-1)
    since_s = (np.arange(len(acc)) / piece.rate_hz)[:, None, None]
    more = np.concatenate((tipped, tipped * since_s), axis=-1)
    return seen(S, rate, acc, standing, of_standing, side.arm_m, more, piece.rate_hz)


def _apart(piece_p: WindowSamples, piece_d: WindowSamples, p: JointSide, d: JointSide) -> np.ndarray:
    """(STEPS, STEPS) number of the turn between both level frames at which both right sides point the same way, by the
    facing of each."""
    (x_p, z_p), (x_d, z_d) = _flat(piece_p, p), _flat(piece_d, d)
    # the person may turn: both are counted from where the proximal one faces
    back = np.exp(-1j * np.angle(z_p))
    c, s = np.cos(ANGLES), np.sin(ANGLES)
    of_p, of_d = (np.angle(c * (back * z).mean() + s * (back * x).mean()) for x, z in ((x_p, z_p), (x_d, z_d)))
    at: np.ndarray = np.round((of_p[:, None] - of_d[None, :] + np.pi) / STEP_RAD).astype(np.int64) % STEPS
    return at


def _flat(piece: WindowSamples, side: JointSide) -> tuple[np.ndarray, np.ndarray]:
    """(N,) forward and right of a segment as guessed, their level parts; complex, with turns to the left positive."""
    S = _Y_UP @ from_q(piece.q_es) @ side.R
    level = S[:, 0] - 1j * S[:, 2]
    return level[:, 0], level[:, 2]
