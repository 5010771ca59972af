"""Joint coordinate system of hip and knee.

Flexion about the proximal z, internal rotation about the distal y, adduction about the floating axis between them
(Grood & Suntay, J Biomech Eng 1983;105:136-44; ISB: Wu et al., J Biomech 2002;35:543-8). With segment axes x anterior,
y up, z right for both legs this is ``R(proximal→distal) = Rz(α)·Rx(β)·Ry(γ)``, scipy's intrinsic ``'ZXY'``.

====================  =========  ========
positive as named     right leg  left leg
====================  =========  ========
flexion               +α         +α
adduction             +β         −β
internal rotation     +γ         −γ
====================  =========  ========

The knee uses the same order; its flexion is positive when the shank goes backward, so it is −α there.
Flexion is also the angle of the distal segment's long axis projected on the proximal sagittal plane, exactly, for
|adduction| < 90°: the thigh angle. The set is singular at ±90° of adduction only.
"""

from __future__ import annotations

import numpy as np

from imufeedback.records import Floats, Side

NEAR_POLE_COS = 0.05
"""Within 3° of ±90° adduction flexion and rotation are not defined; they are reported as NaN."""


def signs(joint: str, side: Side) -> Floats:
    """(3,) factors from raw (α, β, γ) to clinical (flexion, adduction, internal rotation)."""
    mirror = 1.0 if side is Side.RIGHT else -1.0
    return np.array([-1.0 if joint == "knee" else 1.0, mirror, mirror])


def angles(R: Floats) -> Floats:
    """(..., 3, 3) proximal→distal rotation to (..., 3) raw (α, β, γ) in radians; near the pole NaN, β, NaN."""
    out = np.empty((*R.shape[:-2], 3))
    out[..., 0] = np.arctan2(-R[..., 0, 1], R[..., 1, 1])
    out[..., 1] = np.arcsin(np.clip(R[..., 2, 1], -1.0, 1.0))
    out[..., 2] = np.arctan2(-R[..., 2, 0], R[..., 2, 2])
    near_pole = np.cos(out[..., 1]) < NEAR_POLE_COS
    out[near_pole, 0] = np.nan
    out[near_pole, 2] = np.nan
    return out


def rate_matrix(raw: Floats, R: Floats) -> Floats:
    """(..., 3, 3) J with ``d(α, β, γ)/dt = J·ω``.

    ω (rad/s) is the angular velocity of the distal segment relative to the proximal one, in proximal coordinates. The
    axes are e1 = proximal z, e2 = floating, e3 = distal y; e1 and e3 are not orthogonal: e1·e3 = sin β. Near the pole
    it is NaN, as the angles are.
    """
    sin_a, cos_a = np.sin(raw[..., 0]), np.cos(raw[..., 0])
    sin_b = np.sin(raw[..., 1])
    cos2_b = np.where(np.isnan(raw[..., 0]), np.nan, 1.0 - sin_b**2)
    e1 = np.zeros((*raw.shape[:-1], 3))
    e1[..., 2] = 1.0
    e2 = np.stack((cos_a, sin_a, np.zeros_like(sin_a)), axis=-1)
    e3 = R[..., :, 1]
    J = np.empty((*raw.shape[:-1], 3, 3))
    J[..., 0, :] = (e1 - sin_b[..., None] * e3) / cos2_b[..., None]
    J[..., 1, :] = e2
    J[..., 2, :] = (e3 - sin_b[..., None] * e1) / cos2_b[..., None]
    return J


def rotation_free_heading(proximal: Floats, distal: Floats) -> float:
    """Turn (rad) of the distal segment about the vertical that makes its internal rotation zero.

    `proximal`, `distal`: (3, 3) segment→earth, each earth with a heading of its own. γ = 0 where the distal x is
    perpendicular to the proximal z, which is ``A·cos δ + B·sin δ + C = 0``; of its two solutions the one that does not
    turn the segment back to front.
    """
    p, t = proximal[:, 2], distal[:, 0]
    A, B, C = p[0] * t[0] + p[1] * t[1], p[1] * t[0] - p[0] * t[1], p[2] * t[2]
    middle, half = np.arctan2(B, A), np.arccos(np.clip(-C / max(np.hypot(A, B), 1e-12), -1.0, 1.0))

    def forwardness(delta: float) -> float:
        z = distal[:, 2]
        c, s = np.cos(delta), np.sin(delta)
        return float(p[0] * (c * z[0] - s * z[1]) + p[1] * (s * z[0] + c * z[1]) + p[2] * z[2])

    return float(max((middle + half, middle - half), key=forwardness))
