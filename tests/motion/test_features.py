"""Positions and features of hand-made tracks, whose values are known."""

from __future__ import annotations

import math

import numpy as np
import pytest
from swings import FALLING, SWING, angles, course, ramp

from imufeedback.motion.falling import Falling
from imufeedback.motion.features import AT_POSITIONS, features
from imufeedback.motion.positions import IMPACT_SHARE, positions_of
from imufeedback.motion.track import Col, track
from imufeedback.records import Hand, Side

TOP_S, FINISH_S = 1.5, 2.5


@pytest.fixture(scope="module")
def rows():
    return track(angles(course(SWING), side_tilt=ramp((-42, -8), (42, 8), (85, 6))), Hand.RIGHT)


def fall(flat_deg: float = 0.0, growth_deg: float = 0.0) -> Falling:
    return Falling(math.radians(flat_deg), 1.6, -0.5, 0.3, 0.02, 0.01, math.radians(growth_deg), TOP_S)


def turn_at(rows, t_s: float) -> float:
    return float(np.rad2deg(np.interp(t_s, rows[:, Col.T], rows[:, Col.TURN])))


# ── track ────────────────────────────────────────────────────────────────────────────────────────────────────────


@pytest.mark.parametrize("hand", Hand)
def test_columns_are_the_players_not_the_bodys(hand):
    one = angles(course(SWING), hand=hand)
    found = track(one, hand)
    assert found.shape == (len(one.t_s), len(Col))
    trail, lead = one.joint("hip", hand.trail), one.joint("hip", hand.lead)
    np.testing.assert_array_equal(found[:, Col.TRAIL_THIGH], trail.angle_rad[:, 0])
    np.testing.assert_array_equal(found[:, Col.TRAIL_THIGH_RATE], trail.rate_rad_s[:, 0])
    np.testing.assert_array_equal(found[:, Col.LEAD_THIGH], lead.angle_rad[:, 0])
    np.testing.assert_array_equal(found[:, Col.TRAIL_ROTATION], trail.angle_rad[:, 2])
    np.testing.assert_array_equal(found[:, Col.LEAD_ROTATION], lead.angle_rad[:, 2])
    np.testing.assert_array_equal(found[:, Col.TURN], one.pelvis.angle_rad[:, 0])
    np.testing.assert_array_equal(found[:, Col.SIDE_TILT], one.pelvis.angle_rad[:, 1])
    np.testing.assert_array_equal(found[:, Col.FORWARD_TILT], one.pelvis.angle_rad[:, 2])
    assert not found[:, [Col.MISSING, Col.UNSURE]].any()


def test_a_track_needs_both_thighs():
    whole = angles(course(SWING))
    one = type(whole)(whole.t_s, whole.pelvis, tuple(j for j in whole.joints if j.side is Side.LEFT))
    with pytest.raises(KeyError, match="right hip"):
        track(one, Hand.RIGHT)


# ── positions ────────────────────────────────────────────────────────────────────────────────────────────────────────


def test_marks_of_a_swing(rows):
    found, estimated = positions_of(rows, TOP_S, FINISH_S)
    assert set(found) == {"address_s", "top_s", "downswing_s", "level_s", "impact_s", "finish_s"}
    assert estimated == ("impact_s",)
    assert found["address_s"] == pytest.approx(0.5, abs=0.06)
    assert found["top_s"] == TOP_S
    assert found["finish_s"] == FINISH_S
    assert turn_at(rows, found["level_s"]) == pytest.approx(0.0, abs=0.2)  # side tilt is in proportion to turn here
    assert turn_at(rows, found["impact_s"]) == pytest.approx(-42 + IMPACT_SHARE * 127, abs=0.2)
    assert found["address_s"] < found["top_s"] < found["level_s"] < found["impact_s"] < found["finish_s"]


def test_a_mark_that_is_not_there_is_missing():
    """Side tilt that never crosses zero has no level; nothing stands in for it."""
    found, _ = positions_of(
        track(angles(course(SWING), side_tilt=ramp((-42, -9), (85, -2))), Hand.RIGHT), TOP_S, FINISH_S
    )
    assert "level_s" not in found
    assert "impact_s" in found


def test_level_is_not_looked_for_in_the_backswing():
    """On the way back the tilt crosses zero downward and, here, upward as well."""
    tilt = ramp((-42, -8), (-10, 3), (-5, -3), (0, 2), (42, 8), (85, 6))
    found, _ = positions_of(track(angles(course(SWING), side_tilt=tilt), Hand.RIGHT), TOP_S, FINISH_S)
    assert found["level_s"] > TOP_S


