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

import math
from dataclasses import dataclass

import numpy as np

from imufeedback.body.matrices import some
from imufeedback.records import Floats, Ints, Side

NEAR_POLE_COS2 = 0.05**2
"""Within 3° of ±90° adduction flexion and rotation are not defined; they are reported as NaN."""


def signs(joint: str, side: Side) -> Floats:
    """(3,) factors from raw (α, β, γ) to clinical (flexion, adduction, internal rotation)."""
    mirror = 1.0 if side is Side.RIGHT else -1.0
    return np.array([-1.0 if joint == "knee" else 1.0, mirror, mirror])


@dataclass(frozen=True, slots=True)
class Coordinates:
    """Raw angles, and what their rates are made of.

    The axes are e1 = proximal z, e2 = floating, e3 = distal y = (-sin α cos β, cos α cos β, sin β); e1 and e3 are not
    orthogonal: e1·e3 = sin β. Near the pole all but β and sin β are NaN.
    """

    raw: Floats
    """(..., 3) α, β, γ in radians."""
    sin_b: Floats
    cos_b: Floats
    across: Floats
    """(..., 2) the first two components of e3 over cos²β."""

    @classmethod
    def of(cls, R: Floats) -> Coordinates:
        """From (..., 3, 3) proximal→distal rotation."""
        entries = R.reshape(*R.shape[:-2], 9)
        sin_b = np.minimum(np.maximum(entries[..., 7], -1.0), 1.0)
        cos2_b = 1.0 - sin_b * sin_b
        raw = np.empty(R.shape[:-1])
        # α from -R[0, 1] and R[1, 1], γ from -R[2, 0] and R[2, 2]
        np.arctan2(-entries[..., 1:7:5], entries[..., 4::4], out=raw[..., ::2])
        np.arcsin(sin_b, out=raw[..., 1])
        near_pole = cos2_b < NEAR_POLE_COS2
        if some(near_pole):
            raw[near_pole, 0] = raw[near_pole, 2] = np.nan
            cos2_b = np.where(near_pole, np.nan, cos2_b)
        return cls(raw, sin_b, np.sqrt(cos2_b), entries[..., 1:5:3] / cos2_b[..., None])

    def at(self, steps: Ints) -> Coordinates:
        """At some of the steps, the last axis that all have."""
        raw, across = (one.take(steps, axis=-2) for one in (self.raw, self.across))
        return Coordinates(raw, self.sin_b.take(steps, axis=-1), self.cos_b.take(steps, axis=-1), across)

    def rates(self, turning: Floats) -> Floats:
        """(..., 3) in rad/s: ``matrix·turning``, written out.

        `turning` (..., 3) is the angular velocity of the distal segment relative to the proximal one, in proximal
        coordinates.
        """
        x, y = self.across[..., 0], self.across[..., 1]
        about_e3 = x * turning[..., 0] + y * turning[..., 1]
        out = np.empty(turning.shape)
        np.subtract(turning[..., 2], self.sin_b * about_e3, out=out[..., 0])
        np.multiply(y * turning[..., 0] - x * turning[..., 1], self.cos_b, out=out[..., 1])
        out[..., 2] = about_e3
        return out

    def matrix(self) -> Floats:
        """(..., 3, 3) J with ``d(α, β, γ)/dt = J·ω``; ω is the `turning` of `rates`."""
        J = np.zeros((*self.raw.shape, 3))
        # (e1 - sin β e3)/cos²β: its z component is 1
        J[..., 0, :2] = -self.sin_b[..., None] * self.across
        J[..., 0, 2] = 1.0
        J[..., 1, 0] = self.across[..., 1] * self.cos_b
        J[..., 1, 1] = -self.across[..., 0] * self.cos_b
        # (e3 - sin β e1)/cos²β: its z component is 0
        J[..., 2, :2] = self.across
        return J


def angles(R: Floats) -> Floats:
    """(..., 3, 3) proximal→distal rotation to (..., 3) raw (α, β, γ) in radians; near the pole NaN, β, NaN."""
    return Coordinates.of(R).raw


def flexion(x: float, y: float, z: float) -> float:
    """Raw α (rad) from the distal y in proximal coordinates: one column of R. NaN near the pole."""
    return math.nan if 1.0 - z * z < NEAR_POLE_COS2 else math.atan2(-x, y)


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
