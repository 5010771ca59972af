"""The start orientation stands upright whatever way the sensor lies."""

from __future__ import annotations

import numpy as np
import pytest
from scipy.spatial.transform import Rotation

from imufeedback.fusion.levelling import q_from_up

WAYS = {
    "flat": (0, 0, 1),
    "upside down": (0, 0, -1),
    "on an edge": (1, 0, 0),
    "on the other edge": (0, -1, 0),
    "nearly upside down": (1e-9, -1e-9, -1),
    "tilted": (0.3, -0.5, 0.6),
}


@pytest.mark.parametrize("length", [1.0, 9.81])
@pytest.mark.parametrize("way", WAYS)
def test_up_becomes_up(way, length):
    up = np.array(WAYS[way], dtype=float) * length
    q = q_from_up(up)
    assert np.linalg.norm(q) == pytest.approx(1.0, abs=1e-12)
    turned = Rotation.from_quat(q, scalar_first=True).apply(up / np.linalg.norm(up))
    np.testing.assert_allclose(turned, [0, 0, 1], atol=1e-6)


def test_the_shortest_way():
    up = np.array([0.3, -0.5, 0.6])
    angle = Rotation.from_quat(q_from_up(up), scalar_first=True).magnitude()
    assert angle == pytest.approx(np.arccos(0.6 / np.linalg.norm(up)))