# ── features ─────────────────────────────────────────────────────────────────────────────────────────────────────


@pytest.fixture(scope="module")
def measured(rows):
    found, _ = positions_of(rows, TOP_S, FINISH_S)
    return found, features(rows, found, fall(flat_deg=4.5, growth_deg=1.25))


def test_every_angle_at_every_mark(rows, measured):
    found, values = measured
    for name in AT_POSITIONS:
        for position in found:
            if position == "downswing_s" or "knee" in name:
                continue  # the downswing begins where the top is; no shanks here
            assert f"{name}_{position.removesuffix('_s')}_deg" in values
    assert values["pelvis_turn_top_deg"] == pytest.approx(-42, abs=0.1)
    assert values["pelvis_turn_finish_deg"] == pytest.approx(85, abs=0.1)
    assert values["trail_thigh_angle_address_deg"] == pytest.approx(30, abs=0.2)
    assert values["trail_thigh_angle_top_deg"] == pytest.approx(23, abs=0.1)
    assert values["trail_thigh_angle_finish_deg"] == pytest.approx(-6, abs=0.1)
    impact = turn_at(rows, found["impact_s"])
    assert values["trail_thigh_angle_impact_deg"] == pytest.approx(float(FALLING(np.array([impact]))[0]), abs=0.1)
    assert values["lead_hip_rotation_impact_deg"] == pytest.approx(0.85 * impact, abs=0.2)
    assert values["trail_hip_rotation_top_deg"] == pytest.approx(0.85 * 42, abs=0.1)
    assert values["pelvis_side_tilt_top_deg"] == pytest.approx(-8, abs=0.1)


def test_what_the_downswing_shows(rows, measured):
    found, values = measured
    impact = turn_at(rows, found["impact_s"])
    assert values["trail_thigh_angle_min_deg"] == pytest.approx(-6, abs=0.1)
    assert values["trail_thigh_loss_top_finish_deg"] == pytest.approx(29, abs=0.1)
    assert values["trail_thigh_loss_top_impact_deg"] == pytest.approx(
        23 - float(FALLING(np.array([impact]))[0]), abs=0.1
    )
    assert values["trail_thigh_flat_turn_deg"] == pytest.approx(4.5)
    assert values["trail_thigh_growth_deg"] == pytest.approx(1.25)
    assert values["lead_hip_turn_in_deg"] == pytest.approx(0.85 * (impact + 42), abs=0.3)
    assert values["turn_rate_max_deg_s"] == pytest.approx(1.875 * 127, rel=0.01)  # of the quintic smoothstep
    assert values["backswing_s"] == pytest.approx(1.0, abs=0.06)
    assert values["downswing_s"] == pytest.approx(found["impact_s"] - TOP_S)
    assert values["tempo_ratio"] == pytest.approx(values["backswing_s"] / values["downswing_s"])
    assert values["thigh_angle_sd_deg"] == pytest.approx(1.0)
    assert values["hip_rotation_sd_deg"] == pytest.approx(1.0)


@pytest.mark.parametrize("share", [0.0, 0.15, 0.5, 0.85, 1.0])
def test_own_axis_share_is_the_part_of_the_turn_in_the_hips(share):
    """1: the legs stay and the hips turn; 0: pelvis and legs turn as one block."""
    rows = track(angles(course(SWING), rotation_share=share), Hand.RIGHT)
    found, _ = positions_of(rows, TOP_S, FINISH_S)
    assert features(rows, found, fall())["own_axis_share"] == pytest.approx(share, abs=1e-6)


def test_names_end_in_a_unit(measured):
    for name in measured[1]:
        assert name.endswith(("_deg", "_s", "_share", "_ratio"))


def test_all_are_numbers(measured):
    assert all(type(value) is float and math.isfinite(value) for value in measured[1].values())


def test_a_lead_knee_that_bends_again_around_impact_shows_by_how_much(rows) -> None:
    found, _ = positions_of(rows, TOP_S, FINISH_S)
    bent = rows.copy()
    turn = np.degrees(rows[:, Col.TURN])
    bent[:, Col.TRAIL_KNEE] = 0.4
    straightens = np.interp(turn, [-42, 0, 30, 50, 85], [35, 22, 10, 17, 12])
    bent[:, Col.LEAD_KNEE] = np.radians(straightens)
    values = features(bent, found, fall())
    assert values["lead_knee_bends_again_deg"] == pytest.approx(7, abs=0.3)
    bent[:, Col.LEAD_KNEE] = np.radians(np.interp(turn, [-42, -20, 85], [30, 38, 5]))
    assert features(bent, found, fall())["lead_knee_bends_again_deg"] == 0, "players sit into the downswing"
