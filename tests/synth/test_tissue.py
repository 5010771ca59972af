"""Soft tissue: the sensor follows a share of the hip's rotation, rings after a stop, and still obeys mechanics."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest
from scipy.integrate import solve_ivp
from scipy.spatial.transform import Rotation

from imufeedback.records import Hand, Segment, Side
from imufeedback.synth.errors import PRESETS, SoftTissue
from imufeedback.synth.golfer import Golfer
from imufeedback.synth.plan import Channel, MotionPlan, Piece, hold
from imufeedback.synth.player import Pace, make_player
from imufeedback.synth.profile import Spline, Wave
from imufeedback.synth.script import Script, make_script
from imufeedback.synth.sensors import default_places, measure_on
from imufeedback.synth.tissue import GRID_HZ, SLIP_S, Carrier, response

THIGH = Segment.RIGHT_THIGH
SOFT = PRESETS["typical"].tissue
assert SOFT is not None
FIRM = replace(SOFT, wobble_gain=0.0)


@pytest.fixture(scope="module")
def script() -> Script:
    return make_script(pace=Pace.FULL, reps=2, seed=4, busy=True)


def stopping(stop_s: float = 0.03) -> Golfer:
    """Turns the right hip at 2 rad/s and stops within `stop_s` from 1.0 s on."""
    rotation = Spline.from_rates(0.0, [(0.0, 0.0), (0.5, 2.0), (1.0, 2.0), (1.0 + stop_s, 0.0)])
    after = float(rotation.value(np.array([1.0 + stop_s]))[0])
    pieces = [
        Piece(0.0, 1.0 + stop_s, {Channel.TRAIL_ROTATION: rotation}),
        hold(1.0 + stop_s, 4.0, {Channel.TRAIL_ROTATION: after}),
    ]
    return Golfer(make_player(Hand.RIGHT, Pace.FULL, 1), MotionPlan(pieces))


@pytest.mark.parametrize("side", list(Side))
@pytest.mark.parametrize("hand", list(Hand))
def test_rotation_is_under_read_by_its_share(hand: Hand, side: Side) -> None:
    script = make_script(hand=hand, pace=Pace.SLOW, reps=1, seed=4)
    rep = script.truth.reps[0]
    pose = script.golfer.pose(np.linspace(rep.address_s, rep.finish_s, 200))
    carrier = Carrier(script.golfer, Segment.thigh(side), FIRM)
    seen = (pose.frames[Segment.PELVIS].rotation.inv() * carrier.frame(pose).rotation).as_euler("ZXY")
    sign = 1 if side is Side.RIGHT else -1
    true = pose.hip_rad[side]
    np.testing.assert_allclose(sign * seen[:, 2], 0.85 * true[:, 2], atol=1e-9)
    np.testing.assert_allclose(seen[:, 0], true[:, 0], atol=1e-9)
    assert np.ptp(np.degrees(true[:, 2])) > 30


def test_nothing_is_soft_in_quiet_standing(script: Script) -> None:
    extra = Carrier(script.golfer, THIGH, SOFT).extra(np.linspace(0.0, 3.4, 50))
    for one in (extra.value, extra.rate, extra.accel):
        assert np.abs(one).max() < 1e-12


def test_only_thighs_are_soft(script: Script) -> None:
    pose = script.golfer.pose(np.array([30.0]))
    for segment in (Segment.PELVIS, Segment.LEFT_SHANK):
        carrier = Carrier(script.golfer, segment, SOFT)
        assert carrier.is_bone
        assert carrier.frame(pose) is pose.frames[segment]


@pytest.mark.parametrize(("hz", "damping"), [(10.0, 0.2), (8.0, 0.15), (12.0, 0.25)])
def test_a_stop_rings_and_dies_away(hz: float, damping: float) -> None:
    """After the stop, extremes follow each other at half the damped period, each smaller by exp(-πζ/√(1-ζ²))."""
    golfer = stopping()
    carrier = Carrier(golfer, THIGH, SoftTissue(1.0, hz, damping, 1.0))
    t_s = np.linspace(1.04, 1.4, 3601)
    wobble = carrier.extra(t_s)
    crossing = np.flatnonzero(np.diff(np.sign(wobble.rate)) != 0)
    assert len(crossing) >= 4
    half_period = 0.5 / (hz * np.sqrt(1 - damping**2))
    np.testing.assert_allclose(np.diff(t_s[crossing]), half_period, rtol=0.02)
    peaks = wobble.value[crossing]
    np.testing.assert_allclose(peaks[1:4] / peaks[:3], -np.exp(-np.pi * damping / np.sqrt(1 - damping**2)), rtol=0.03)
    assert 0.3 < np.degrees(np.abs(peaks).max()) < 5
    assert np.abs(carrier.extra(np.array([3.5])).value[0]) < 1e-9


def test_the_wobble_is_the_differential_equation() -> None:
    """scipy's solve_ivp on ψ'' + 2ζω ψ' + ω² ψ = -α with the bone's own α, from before the motion on."""
    golfer = stopping(0.1)
    t_s = np.linspace(0.9, 1.3, 41)
    w, damping = 2 * np.pi * SOFT.wobble_hz, SOFT.wobble_damping

    def slope(t: float, y: np.ndarray) -> list[float]:
        alpha = golfer.pose(np.array([t]), (THIGH,)).frames[THIGH].gyr_rate_rad_s2[0, 1]
        return [y[1], -2 * damping * w * y[1] - w * w * y[0] - alpha]

    solved = solve_ivp(slope, (0.9, 1.3), [0.0, 0.0], t_eval=t_s, max_step=0.01, rtol=1e-6, atol=1e-9).y
    soft = Carrier(golfer, THIGH, replace(SOFT, axial_share=1.0)).extra(t_s)
    largest = np.abs(solved[0]).max()
    assert np.abs(soft.value - solved[0]).max() < 0.02 * largest
    assert np.abs(soft.rate - solved[1]).max() < 0.02 * np.abs(solved[1]).max()


