"""What has gone wrong elsewhere with bodies and sensors, and must not here."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest
from performances import BEGIN, blocks, fed, flipped, headed, hips, remounted, stage
from scipy.spatial.transform import Rotation

from imufeedback.body import jcs
from imufeedback.body.posture import is_still
from imufeedback.body.ticks import TICK_S, SensorTick
from imufeedback.measure.fitters import performance
from imufeedback.pipeline import Pipeline, run
from imufeedback.records import (
    Angles,
    Command,
    FitRefused,
    Fitted,
    RawPacket,
    RolesChanged,
    Segment,
    SwapOffered,
    frozen,
    same,
)
from imufeedback.synth.movements import Spoil

SEED = 3


@pytest.fixture(name="usual", scope="module")
def play():
    """Hip angles of a calibration and a rep, as it was."""
    events = fed(stage(SEED), [BEGIN, *blocks(SEED, reps=1)])
    assert any(isinstance(one, Fitted) for one in events)
    return hips(events)


def test_h61_a_slow_turn_in_the_middle_of_standing_is_refused():
    """Still 1 s, 3 °/s for 2 s, still 1 s: no window of two seconds within it counts as standing."""

    bias = np.deg2rad([[0.9, -0.4, 0.7], [-1.1, 0.3, -0.9], [0.2, 1.3, 0.1]])

    def tick(k: int) -> SensorTick:
        gyr = bias.copy()
        gyr[:, 2] += np.deg2rad(3.0) if 1.0 <= k * TICK_S < 3.0 else 0.0
        up = np.tile([0.0, 0.0, 9.81], (3, 1))
        return SensorTick(k * TICK_S, np.tile(np.eye(3), (3, 1, 1)), gyr, up, np.ones(3, dtype=bool))

    ticks = [tick(k) for k in range(round(4.0 / TICK_S) + 1)]
    window = round(2.0 / TICK_S)
    for k in range(len(ticks) - window):
        assert not is_still(ticks[k : k + window]).all()
    calm = [replace(one, gyr_rad_s=bias) for one in ticks]
    assert is_still(calm[:window]).all(), "a bias alone is no movement"


@pytest.mark.parametrize("seed", [1, 2])
def test_h61_moved_while_standing_is_refused_and_the_old_fit_stays(seed):
    body = stage(seed)
    first = fed(body, [BEGIN, *blocks(seed)])
    assert any(isinstance(one, Fitted) for one in first)
    after = blocks(seed)[-1].t_s[-1] + 1.0
    late = [replace(one, t_s=frozen(one.t_s + np.round(after))) for one in blocks(seed, Spoil.MOVED)]
    second = fed(body, [BEGIN, *late])
    refused = next(one for one in second if isinstance(one, FitRefused))
    assert refused.reason == "moved while standing – stand still for 3 seconds"
    assert not any(isinstance(one, Fitted) for one in second)
    assert any(isinstance(one, Angles) for one in second)


@pytest.mark.parametrize("axis", "xyz")
@pytest.mark.parametrize("turn", [90, 180, 270])
def test_h66_a_sensor_turned_or_upside_down_gives_the_same_angles(usual, axis, turn):
    mounting = Rotation.from_euler(axis, turn, degrees=True)
    items = [remounted(one, Segment.RIGHT_THIGH, mounting) for one in blocks(SEED, reps=1)]
    np.testing.assert_allclose(hips(fed(stage(SEED), [BEGIN, *items])), usual, atol=1e-6)


def test_h68_exchanged_thighs_are_offered_as_a_swap_and_nothing_is_swapped_silently():
    swapped = {
        Segment.PELVIS: Segment.PELVIS,
        Segment.LEFT_THIGH: Segment.RIGHT_THIGH,
        Segment.RIGHT_THIGH: Segment.LEFT_THIGH,
    }
    events = list(run(performance(SEED, roles=swapped).items()))
    (offer,) = [one for one in events if isinstance(one, SwapOffered)]
    assert offer.only_sides
    assert offer.roles == {
        Segment.LEFT_THIGH: Segment.RIGHT_THIGH,
        Segment.RIGHT_THIGH: Segment.LEFT_THIGH,
    }
    assert "swap them?" in offer.text
    assert not any(isinstance(one, Fitted | RolesChanged) for one in events)


def test_h68_a_swap_is_a_change_that_is_recorded_and_raw_data_stay():
    swapped = {
        Segment.PELVIS: Segment.LEFT_THIGH,
        Segment.LEFT_THIGH: Segment.PELVIS,
        Segment.RIGHT_THIGH: Segment.RIGHT_THIGH,
    }
    items, events, pipeline = [], [], Pipeline()
    for item in performance(SEED, roles=swapped, reps=1).items():
        items.append(item)
        new = pipeline.feed(item)
        if any(isinstance(one, SwapOffered) for one in new):
            items.append(Command(item.host_ns, "swap"))
            new += pipeline.feed(items[-1])
        events += new
    changed = next(one for one in events if isinstance(one, RolesChanged))
    assert [str(one) for one in changed.roles.values()] == ["pelvis", "left_thigh", "right_thigh"]
    right = Pipeline().feed_many(performance(SEED, reps=1).items())
    np.testing.assert_allclose(hips(events)[-1500:], hips(right)[-1500:], atol=0.3)
    again = Pipeline()
    replayed = [event for item in items for event in again.feed(item)]
    assert len(replayed) == len(events)
    assert all(same(one, other) for one, other in zip(replayed, events, strict=True))
    raw = [item for item in performance(SEED, roles=swapped, reps=1).items() if isinstance(item, RawPacket)]
    assert [one for one in items if isinstance(one, RawPacket)] == raw


@pytest.mark.parametrize("heading", range(45, 360, 45))
def test_h70_whichever_way_the_player_faces(usual, heading):
    items = [headed(one, heading) for one in blocks(SEED, reps=1)]
    np.testing.assert_allclose(hips(fed(stage(SEED), [BEGIN, *items])), usual, atol=0.1)


def test_h72_no_spike_in_the_rate_where_an_angle_wraps():
    """170° to -168° is a move of 22°: the rate comes from the gyroscopes and does not see the wrap."""
    path = np.deg2rad(np.linspace(170.0, 192.0, 23))
    R = Rotation.from_euler("ZXY", np.column_stack((path, 0 * path, 0 * path))).as_matrix()
    turning = np.tile([0.0, 0.0, 1.0], (len(path), 1))
    found = jcs.Coordinates.of(R)
    angle, rate = found.raw, found.rates(turning)
    assert np.rad2deg(np.ptp(np.unwrap(angle[:, 0]))) == pytest.approx(22.0)
    np.testing.assert_allclose(rate[:, 0], 1.0, atol=1e-9)


def test_h74_near_the_pole_there_is_no_number_instead_of_a_jump():
    middle = np.array([60.0, 80.0, 89.9, 90.0, 90.1, 100.0, 120.0])
    R = Rotation.from_matrix(
        [
            (Rotation.from_euler("Z", 20, degrees=True) * Rotation.from_euler("X", b, degrees=True)).as_matrix()
            for b in middle
        ]
    ) * Rotation.from_euler("Y", 10, degrees=True)
    angle = np.rad2deg(jcs.angles(R.as_matrix()))
    assert np.isnan(angle[2:5]).any(axis=1).all()
    np.testing.assert_allclose(angle[:2], [[20.0, 60.0, 10.0], [20.0, 80.0, 10.0]], atol=1e-6)


def test_h75_both_signs_of_a_quaternion_are_one_rotation(usual):
    items = [flipped(one) for one in blocks(SEED, reps=1)]
    np.testing.assert_allclose(hips(fed(stage(SEED), [BEGIN, *items])), usual, atol=1e-9)
