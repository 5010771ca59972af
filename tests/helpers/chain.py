"""Samples of three sensors on a body through fusion, merge and body: what is shown of a fault in the samples."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace

import numpy as np
from bodies import GRID_HZ, STANDING, WORN, linked_forces, true_fit
from scipy.spatial.transform import Rotation

from imufeedback.body import Body
from imufeedback.commands import Asked, SetFit
from imufeedback.fusion import Fusion
from imufeedback.records import Angles, Bools, Floats, Hand, ImuBlock, Segment, Side, Zeroed, frozen
from imufeedback.timing import Merger

Samples = Mapping[Segment, ImuBlock]


@dataclass(frozen=True)
class Shown:
    """Angles over time, in degrees."""

    t_s: Floats
    hip: dict[Side, Floats]
    """(N, 3)"""
    sd: dict[Side, Floats]
    ok: dict[Side, Bools]
    pelvis: Floats
    pelvis_sd: Floats
    pelvis_ok: Bools
    zeroed: list[Zeroed]


def standing_then(rates: Mapping[Segment, Floats]) -> tuple[dict[Segment, Floats], dict[Segment, ImuBlock]]:
    """True poses (N, 3, 3) and samples of segments that turn at `rates` (N, 3), rad/s in segment axes, from standing.

    Between two samples a segment turns by the mean of their rates. Sensors sit on their segments unturned, and the
    joints hold the body together.
    """
    poses = {}
    for one, rate in rates.items():
        steps = Rotation.from_rotvec(0.5 * (rate[1:] + rate[:-1]) / GRID_HZ)
        turned = [Rotation.from_matrix(STANDING)]
        for step in steps:
            turned.append(turned[-1] * step)
        poses[one] = Rotation.concatenate(turned).as_matrix()
    forces = linked_forces(poses, rates)
    n = len(rates[Segment.PELVIS])
    blocks = {
        one: ImuBlock(
            str(one),
            frozen(np.arange(n) / GRID_HZ),
            frozen(np.full(n, 1 / GRID_HZ)),
            frozen(rates[one]),
            frozen(forces[one]),
            np.zeros(n, dtype=np.uint8),
        )
        for one in rates
    }
    return poses, blocks


def half_sine(seconds: float, peak_rad_s: float, *, at_s: float, lasting_s: float) -> Floats:
    """(N,) rate of a turn that begins and ends at rest."""
    t_s = np.arange(round(seconds * GRID_HZ)) / GRID_HZ
    inside = (t_s >= at_s) & (t_s <= at_s + lasting_s)
    return np.where(inside, peak_rad_s * np.sin(np.pi * (t_s - at_s) / lasting_s), 0.0)


def kept(block: ImuBlock, keep: Bools) -> ImuBlock:
    """The samples that were not lost; the step of the first one after a loss spans it."""
    at = np.flatnonzero(keep)
    steps = np.diff(block.t_s[at], prepend=block.t_s[at[0]] - 1 / GRID_HZ)
    arrays = (block.t_s[at], steps, block.gyr_rad_s[at], block.acc_m_s2[at], block.flags[at])
    return ImuBlock(block.sensor, *arrays)


def changed(block: ImuBlock, **arrays: np.ndarray) -> ImuBlock:
    return replace(block, **arrays)


def shown(
    samples: Samples, *, size: int = 4, hand: Hand = Hand.RIGHT, filter_name: str = "vqf", segments: Sequence = WORN
) -> Shown:
    """Samples in packets of `size`, in the order of their times; fitted before, zeroed by standing still."""
    fusions = {one: Fusion(str(one), filter_name=filter_name, period_s=1 / GRID_HZ) for one in segments}
    merger = Merger([(str(one), one) for one in segments], grid_hz=GRID_HZ)
    body = Body(segments, hand=hand, grid_hz=GRID_HZ)
    body.feed(Asked(0.0, SetFit.of(true_fit({}, segments))))
    packets = [
        (one, ImuBlock(str(one), *(getattr(block, name)[k : k + size] for name in _ARRAYS)))
        for one, block in samples.items()
        for k in range(0, len(block.t_s), size)
    ]
    packets.sort(key=lambda pair: pair[1].t_s[-1])
    aligned = [
        block for one, packet in packets for oriented in fusions[one].feed(packet) for block in merger.feed(oriented)
    ]
    events = [event for block in [*aligned, *merger.finish()] for event in body.feed(block)]
    return _joined([one for one in events if isinstance(one, Angles)], [e for e in events if isinstance(e, Zeroed)])


_ARRAYS = ("t_s", "dt_s", "gyr_rad_s", "acc_m_s2", "flags")


def _joined(blocks: list[Angles], zeroed: list[Zeroed]) -> Shown:
    hips = {side: [one.joint("hip", side) for one in blocks] for side in Side}
    return Shown(
        np.concatenate([one.t_s for one in blocks]),
        {side: np.degrees(np.concatenate([one.angle_rad for one in many])) for side, many in hips.items()},
        {side: np.degrees(np.concatenate([one.sd_rad for one in many])) for side, many in hips.items()},
        {side: np.concatenate([one.ok.all(axis=1) for one in many]) for side, many in hips.items()},
        np.degrees(np.concatenate([one.pelvis.angle_rad for one in blocks])),
        np.degrees(np.concatenate([one.pelvis.sd_rad for one in blocks])),
        np.concatenate([one.pelvis.ok.all(axis=1) for one in blocks]),
        zeroed,
    )
