"""This project's own stages on the recordings with an optical reference: the same classes that run live."""

from __future__ import annotations

from collections.abc import Iterator

import numpy as np
from scipy.spatial.transform import Rotation

from imufeedback.body.joints import Joint
from imufeedback.body.links import Links
from imufeedback.fusion import Fusion
from imufeedback.measure.optics import JointTrial, Single, carried, first_heading
from imufeedback.records import AlignedBlock, Floats, ImuBlock, OrientationBlock, Segment, Side, frozen
from imufeedback.timing import Merger

BROAD_DELAY_S = 0.0045
"""How late the sensors of ``broad`` are against its cameras, beyond the middle of a sample: filters of the sensor, and
stamps. Found by shifting angular rates against each other; one figure for all trials. A layout states it as
``delay_s``; here the orientation is carried on by it, to compare at the cameras' stamps."""
BLOCK = 2
SEGMENTS = (Segment.PELVIS, Segment.RIGHT_THIGH)
NO_ARM = (0.0, 0.0, 0.0)
RIG = (Joint("hip", Side.RIGHT, *SEGMENTS, (NO_ARM, NO_ARM)),)
"""A ball joint of which nothing is known: the lever arms are learnt while it moves."""
RIG_ARM_SD_M = 0.15


def blocks(sensor: str, gyr: Floats, acc: Floats, rate_hz: float) -> Iterator[ImuBlock]:
    """Samples in packets of two, on an even time base."""
    step = 1.0 / rate_hz
    for begin in range(0, len(gyr), BLOCK):
        rows = slice(begin, min(begin + BLOCK, len(gyr)))
        n = rows.stop - begin
        yield ImuBlock(
            sensor,
            frozen((begin + np.arange(n)) * step),
            frozen(np.full(n, step)),
            frozen(gyr[rows]),
            frozen(acc[rows]),
            np.zeros(n, dtype=np.uint8),
        )


def oriented(single: Single) -> tuple[Rotation, list[OrientationBlock]]:
    """Sensor → earth at the cameras' stamps, and the fusion's own blocks."""
    fusion = Fusion(single.name, period_s=1.0 / single.rate_hz)
    out = [one for block in blocks(single.name, single.gyr, single.acc, single.rate_hz) for one in fusion.feed(block)]
    q_es = Rotation.from_quat(np.concatenate([one.q_es for one in out]), scalar_first=True)
    return carried(q_es, single.gyr, BROAD_DELAY_S), out


def aligned(pair: JointTrial) -> Iterator[AlignedBlock]:
    """Both sensors through fusion and merge."""
    names = ("first", "second")
    fusions = [Fusion(name, period_s=1.0 / pair.rate_hz) for name in names]
    merger = Merger(list(zip(names, SEGMENTS, strict=True)), grid_hz=pair.rate_hz)
    feeds = [blocks(name, g, a, pair.rate_hz) for name, g, a in zip(names, pair.gyr, pair.acc, strict=True)]
    for both in zip(*feeds, strict=True):
        for fusion, block in zip(fusions, both, strict=True):
            for one in fusion.feed(block):
                yield from merger.feed(one)
    yield from merger.finish()


def relative(pair: JointTrial, delay_s: float) -> tuple[Rotation, Floats]:
    """(N) second sensor → first at the reference's stamps, which are `delay_s` before the samples', and (N, 3) its
    standard deviations (rad) about the first sensor's axes. The heading between the two is given once, from the first
    second, as for the peers."""
    # the gyroscopes of this set were calibrated, and in ten minutes of shaking no turn is turned back
    links = Links(SEGMENTS, grid_hz=pair.rate_hz, joints=RIG, arm_sd_m=RIG_ARM_SD_M, gyr_matrix_sd=0.0)
    all_blocks = list(aligned(pair))
    n = int(pair.rate_hz)
    q_es = np.concatenate([one.q_es for one in all_blocks])
    one, two = (Rotation.from_quat(q_es[:n, i], scalar_first=True) for i in (0, 1))
    heading = first_heading(one, two, pair)
    identity = np.stack((np.eye(3), np.eye(3)))
    turns: list[Floats] = []
    sd: list[Floats] = []
    last = np.full((1, 3), np.nan)
    for block in all_blocks:
        run = links.run(block, identity)
        if not turns:
            run.zero(0, {Segment.PELVIS: 0.0, Segment.RIGHT_THIGH: heading})
        for _ in run.checks():
            pass  # nothing to zero: the heading was given
        seen = run.relative()
        turns.append(seen.R[0])
        # what held before the block, then what holds from each of `begins` on
        told = np.concatenate((last, np.sqrt(np.diagonal(seen.covariance[0], axis1=1, axis2=2))))
        sd.append(told[np.searchsorted(seen.begins, np.arange(len(block.t_s)), side="right")])
        last = told[-1:]
    second = Rotation.from_matrix(np.concatenate(turns))
    lead = [Rotation.from_rotvec(g[: len(second)] * delay_s) for g in pair.gyr]
    return lead[0].inv() * second * lead[1], np.concatenate(sd)
