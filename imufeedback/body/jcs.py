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

NEAR_POLE_COS2 = 0.05**2
"""Within 3° of ±90° adduction flexion and rotation are not defined; they are reported as NaN."""


def signs(joint: str, side: Side) -> Floats:
    """(3,) factors from raw (α, β, γ) to clinical (flexion, adduction, internal rotation)."""
    mirror = 1.0 if side is Side.RIGHT else -1.0
    return np.array([-1.0 if joint == "knee" else 1.0, mirror, mirror])


def angles(R: Floats) -> Floats:
    """(..., 3, 3) proximal→distal rotation to (..., 3) raw (α, β, γ) in radians; near the pole NaN, β, NaN."""
    out, *_ = _angles(R)
    return out


def flexion(e3: Floats) -> Floats:
    """(...) raw α from distal y in proximal coordinates (..., 3): one column of R. NaN near the pole."""
    out: Floats = np.where(1.0 - e3[..., 2] ** 2 < NEAR_POLE_COS2, np.nan, np.arctan2(-e3[..., 0], e3[..., 1]))
    return out


def angles_and_rates(R: Floats, turning: Floats) -> tuple[Floats, Floats]:
    """`angles`, and their rates (..., 3) in rad/s: ``rate_matrix(R)·turning``, written out.

    `turning` (..., 3) is the angular velocity of the distal segment relative to the proximal one, in proximal
    coordinates. NaN near the pole.
    """
    found, sin_b, across, cos_b = _angles(R)
    about_e3 = across[..., 0] * turning[..., 0] + across[..., 1] * turning[..., 1]
    rates = np.empty(turning.shape)
    rates[..., 0] = turning[..., 2] - sin_b * about_e3
    rates[..., 1] = (across[..., 1] * turning[..., 0] - across[..., 0] * turning[..., 1]) * cos_b
    rates[..., 2] = about_e3
    return found, rates


def _angles(R: Floats) -> tuple[Floats, Floats, Floats, Floats]:
    """Angles; sin β; the first two components of e3 over cos²β; cos β.

    The axes are e1 = proximal z, e2 = floating, e3 = distal y = (-sin α cos β, cos α cos β, sin β); e1 and e3 are not
    orthogonal: e1·e3 = sin β.
    """
    e3 = R[..., :, 1]
    sin_b = np.minimum(np.maximum(e3[..., 2], -1.0), 1.0)
    cos2_b = 1.0 - sin_b * sin_b
    out = np.empty(e3.shape)
    out[..., 0] = np.arctan2(-e3[..., 0], e3[..., 1])
    out[..., 1] = np.arcsin(sin_b)
    out[..., 2] = np.arctan2(-R[..., 2, 0], R[..., 2, 2])
    near_pole = cos2_b < NEAR_POLE_COS2
    if near_pole.any():
        out[near_pole, 0] = out[near_pole, 2] = np.nan
        cos2_b = np.where(near_pole, np.nan, cos2_b)
    return out, sin_b, e3[..., :2] / cos2_b[..., None], np.sqrt(cos2_b)


def rate_matrix(R: Floats) -> Floats:
    """(..., 3, 3) J with ``d(α, β, γ)/dt = J·ω``, from (..., 3, 3) proximal→distal; ω is the `turning` of
    `angles_and_rates`."""
    _, sin_b, across, cos_b = _angles(R)
    J = np.zeros((*R.shape[:-2], 3, 3))
    # (e1 - sin β e3)/cos²β: its z component is 1
    J[..., 0, :2] = -sin_b[..., None] * across
    J[..., 0, 2] = 1.0
    J[..., 1, 0] = across[..., 1] * cos_b
    J[..., 1, 1] = -across[..., 0] * cos_b
    # (e3 - sin β e1)/cos²β: its z component is 0
    J[..., 2, :2] = across
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
