"""Pictures of steps: every name can be drawn, from the side and from above, and a left-hander is the mirror image."""

from __future__ import annotations

from typing import get_args

import numpy as np
import pytest

from imufeedback.figure.drawing import drawing
from imufeedback.figure.posture import POSTURES, VIEWS, pose_of
from imufeedback.records import Hand
from imufeedback.rules.drill import Picture


def test_a_step_can_name_what_can_be_drawn() -> None:
    assert set(get_args(Picture)) - {""} <= set(POSTURES)


@pytest.mark.parametrize("name", POSTURES)
def test_each_is_drawn_from_the_side_and_from_above_and_mirrored(name: str) -> None:
    for view in VIEWS:
        right, left = (drawing(pose_of(name, hand), view, hand) for hand in Hand)
        assert right is not None
        assert left is not None
        for one, other in zip(right.shapes, left.shapes, strict=True):
            if one.part in ("lead", "trail"):
                assert sorted(np.round(one.points, 6)[:, 1]) == pytest.approx(sorted(np.round(other.points, 6)[:, 1]))
                assert np.mean(one.points, 0)[0] == pytest.approx(-np.mean(other.points, 0)[0], abs=1e-9)
