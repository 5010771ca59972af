"""Start orientation of a filter that has none of its own."""

from __future__ import annotations

import numpy as np

from imufeedback.records import Floats


def q_from_up(up_s: Floats) -> Floats:
    """(4,) `q_es` that turns a direction measured in the sensor onto earth's z the shortest way; any length but zero.

    The heading that results is arbitrary but repeatable.
    """
    u = up_s / np.linalg.norm(up_s)
    if u[2] < -1 + 1e-12:  # upside down: every horizontal axis is equally short, take x
        return np.array([0.0, 1.0, 0.0, 0.0])
    q = np.array([1.0 + u[2], u[1], -u[0], 0.0])
    out: Floats = q / np.linalg.norm(q)
    return out
