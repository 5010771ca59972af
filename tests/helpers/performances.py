"""Aligned blocks of people who fit their sensors, as the body stage is given them; and what it makes of them."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import replace
from functools import cache

import numpy as np
from scipy.spatial.transform import Rotation

from imufeedback.body import Body
from imufeedback.commands import Asked, BeginFit
from imufeedback.measure.fitters import performance
from imufeedback.pipeline import Pipeline
from imufeedback.records import AlignedBlock, Angles, Segment, Side, frozen
from imufeedback.synth.movements import Spoil
from imufeedback.synth.sensors import WORN

GRID_HZ = 200.0
BEGIN = Asked(0.0, BeginFit())


@cache
def blocks(seed: int, spoil: Spoil | None = None, reps: int = 0) -> tuple[AlignedBlock, ...]:
    one, pipeline, out = performance(seed, spoil=spoil, reps=reps), Pipeline(), []
    for number, item in enumerate(one.items()):
        if number == 1:
            pipeline._rooms.worn.body.feed = lambda block: [out.append(block), []][1]  # type: ignore
        pipeline.feed(item)
    return tuple(block for block in out if isinstance(block, AlignedBlock))


def stage(seed: int, segments=WORN) -> Body:
    return Body(segments, hand=performance(seed).script.hand, grid_hz=GRID_HZ)


def fed(body: Body, items: Iterable[AlignedBlock | Asked]):
    return [event for item in items for event in body.feed(item)]


def hips(events) -> np.ndarray:
    """(N, 6) hip angles of both sides, degrees."""
    parts = [
        np.column_stack([one.joint("hip", side).angle_rad for side in Side])
        for one in events
        if isinstance(one, Angles)
    ]
    return np.rad2deg(np.concatenate(parts))


def remounted(block: AlignedBlock, segment: Segment, turn: Rotation) -> AlignedBlock:
    """The same motion with one sensor put on otherwise."""
    i = block.segments.index(segment)
    q, gyr, acc = block.q_es.copy(), block.gyr_rad_s.copy(), block.acc_m_s2.copy()
    q[:, i] = (Rotation.from_quat(q[:, i], scalar_first=True) * turn.inv()).as_quat(scalar_first=True)
    gyr[:, i], acc[:, i] = turn.apply(gyr[:, i]), turn.apply(acc[:, i])
    return replace(block, q_es=frozen(q), gyr_rad_s=frozen(gyr), acc_m_s2=frozen(acc))


def headed(block: AlignedBlock, heading_deg: float) -> AlignedBlock:
    """The same motion facing another way."""
    turn = Rotation.from_euler("z", heading_deg, degrees=True)
    flat = Rotation.from_quat(block.q_es.reshape(-1, 4), scalar_first=True)
    return replace(block, q_es=frozen((turn * flat).as_quat(scalar_first=True).reshape(block.q_es.shape)))


def flipped(block: AlignedBlock) -> AlignedBlock:
    """Every seventh quaternion with its other sign."""
    sign = np.where(np.rint(block.t_s * GRID_HZ).astype(int) % 7 == 0, -1.0, 1.0)
    return replace(block, q_es=frozen(block.q_es * sign[:, None, None]))