def test_a_constant_push_moves_it_by_push_over_stiffness() -> None:
    settled = response(SOFT, np.full(round(3 * GRID_HZ), 5.0))
    assert settled.value[-1] == pytest.approx(5.0 / (2 * np.pi * SOFT.wobble_hz) ** 2)
    assert abs(settled.rate[-1]) < 1e-9
    assert abs(settled.accel[-1]) < 1e-6


def test_the_turn_of_the_carrier_has_its_own_derivatives(script: Script) -> None:
    rep, h = script.truth.reps[1], 1e-5
    t_s = np.linspace(rep.address_s, rep.finish_s + 0.3, 999)
    carrier = Carrier(script.golfer, THIGH, SOFT, 0.1, rep.top_s)
    before, now, after = (carrier.extra(t_s + d) for d in (-h, 0.0, h))
    np.testing.assert_allclose(now.rate, (after.value - before.value) / (2 * h), atol=2e-6)
    np.testing.assert_allclose(now.accel, (after.rate - before.rate) / (2 * h), atol=0.05)


def test_gyroscope_and_accelerometer_still_belong_to_one_motion(script: Script) -> None:
    """The sensor's rate is that of its orientation, and its specific force that of its place, by differences."""
    rep, h = script.truth.reps[0], 2e-5
    t_s = np.linspace(rep.top_s, rep.finish_s, 500)
    carrier = Carrier(script.golfer, THIGH, SOFT)
    place = default_places(1)[THIGH]
    poses = [carrier.frame(script.golfer.pose(t_s + d)).moved(place.r_m) for d in (-h, 0.0, h)]
    before, now, after = poses
    turned = (before.rotation.inv() * after.rotation).as_rotvec() / (2 * h)
    np.testing.assert_allclose(now.gyr_rad_s, turned, atol=1e-5)
    second = (before.position_m - 2 * now.position_m + after.position_m) / h**2
    assert np.sqrt(np.mean((now.acceleration_m_s2 - second) ** 2)) < 1e-3
    gyr, acc = measure_on(carrier.frame(script.golfer.pose(t_s)), place)
    mounting = Rotation.from_quat(place.q_sb, scalar_first=True)
    np.testing.assert_allclose(gyr, mounting.apply(now.gyr_rad_s), atol=1e-12)
    np.testing.assert_allclose(np.linalg.norm(acc, axis=1), np.linalg.norm(now.specific_force(9.81), axis=1), atol=0.01)


def test_any_order_of_instants_gives_the_same(script: Script) -> None:
    t_s = np.arange(0.0, script.duration_s, 0.0501)
    whole = Carrier(script.golfer, THIGH, SOFT).extra(t_s)
    mixed = np.random.default_rng(0).permutation(len(t_s))
    carrier = Carrier(script.golfer, THIGH, SOFT)
    shuffled = np.concatenate([carrier.extra(part).value for part in np.array_split(t_s[mixed], 5)])
    np.testing.assert_array_equal(shuffled, whole.value[mixed])


def test_nothing_jumps_where_the_solution_is_pieced_together() -> None:
    """A hip that never rests, at the borders between the solved stretches."""
    envelope = Spline.through([(0.0, 0.0), (1.0, 1.0), (39.0, 1.0), (40.0, 0.0)])
    piece = Piece(0.0, 40.0, {Channel.TRAIL_ROTATION: Wave(envelope, 3.0, 0.0, 0.2)})
    golfer = Golfer(make_player(Hand.RIGHT, Pace.FULL, 1), MotionPlan([piece]))
    carrier = Carrier(golfer, THIGH, replace(SOFT, axial_share=1.0))
    borders = np.array([8.0, 16.0, 24.0])
    before, after = carrier.extra(borders - 1e-9), carrier.extra(borders + 1e-9)
    assert np.abs(before.value).max() > 1e-3
    np.testing.assert_allclose(after.value, before.value, atol=1e-7)
    np.testing.assert_allclose(after.rate, before.rate, atol=1e-5)


def test_a_strap_slips_once_and_stays(script: Script) -> None:
    carrier = Carrier(script.golfer, Segment.PELVIS, None, 0.1, 20.0)
    extra = carrier.extra(np.array([0.0, 19.9, 20.0, 20.0 + SLIP_S, 60.0]))
    np.testing.assert_allclose(extra.value, [0, 0, 0, 0.1, 0.1], atol=1e-15)
    np.testing.assert_allclose(extra.rate, 0, atol=1e-12)
    assert not carrier.is_bone
