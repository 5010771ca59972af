"""Wrong axes are told by name: in a calibration instead of blaming the player, and live."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import replace

import numpy as np
import pytest
from performances import BEGIN, blocks, fed, stage

from imufeedback.body.axes_watch import AxesWatch, withheld
from imufeedback.records import AlignedBlock, Angles, Doubted, FitRefused, Fitted, Segment, Side, frozen

LEFT = 1
"""Place of the left thigh in the blocks."""


def wrong(seed: int, change: Callable[[np.ndarray, np.ndarray], tuple[np.ndarray, np.ndarray]]) -> list[AlignedBlock]:
    """A performance with the left thigh's samples changed; a filter that is given −acc stands on its head."""
    out = []
    for block in blocks(seed):
        q, gyr, acc = block.q_es.copy(), block.gyr_rad_s.copy(), block.acc_m_s2.copy()
        if change(gyr[:1, LEFT], acc[:1, LEFT])[1][0, 0] == -acc[0, LEFT, 0]:
            w, x, y, z = q[:, LEFT].T
            q[:, LEFT] = np.column_stack((-x, w, -z, y))  # turned by half a turn about the earth's x
        gyr[:, LEFT], acc[:, LEFT] = change(gyr[:, LEFT], acc[:, LEFT])
        out.append(replace(block, q_es=frozen(q), gyr_rad_s=frozen(gyr), acc_m_s2=frozen(acc)))
    return out


def first_word(made: list[AlignedBlock]) -> FitRefused | Fitted:
    events = fed(stage(3), [BEGIN, *made])
    return next(one for one in events if isinstance(one, FitRefused | Fitted))


def test_the_performance_is_fitted_as_it_is() -> None:
    assert blocks(3)[0].segments[LEFT] is Segment.LEFT_THIGH
    assert isinstance(first_word(blocks(3)), Fitted)


@pytest.mark.parametrize(
    ("change", "says"),
    [
        (lambda gyr, acc: (gyr[:, [1, 0, 2]], acc), "left thigh: "),
        (lambda gyr, acc: (gyr / 57.3, acc), "left thigh: its rates are 57 times too small"),
    ],
)
def test_a_calibration_names_the_sensor_and_not_the_player(change, says: str) -> None:
    said = first_word(wrong(3, change))
    assert isinstance(said, FitRefused)
    assert said.reason.startswith(says)


def test_an_inverted_accelerometer_is_named_or_the_sensors_are_to_be_checked() -> None:
    """It takes a lift for a bow, so the order of the movements may be wrong before anything else is seen."""
    said = first_word(wrong(3, lambda gyr, acc: (gyr, -acc)))
    assert isinstance(said, FitRefused)
    assert "left thigh: its accelerometer is inverted" in said.reason or "sensors check --turn" in said.reason
    assert "you bowed" not in said.reason


def watched(made: list[AlignedBlock]) -> list[Doubted]:
    watch = AxesWatch()
    return [one for block in made for one in watch.feed(block, placed=True)]


def joined(made: list[AlignedBlock]) -> list[AlignedBlock]:
    names = ("t_s", "q_es", "gyr_rad_s", "acc_m_s2", "rest", "inclination_sd_rad", "heading_sd_rad", "ok", "saturated")
    return [replace(made[0], **{name: np.concatenate([getattr(one, name) for one in made]) for name in names})]


def test_a_doubt_is_told_once_and_the_same_for_blocks_of_any_size() -> None:
    made = wrong(3, lambda gyr, acc: (-gyr, acc))
    told = watched(made)
    assert [(one.about, one.kind) for one in told] == [("left thigh", "axes")]
    assert told == watched(joined(made))
    assert "its angles are not shown" in told[0].text
    assert watched(blocks(3)) == []


def test_angles_that_rest_on_a_doubted_sensor_are_withheld() -> None:
    made = next(one for one in fed(stage(3), [BEGIN, *blocks(3)]) if isinstance(one, Angles))
    assert withheld(made, {}) is made
    since = {Segment.LEFT_THIGH: float(made.t_s[1])}
    held = withheld(made, since)
    assert not held.joint("hip", Side.LEFT).ok[1:].any()
    np.testing.assert_array_equal(held.joint("hip", Side.LEFT).ok[:1], made.joint("hip", Side.LEFT).ok[:1])
    np.testing.assert_array_equal(held.joint("hip", Side.RIGHT).ok, made.joint("hip", Side.RIGHT).ok)
    none = withheld(made, {Segment.PELVIS: 0.0})
    assert not none.pelvis.ok.any()
    assert not none.joint("hip", Side.RIGHT).ok.any()
