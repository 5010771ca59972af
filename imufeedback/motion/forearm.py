"""The lead forearm's sensor: no joint hangs on it, but it feels the hit and the hand's reversal."""

from __future__ import annotations

import numpy as np

from imufeedback.records import AlignedBlock, Segment, SegmentMotion, frozen


def without_forearm(block: AlignedBlock) -> tuple[AlignedBlock, SegmentMotion | None]:
    """The block of all other segments, and what the forearm's sensor felt; None when none is worn."""
    if Segment.LEAD_FOREARM not in block.segments:
        return block, None
    at = block.segments.index(Segment.LEAD_FOREARM)
    keep = [i for i in range(len(block.segments)) if i != at]
    rest = AlignedBlock(
        tuple(block.segments[i] for i in keep),
        block.t_s,
        frozen(block.q_es[:, keep]),
        frozen(block.gyr_rad_s[:, keep]),
        frozen(block.acc_m_s2[:, keep]),
        frozen(block.rest[:, keep], np.bool_),
        frozen(block.inclination_sd_rad[:, keep]),
        frozen(block.heading_sd_rad[:, keep]),
        frozen(block.ok[:, keep], np.bool_),
        frozen(block.saturated[:, keep], np.bool_),
    )
    felt = SegmentMotion(
        Segment.LEAD_FOREARM,
        block.t_s,
        frozen(block.gyr_rad_s[:, at]),
        frozen(block.acc_m_s2[:, at]),
        frozen(block.ok[:, at], np.bool_),
    )
    return rest, felt
