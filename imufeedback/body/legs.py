"""A first guess of the pelvis' forward when it made no bow: the horizontal acceleration that it shares with the thighs.

`evidence.py` and `shared_joint.py` decide; this says from where they count.
"""

from __future__ import annotations

from collections.abc import Mapping

import numpy as np

from imufeedback.body.evidence import THIGHS
from imufeedback.body.low_pass import zero_phase
from imufeedback.body.matrices import from_q
from imufeedback.body.refusal import FitImpossible
from imufeedback.body.stretch import WindowSamples, paired
from imufeedback.records import Floats, Segment

HIP_LOW_PASS_HZ = 2.5
ROTATION_LOW_PASS_HZ = 6.0
HIP_ABOVE_SENSOR_M = 0.20
"""From a mid-thigh sensor to the hip centre: half of a 0.40 m thigh (from memory; common anthropometry)."""
PIECE_SAMPLES = 12


def pelvis_z(
    up: Floats,
    still: Mapping[Segment, WindowSamples],
    flex: Mapping[Segment, WindowSamples],
    legs: Mapping[Segment, Floats],
) -> Floats:
    """(3,) right of the pelvis in its sensor. `legs` (3, 3) segment to sensor of the thighs. Raises FitImpossible when
    there is none."""
    thighs = [segment for segment in THIGHS if segment in legs]
    if not thighs:
        raise FitImpossible(
            "pelvis: it hardly tipped and there is no thigh sensor to take its direction from – bow twice"
        )
    together = 0j
    for thigh in thighs:
        forward = from_q(still[thigh].q_es).mean(axis=0) @ legs[thigh][:, 0]
        of_pelvis, of_thigh = paired(flex[Segment.PELVIS], flex[thigh])
        pelvis = _horizontal(of_pelvis, np.zeros(3))
        hip = _horizontal(of_thigh, legs[thigh] @ np.array([0.0, HIP_ABOVE_SENSOR_M, 0.0]))
        together += complex(np.sum(hip * np.exp(-1j * np.arctan2(forward[1], forward[0])) * np.conj(pelvis)))
    heading = -np.angle(together)  # of "forward" in the pelvis sensor's own earth
    standing = from_q(still[Segment.PELVIS].q_es).mean(axis=0)
    forward_s = standing.T @ np.array([np.cos(heading), np.sin(heading), 0.0])
    z = np.cross(forward_s, up)
    out: Floats = z / np.linalg.norm(z)
    return out


def _horizontal(stretch: WindowSamples, arm_s: Floats) -> Floats:
    """(M,) horizontal acceleration of the point at `arm_s` from the sensor, as x + iy in the sensor's earth, of each
    piece around its mean and low-passed."""
    pieces = [one for one in stretch.pieces if one.stop - one.start > PIECE_SAMPLES]
    parts = [_of_piece(stretch.rows(one), arm_s) for one in pieces]
    return np.concatenate(parts) if parts else np.zeros(0, dtype=complex)


def _of_piece(piece: WindowSamples, arm_s: Floats) -> Floats:
    rate = zero_phase(piece.gyr_rad_s, ROTATION_LOW_PASS_HZ, piece.rate_hz)
    spin = np.gradient(rate, 1.0 / piece.rate_hz, axis=0)
    acc = piece.acc_m_s2 + np.cross(spin, arm_s) + np.cross(rate, np.cross(rate, arm_s))
    earth = zero_phase(np.einsum("nij,nj->ni", from_q(piece.q_es), acc), HIP_LOW_PASS_HZ, piece.rate_hz)
    flat = earth[:, 0] + 1j * earth[:, 1]
    centred: Floats = flat - flat.mean()
    return centred
