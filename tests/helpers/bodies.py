"""Bodies from words, and the aligned blocks that sensors on them would give.

The earth is z up and the player faces x: ahead is x, left is y. Segment axes are x anterior, y up, z right.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass

import numpy as np
from scipy.spatial.transform import Rotation

from imufeedback.body import Body
from imufeedback.body.joints import JOINTS
from imufeedback.commands import Asked, Malformed, parse
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


GRID_HZ = 200.0
MOVE_S = 0.4
"""How long a movement from one pose to the next takes."""


def times(begin_s: float, n: int) -> Floats:
    return begin_s + np.arange(n) / GRID_HZ


def movement(
    begin: Mapping[Segment, Floats], end: Mapping[Segment, Floats], seconds: float = MOVE_S
) -> tuple[dict[Segment, Floats], dict[Segment, Floats]]:
    """Every segment turns about one axis of its own from a pose to the next: (N, 3, 3) poses and (N, 3) angular rates
    in segment axes, still in the first and the last of them.

    Between two samples it turns by the mean of their rates, so that the rates tell the poses exactly.
    """
    speed = np.sin(np.pi * np.arange(round(seconds * GRID_HZ) + 1) / round(seconds * GRID_HZ)) ** 2
    part = np.concatenate(([0.0], np.cumsum(0.5 * (speed[1:] + speed[:-1]))))
    speed, part = speed / part[-1], part / part[-1]
    poses, rates = {}, {}
    for one in begin:
        turn = (Rotation.from_matrix(begin[one]).inv() * Rotation.from_matrix(end[one])).as_rotvec()
        poses[one] = begin[one] @ Rotation.from_rotvec(np.outer(part, turn)).as_matrix()
        rates[one] = np.outer(speed, turn) * GRID_HZ
    return poses, rates


def linked_forces(poses: Mapping[Segment, Floats], rates: Mapping[Segment, Floats]) -> dict[Segment, Floats]:
    """(N, 3) specific force in segment axes of sensors at their usual places, on segments that their joints hold
    together; the pelvis sensor turns on its spot, and nothing moves before and after."""

    def about(one: Segment, arm: Sequence[float]) -> Floats:
        """Acceleration, in earth axes, of a point that turns with a segment about its sensor."""
        padded = np.vstack((np.zeros(3), rates[one], np.zeros(3)))
        spin = (padded[2:] - padded[:-2]) * (GRID_HZ / 2)
        lever = np.cross(spin, arm) + np.cross(rates[one], np.cross(rates[one], arm))
        out: Floats = np.einsum("nij,nj->ni", poses[one], lever)
        return out

    accelerated = {Segment.PELVIS: np.zeros_like(rates[Segment.PELVIS])}
    for joint in sorted(JOINTS, key=lambda one: one.name):  # hips, then knees
        if joint.distal in poses:
            centre = accelerated[joint.proximal] + about(joint.proximal, joint.arms_m[0])
            accelerated[joint.distal] = centre - about(joint.distal, joint.arms_m[1])
    return {one: np.einsum("nji,nj->ni", R, accelerated[one] + G * UP) for one, R in poses.items()}


@dataclass
class Wearer:
    """A body stage and what its wearer did last: each pose is reached by a movement that the sensors feel."""

    stage: Body
    poses: dict[Segment, Floats]
    mounting: Mapping[Segment, Rotation]
    heading_deg: Mapping[Segment, float] | float

    def feed(self, item: AlignedBlock | Asked) -> list:
        return self.stage.feed(item)

    def stretch(self, poses: Mapping[Segment, Floats], t_s: Floats, **kwargs: object) -> AlignedBlock:
        """As worn here."""
        return stretch(poses, t_s=t_s, mounting=self.mounting, heading_deg=self.heading_deg, **kwargs)  # type: ignore[arg-type]

    def moving(self, poses: Mapping[Segment, Floats], at_s: float) -> AlignedBlock:
        """The movement from the last pose to this one, which is reached just before `at_s`."""
        way, rates = movement(self.poses, poses)
        n = len(rates[Segment.PELVIS])
        self.poses = dict(poses)
        return self.stretch(way, at_s + (np.arange(n) - n) / GRID_HZ, gyr=rates, acc=linked_forces(way, rates))

    def hold(self, poses: Mapping[Segment, Floats], at_s: float, *, seconds: float = 0.1, **kwargs: object) -> list:
        """What the stage says of holding a pose from `at_s` on, after having moved into it."""
        if any(not np.array_equal(poses[one], self.poses[one]) for one in poses):
            self.feed(self.moving(poses, at_s))
        return self.feed(self.stretch(poses, times(at_s, round(seconds * GRID_HZ)), **kwargs))


def true_fit(
    mounting: Mapping[Segment, Rotation],
    segments: Sequence[Segment],
    sd_axes_rad: tuple[float, float, float] | None = None,
) -> Fit:
    """The fit that knows the mountings."""
    return Fit(
        "known",
        tuple(
            SegmentFit(
                one,
                frozen(mounting.get(one, Rotation.identity()).as_quat(scalar_first=True)),
                Level.GOOD,
                0.0 if sd_axes_rad is None else float(np.sqrt(np.mean(np.square(sd_axes_rad)))),
                None,
                sd_axes_rad=None if sd_axes_rad is None else frozen(sd_axes_rad),
            )
            for one in segments
        ),
    )


def command(verb: str, at_s: float = 0.0, **args: object) -> Asked:
    """As the pipeline hands it on."""
    parsed = parse(Command(0, verb, args))
    assert parsed is not None
    assert not isinstance(parsed, Malformed), str(parsed)
    return Asked(at_s, parsed)


def degrees(angles: Angles, joint: str, side: object) -> Floats:
    """(N, 3) clinical angles of one joint."""
    return np.rad2deg(angles.joint(joint, side).angle_rad)  # type: ignore[arg-type]


def random_mounting(seed: int, segments: Sequence[Segment] = ALL) -> dict[Segment, Rotation]:
    """Sensors strapped on any way round."""
    turns = Rotation.random(len(segments), rng=np.random.default_rng(seed))
    return {one: turns[i] for i, one in enumerate(segments)}
