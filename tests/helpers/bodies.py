"""Bodies from words, and the aligned blocks that sensors on them would give.

The earth is z up and the player faces x: ahead is x, left is y. Segment axes are x anterior, y up, z right.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence

import numpy as np
from scipy.spatial.transform import Rotation

from imufeedback.records import (
    AlignedBlock,
    Angles,
    Command,
    Fit,
    Floats,
    Level,
    Segment,
    SegmentFit,
    frozen,
)

AHEAD, LEFT, UP = np.eye(3)
BACK, RIGHT, DOWN = -AHEAD, -LEFT, -UP

STANDING = np.column_stack((AHEAD, UP, RIGHT))
"""Segment→earth of every segment in quiet standing."""

WORN = (Segment.PELVIS, Segment.LEFT_THIGH, Segment.RIGHT_THIGH)
ALL = (*WORN, Segment.LEFT_SHANK, Segment.RIGHT_SHANK)
G = 9.81


def carry(start: Floats, towards: Floats, degrees: float) -> Rotation:
    """The rotation that carries one earth direction towards another, perpendicular one."""
    return Rotation.from_rotvec(np.cross(start, towards) * np.deg2rad(degrees))


def stretch(
    poses: Mapping[Segment, Floats],
    *,
    t_s: Floats,
    mounting: Mapping[Segment, Rotation] | None = None,
    heading_deg: Mapping[Segment, float] | float = 0.0,
    gyr: Mapping[Segment, Floats] | None = None,
    acc: Mapping[Segment, Floats] | None = None,
    rest: bool = False,
    ok: Mapping[Segment, Floats] | None = None,
    heading_sd_rad: Mapping[Segment, Floats] | float = 0.0,
) -> AlignedBlock:
    """What sensors report while the segments stand as `poses` say, (3, 3) or (N, 3, 3) segment→earth.

    `mounting` is segment→sensor; `heading_deg` how far each sensor's own earth is turned; `gyr` and `acc` are in
    segment axes.
    """
    n = len(t_s)
    mounting = mounting or {}
    segments = tuple(poses)
    q, g, a, fine, spread = [], [], [], [], []
    for one in segments:
        mount = mounting.get(one, Rotation.identity())
        turn = heading_deg.get(one, 0.0) if isinstance(heading_deg, Mapping) else heading_deg
        R_eb = np.broadcast_to(poses[one], (n, 3, 3))
        R_es = Rotation.from_euler("z", turn, degrees=True) * Rotation.from_matrix(R_eb) * mount.inv()
        q.append(R_es.as_quat(scalar_first=True))
        g.append(mount.apply(np.zeros((n, 3)) if gyr is None else np.array(gyr[one])))
        a.append(mount.apply(G * R_eb[:, 2, :]) if acc is None else mount.apply(np.array(acc[one])))
        fine.append(np.ones(n, dtype=bool) if ok is None else ok.get(one, np.ones(n, dtype=bool)))
        sd = heading_sd_rad.get(one, 0.0) if isinstance(heading_sd_rad, Mapping) else heading_sd_rad
        spread.append(np.broadcast_to(sd, n))
    shape = (n, len(segments))
    return AlignedBlock(
        segments=segments,
        t_s=frozen(t_s),
        q_es=frozen(np.stack(q, axis=1)),
        gyr_rad_s=frozen(np.stack(g, axis=1)),
        acc_m_s2=frozen(np.stack(a, axis=1)),
        rest=frozen(np.full(shape, rest), np.bool_),
        inclination_sd_rad=frozen(np.zeros(shape)),
        heading_sd_rad=frozen(np.stack(spread, axis=1)),
        ok=frozen(np.stack(fine, axis=1), np.bool_),
        saturated=frozen(np.zeros(shape), np.bool_),
    )


def true_fit(mounting: Mapping[Segment, Rotation], segments: Sequence[Segment], sd_rad: float = 0.0) -> Fit:
    """The fit that knows the mountings."""
    return Fit(
        "known",
        tuple(
            SegmentFit(
                one,
                frozen(mounting.get(one, Rotation.identity()).as_quat(scalar_first=True)),
                Level.GOOD,
                sd_rad,
                None,
            )
            for one in segments
        ),
    )


def command(verb: str, at_s: float = 0.0, **args: object) -> Command:
    return Command(round(at_s * 1e9), verb, args)


def degrees(angles: Angles, joint: str, side: object) -> Floats:
    """(N, 3) clinical angles of one joint."""
    return np.rad2deg(angles.joint(joint, side).angle_rad)  # type: ignore[arg-type]


def random_mounting(seed: int, segments: Sequence[Segment] = ALL) -> dict[Segment, Rotation]:
    """Sensors strapped on any way round."""
    turns = Rotation.random(len(segments), rng=np.random.default_rng(seed))
    return {one: turns[i] for i, one in enumerate(segments)}
