"""Positions with the lead forearm's sensor, and with shanks."""

from __future__ import annotations

import numpy as np
import pytest
from swings import SWING, angles, course

from imufeedback.motion.forearm import without_forearm
from imufeedback.motion.positions import IMPACT_SHARE_SD, impact_sd_s, positions_of
from imufeedback.motion.track import Col, track
from imufeedback.records import AlignedBlock, Hand, Segment, frozen

TOP_S, FINISH_S, IMPACT_S = 1.5, 2.5, 2.02


@pytest.fixture(scope="module", name="rows")
def whole_rows():
    return track(angles(course(SWING)), Hand.RIGHT)


def arm(rows, *, hit_m_s2: float = 60.0, hit_s: float = IMPACT_S, top_s: float = TOP_S) -> np.ndarray:
    """Forearm that turns back until `top_s` and down after it, and is hit: 60 Hz, dying away in 15 ms."""
    t = rows[:, Col.T]
    gyr = np.column_stack((4 * (t - top_s), -2 * (t - top_s), 0 * t))
    after = np.maximum(t - hit_s, 0.0)
    ring = hit_m_s2 * np.sin(2 * np.pi * 60 * after) * np.exp(-after / 0.015)
    acc = np.column_stack((5 * np.sin(3 * t) + ring, 9.81 + 0 * t, 2 * np.cos(2 * t)))
    return np.column_stack((t, gyr, acc))


def test_a_hit_that_is_felt_is_no_estimate(rows):
    found, estimated = positions_of(rows, TOP_S, FINISH_S, arm(rows))
    assert estimated == ()
    assert found["impact_s"] == pytest.approx(IMPACT_S, abs=0.006)


def test_a_swing_without_a_hit_has_an_estimate(rows):
    """A rehearsal: no ball, and nothing to feel."""
    plain, _ = positions_of(rows, TOP_S, FINISH_S)
    found, estimated = positions_of(rows, TOP_S, FINISH_S, arm(rows, hit_m_s2=0.0))
    assert estimated == ("impact_s",)
    assert found["impact_s"] == plain["impact_s"]


def test_an_estimated_impact_has_an_error_bar_that_is_no_smaller_than_players_differ(rows):
    found, _ = positions_of(rows, TOP_S, FINISH_S)
    sd_s = impact_sd_s(rows, found)
    near_s = [found["impact_s"] - sd_s, found["impact_s"] + sd_s]
    near_deg = np.interp(near_s, rows[:, Col.T], np.rad2deg(rows[:, Col.TURN]))
    assert np.ptp(near_deg) == pytest.approx(2 * IMPACT_SHARE_SD * 127, rel=0.1)


def test_a_knock_far_from_impact_is_no_hit(rows):
    _, estimated = positions_of(rows, TOP_S, FINISH_S, arm(rows, hit_s=TOP_S + 0.1))
    assert estimated == ("impact_s",)


@pytest.mark.parametrize("top_s", [1.45, 1.5, 1.53])
def test_the_hands_reversal_has_a_name_of_its_own(rows, top_s):
    found, _ = positions_of(rows, TOP_S, FINISH_S, arm(rows, top_s=top_s))
    assert found["hand_top_s"] == pytest.approx(top_s, abs=0.003)
    assert found["top_s"] == TOP_S


def test_the_downswing_begins_beyond_doubt_after_a_degree(rows):
    found, _ = positions_of(rows, TOP_S, FINISH_S)
    assert TOP_S < found["downswing_s"] < found["level_s"]
    assert np.rad2deg(np.interp(found["downswing_s"], rows[:, Col.T], rows[:, Col.TURN])) == pytest.approx(-41, abs=0.1)


def test_no_shanks_no_knees(rows):
    assert np.isnan(rows[:, Col.TRAIL_KNEE]).all()
    assert "knees_cross_s" not in positions_of(rows, TOP_S, FINISH_S)[0]


def block(segments) -> AlignedBlock:
    n, s = 3, len(segments)
    rng = np.random.default_rng(1)
    vectors, flags = frozen(rng.normal(size=(n, s, 3))), frozen(np.ones((n, s)), bool)
    return AlignedBlock(
        segments, frozen(np.arange(n) / 200), frozen(rng.normal(size=(n, s, 4))), vectors, frozen(2 * vectors), flags,
        frozen(np.ones((n, s))), frozen(np.ones((n, s))), flags, flags,
    )  # fmt: skip


def test_the_forearm_is_taken_out_of_a_block():
    whole = block((Segment.PELVIS, Segment.LEAD_FOREARM, Segment.LEFT_THIGH))
    rest, felt = without_forearm(whole)
    assert rest.segments == (Segment.PELVIS, Segment.LEFT_THIGH)
    np.testing.assert_array_equal(rest.q_es, whole.q_es[:, [0, 2]])
    np.testing.assert_array_equal(felt.acc_m_s2, whole.acc_m_s2[:, 1])
    np.testing.assert_array_equal(felt.t_s, whole.t_s)


def test_a_block_without_a_forearm_stays_as_it_is():
    whole = block((Segment.PELVIS, Segment.LEFT_THIGH))
    assert without_forearm(whole) == (whole, None)
