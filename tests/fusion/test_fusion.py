"""The fusion stage: real steps, lost and invalid samples, restarts, error bars."""

from __future__ import annotations

import pickle

import numpy as np
import pytest
import vqf
from imus import HZ, G, cut, fused, imu_block, joined, rotations, samples_of, still_at, tilt_error_deg, tumbling
from scipy.spatial.transform import Rotation

from imufeedback.fusion import Fusion, available
from imufeedback.fusion.filters.vqf import BIAS_CLIP_DPS
from imufeedback.records import Flag, ImuBlock, OrientationBlock, same

START = Rotation.from_euler("ZYX", [40, -25, 70], degrees=True)
UP_S = START.inv().apply([0, 0, 1.0])


@pytest.fixture(params=available())
def name(request) -> str:
    return request.param


def moving(seconds: float = 4.0) -> tuple[Rotation, ImuBlock]:
    t_s = np.arange(int(seconds * HZ)) / HZ
    turned = tumbling(START)
    return turned(t_s), imu_block(*samples_of(turned, t_s))


def changed(block: ImuBlock, *, gyr=None, acc=None, flags=None, dt=None) -> ImuBlock:
    return ImuBlock(
        block.sensor,
        block.t_s,
        block.dt_s if dt is None else dt,
        block.gyr_rad_s if gyr is None else gyr,
        block.acc_m_s2 if acc is None else acc,
        block.flags if flags is None else flags,
    )


def turn_deg(out: list[OrientationBlock]) -> float:
    """Turn about the vertical from the first to the last orientation."""
    found = rotations(out)
    return float(np.rad2deg((found[-1] * found[0].inv()).as_rotvec()[2]))


# ── the contract, for every filter ───────────────────────────────────────────────────────────────────────────────


def test_finite_and_of_unit_length_in_any_blocks(name):
    _, block = moving(2.5)
    whole = fused(Fusion("a", filter_name=name), [block])
    parts = fused(Fusion("a", filter_name=name), cut(block, 4))
    assert len(parts) == 125
    for field in ("q_es", "gyr_rad_s", "acc_m_s2", "bias_rad_s", "inclination_sd_rad", "heading_sd_rad"):
        assert np.isfinite(joined(whole, field)).all()
        np.testing.assert_allclose(joined(parts, field), joined(whole, field), atol=1e-12)
    np.testing.assert_array_equal(joined(parts, "rest"), joined(whole, "rest"))
    np.testing.assert_allclose(np.linalg.norm(joined(whole, "q_es"), axis=1), 1.0, atol=1e-9)
    np.testing.assert_array_equal(joined(whole, "t_s"), block.t_s)
    np.testing.assert_array_equal(joined(whole, "acc_m_s2"), block.acc_m_s2)


def test_first_half_and_restored_state_and_second_half_are_the_whole(name):
    _, block = moving(2.5)
    flags = block.flags.copy()
    flags[200], flags[300] = int(Flag.INVALID), int(Flag.SATURATED)
    steps = block.dt_s.copy()
    steps[350] = 6 / HZ
    blocks = cut(changed(block, flags=flags, dt=steps), 10)
    expected = fused(Fusion("a", filter_name=name), blocks)
    for at in (0, 1, 20, 31, 49, 50):
        first, second = (Fusion("a", filter_name=name) for _ in range(2))
        found = fused(first, blocks[:at])
        second.state = pickle.loads(pickle.dumps(first.state))
        fused(first, blocks[at:])
        assert same(found + fused(second, blocks[at:]), expected)


def test_restored_into_a_stage_that_has_run(name):
    _, block = moving(2.0)
    blocks = cut(block, 40)
    expected = fused(Fusion("a", filter_name=name), blocks)
    stage = Fusion("a", filter_name=name)
    empty = stage.state
    fused(stage, blocks)
    stage.state = empty
    assert same(fused(stage, blocks), expected)


@pytest.mark.parametrize(
    ("what", "gyr", "acc"),
    [
        ("NaN in the rate", (np.nan, 0, 0), None),
        ("all rates NaN", (np.nan,) * 3, None),
        ("infinite acceleration", None, (0, np.inf, 0)),
        ("both gone", (np.nan,) * 3, (-np.inf, np.nan, np.inf)),
    ],
)
@pytest.mark.parametrize("at", [0, 1, 400])
def test_a_sample_that_is_no_number_costs_itself_only(name, what, gyr, acc, at):
    true, block = moving(2.5)
    bad_gyr, bad_acc = block.gyr_rad_s.copy(), block.acc_m_s2.copy()
    if gyr is not None:
        bad_gyr[at] = gyr
    if acc is not None:
        bad_acc[at] = acc
    out = fused(Fusion("a", filter_name=name), cut(changed(block, gyr=bad_gyr, acc=bad_acc), 4))
    assert np.isfinite(joined(out, "q_es")).all()
    assert np.isfinite(joined(out, "gyr_rad_s")).all()
    assert np.isfinite(joined(out, "acc_m_s2")).all()
    clean = fused(Fusion("a", filter_name=name), cut(block, 4))
    np.testing.assert_array_equal(joined(out, "t_s"), np.delete(block.t_s, at))
    others = np.delete(np.arange(len(block.t_s)), at)
    assert np.rad2deg((rotations(clean)[others].inv() * rotations(out)).magnitude()).max() < 1.0
    assert tilt_error_deg(rotations(out)[-200:], true[-200:]).max() < 4.0


@pytest.mark.parametrize("at", [0, 400])
def test_a_sample_that_is_flagged_invalid_is_not_looked_at(name, at):
    """All zero, as the decoder gives it: a zero vector has no direction and must not reach a filter."""
    _, block = moving(2.2)
    gyr, acc, flags = block.gyr_rad_s.copy(), block.acc_m_s2.copy(), block.flags.copy()
    gyr[at] = acc[at] = 0.0
    flags[at] = int(Flag.INVALID)
    out = fused(Fusion("a", filter_name=name), cut(changed(block, gyr=gyr, acc=acc, flags=flags), 4))
    clean = fused(Fusion("a", filter_name=name), cut(block, 4))
    np.testing.assert_array_equal(joined(out, "t_s"), np.delete(block.t_s, at))
    others = np.delete(np.arange(len(block.t_s)), at)
    assert np.rad2deg((rotations(clean)[others].inv() * rotations(out)).magnitude()).max() < 1.0


def test_a_stretch_without_a_single_good_sample_at_the_start_gives_nothing(name):
    stage = Fusion("a", filter_name=name)
    assert stage.feed(imu_block(np.full((4, 3), np.nan), np.zeros((4, 3)))) == []
    _, block = moving(1.0)
    (out,) = stage.feed(block)
    assert np.isfinite(out.q_es).all()


@pytest.mark.parametrize("way", [(0, 0, -1), (1, 0, 0), (0, 0, 1)])
def test_finds_down_at_once(name, way):
    """Upside down, on its side, and exactly flat with no turn at all."""
    acc = np.tile(np.array(way) * G, (100, 1))
    out = fused(Fusion("a", filter_name=name), cut(imu_block(np.zeros((100, 3)), acc), 4))
    lean = np.rad2deg(np.arccos(np.clip(rotations(out).apply(acc / G)[:, 2], -1, 1)))
    assert lean.max() < 1.0


# ── real steps ───────────────────────────────────────────────────────────────────────────────────────────────────


def turning(seconds: float, rate_deg_s: float, hz: float, *, still_s: float = 0.5) -> ImuBlock:
    """Still, then a constant turn about the vertical; rates are those at the instants."""
    t_s = np.arange(int((still_s + seconds) * hz)) / hz
    rate = np.where(t_s >= still_s, np.deg2rad(rate_deg_s), 0.0)
    return imu_block(np.outer(rate, UP_S), np.tile(UP_S * G, (len(t_s), 1)), dt_s=1 / hz)


@pytest.mark.parametrize("filter_name", available())
@pytest.mark.parametrize("hz", [104.0, 119.0])
def test_a_turn_is_right_at_a_rate_that_is_not_the_declared_one(filter_name, hz):
    """119 Hz declared as 104: one second of 90 °/s is 90°, not 103. (The turn begins and ends between samples.)"""
    block = turning(1.0, 90.0, hz)
    out = fused(Fusion("a", filter_name=filter_name, period_s=1 / 104.0), cut(block, 4))
    samples = np.count_nonzero(block.gyr_rad_s[:, 0])
    assert turn_deg(out) == pytest.approx(90.0 * (samples - 0.5) / hz, abs=0.1)
    assert turn_deg(out) == pytest.approx(90.0, abs=1.2)


def test_uneven_steps():
    """The counter tells the true step of every sample: what is integrated is rate times step."""
    rng = np.random.default_rng(3)
    steps = rng.uniform(0.6, 1.4, 600) / HZ
    gyr = np.outer(np.full(600, np.deg2rad(60.0)), UP_S)
    out = fused(Fusion("a"), cut(imu_block(gyr, np.tile(UP_S * G, (600, 1)), dt_s=steps), 4))
    assert turn_deg(out) == pytest.approx(60.0 * steps[1:].sum(), abs=0.3)


def test_a_step_of_nothing_leaves_no_spike():
    """Two samples of one tick have a step of a microsecond; the bias that is removed stays the bias."""
    bias = np.deg2rad([1.0, -0.5, 0.8])
    n = 4000
    steps = np.full(n, 1 / HZ)
    steps[3000::100] = 1e-6
    still = imu_block(np.tile(bias, (n, 1)), np.tile(UP_S * G, (n, 1)), dt_s=steps)
    out = fused(Fusion("a"), cut(still, 4))
    np.testing.assert_allclose(joined(out, "bias_rad_s")[2900], bias, atol=np.deg2rad(0.1))
    assert np.abs(joined(out, "gyr_rad_s")[3000:]).max() < np.deg2rad(2.0)
    assert joined(out, "rest")[3000:].all()


def test_no_half_step_ahead():
    """At 400 °/s and 200 Hz half a step is 1°: the orientation belongs to the instant of its sample."""
    t_s = np.arange(600) / HZ
    peak = np.deg2rad(400.0)

    def turned(at):
        return START * Rotation.from_rotvec(np.outer(peak / 6.0 * (1 - np.cos(6.0 * at)), UP_S))

    gyr, acc = samples_of(turned, t_s)
    found = rotations(fused(Fusion("a"), cut(imu_block(gyr, acc), 4)))
    about_up = (found[0].inv() * found).as_rotvec() @ UP_S
    np.testing.assert_allclose(np.rad2deg(about_up), np.rad2deg(peak / 6.0 * (1 - np.cos(6.0 * t_s))), atol=0.3)


def test_vqf_is_the_librarys_own():
    """Against the library called directly: same samples, rates averaged over each step."""
    _, block = moving(3.0)
    out = fused(Fusion("a", filter_name="vqf", period_s=1 / HZ), cut(block, 4))
    mean = block.gyr_rad_s.copy()
    mean[1:] = 0.5 * (mean[1:] + mean[:-1])
    direct = vqf.VQF(1 / HZ, biasClip=BIAS_CLIP_DPS).updateBatch(
        np.ascontiguousarray(mean), np.ascontiguousarray(block.acc_m_s2)
    )
    # while it is slow enough to rest, gravity puts right 0.005 degrees (`rest_level.py`)
    np.testing.assert_allclose(joined(out, "q_es"), direct["quat6D"], atol=5e-5)
    # its bias of motion serves its own tilt and goes no further
    assert np.abs(direct["bias"]).max() > 1e-5
    np.testing.assert_array_equal(joined(out, "bias_rad_s"), 0.0)
    np.testing.assert_array_equal(joined(out, "gyr_rad_s"), block.gyr_rad_s)


# ── lost samples ─────────────────────────────────────────────────────────────────────────────────────────────────


def with_loss(lost: int) -> tuple[ImuBlock, int]:
    """A half-sine turn of 600 °/s over 0.25 s at 200 Hz, 95.5° in all, with `lost` samples gone at its peak."""
    t_s = np.arange(400) / HZ
    rate = np.where((t_s >= 1.0) & (t_s <= 1.25), 600.0 * np.sin(np.pi * (t_s - 1.0) / 0.25), 0.0)
    gyr, acc = np.outer(np.deg2rad(rate), UP_S), np.tile(UP_S * G, (400, 1))
    first = 225 - lost // 2
    keep = np.ones(400, dtype=bool)
    keep[first : first + lost] = False
    steps = np.full(400, 1 / HZ)
    steps[first + lost] = (lost + 1) / HZ
    block = ImuBlock("a", t_s[keep], steps[keep], gyr[keep], acc[keep], np.zeros(keep.sum(), dtype=np.uint8))
    return block, first


@pytest.mark.parametrize(("lost", "ignored_deg", "bridged_deg"), [(5, 15, 0.2), (10, 30, 1.3), (20, 56, 8.7)])
def test_lost_samples_are_bridged(lost, ignored_deg, bridged_deg):
    """Computed cases: to ignore the loss costs 15, 30 and 56°, a straight line 0.2, 1.3 and 8.7°. (After 20 samples,
    100 ms, the merge tells no angle.)"""
    whole = turn_deg(fused(Fusion("a"), cut(with_loss(0)[0], 4)))
    assert whole == pytest.approx(600 * 0.25 * 2 / np.pi, abs=0.3)
    block, _ = with_loss(lost)
    found = turn_deg(fused(Fusion("a"), cut(block, 4)))
    assert whole - found == pytest.approx(bridged_deg, abs=0.4)
    blind = turn_deg(fused(Fusion("a"), cut(changed(block, dt=np.full(len(block.dt_s), 1 / HZ)), 4)))
    assert whole - blind == pytest.approx(ignored_deg, abs=2.5)


def test_what_was_put_in_is_not_passed_on():
    block, _ = with_loss(10)
    out = fused(Fusion("a"), cut(block, 4))
    np.testing.assert_array_equal(joined(out, "t_s"), block.t_s)
    np.testing.assert_array_equal(joined(out, "acc_m_s2"), block.acc_m_s2)
    assert len(joined(out, "q_es")) == 390
    assert np.isfinite(joined(out, "q_es")).all()


def test_a_gap_of_minutes_costs_no_minutes_of_filling():
    _, block = moving(2.0)
    steps = block.dt_s.copy()
    steps[200] = 600.0
    out = fused(Fusion("a"), cut(changed(block, dt=steps), 4))
    assert np.isfinite(joined(out, "q_es")).all()
    assert len(joined(out, "q_es")) == 400
    # the heading is unknown after that, and the error bar says so: half a minute of drift and more
    assert np.rad2deg(joined(out, "heading_sd_rad")[201]) > 25


# ── restarts ─────────────────────────────────────────────────────────────────────────────────────────────────────


def test_a_restart_begins_a_new_filter(name):
    """The sensor comes back in another pose: down is found at once, and its heading counts as unknown."""
    _, block = moving(2.0)
    gyr, acc = samples_of(still_at(Rotation.from_euler("x", 160, degrees=True)), np.arange(40) / HZ)
    flags = np.zeros(40)
    flags[6] = int(Flag.RESTART)
    gyr, acc = np.vstack((block.gyr_rad_s[-6:], gyr[6:])), np.vstack((block.acc_m_s2[-6:], acc[6:]))
    stage = Fusion("a", filter_name=name)
    fused(stage, [block])
    before, after = stage.feed(imu_block(gyr, acc, begin_s=2.0, flags=flags))
    assert (len(before.t_s), len(after.t_s)) == (6, 34)
    lean = np.rad2deg(np.arccos(np.clip(rotations([after]).apply(acc[6:] / G)[:, 2], -1, 1)))
    assert lean.max() < 1.0
    assert before.heading_sd_rad[-1] < 0.1
    assert (after.heading_sd_rad >= np.pi).all()


# ── rest and error bars ──────────────────────────────────────────────────────────────────────────────────────────


def test_rest_comes_after_a_quiet_while_and_goes_at_once():
    t_s = np.arange(400) / HZ
    rate = np.where(t_s >= 1.0, 0.3, 0.0)
    out = fused(Fusion("a"), cut(imu_block(np.outer(rate, UP_S), np.tile(UP_S * G, (400, 1))), 4))
    rest = joined(out, "rest")
    assert not rest[t_s < 0.28].any()
    assert rest[(t_s > 0.31) & (t_s < 1.0)].all()
    assert not rest[t_s >= 1.0].any()


def test_a_jolt_is_no_rest():
    acc = np.tile(UP_S * G, (400, 1))
    acc[300] *= 1.15
    rest = joined(fused(Fusion("a"), cut(imu_block(np.zeros((400, 3)), acc), 4)), "rest")
    assert rest[299]
    assert not rest[300:350].any()


def test_tilt_is_surer_at_rest():
    """Once it has rested for a second; before that its "down" may be that of a movement."""
    _, block = moving(3.0)
    n = round(1.5 * HZ)
    still = np.tile(block.acc_m_s2[0] / np.linalg.norm(block.acc_m_s2[0]) * 9.81, (n, 1))
    gyr, acc = np.vstack((np.zeros((n, 3)), block.gyr_rad_s)), np.vstack((still, block.acc_m_s2))
    out = fused(Fusion("a"), cut(imu_block(gyr, acc), 4))
    rest, sd = joined(out, "rest"), np.rad2deg(joined(out, "inclination_sd_rad"))
    assert rest[round(0.3 * HZ) : n].all()
    assert sd[0] > 1.9
    resting = sd[round(0.3 * HZ) : n]
    assert (np.diff(resting) <= 1e-12).all()
    assert 0.5 <= resting[-1] < 0.75
    # what it turns adds to the one degree of movement
    assert (sd[n:][~rest[n:]] >= 1.0).all()


def test_tilt_lost_in_a_swing_is_put_right_in_the_first_second_of_rest():
    """A gyroscope whose scale is 2 % off turns by 90° about a level axis: VQF alone has 72 % of it after a second
    and 37 % after three (its time constant, as documented)."""
    turn_s, n = 0.5, round(3.0 * HZ)
    t = np.arange(round(turn_s * HZ)) / HZ
    rate = np.deg2rad(90.0) / turn_s * (1 - np.cos(2 * np.pi * t / turn_s))
    angle = np.concatenate((np.zeros(n), np.cumsum(rate) / HZ, np.full(n, np.deg2rad(90.0))))
    gyr = np.zeros((len(angle), 3))
    gyr[n : n + len(t), 0] = 1.02 * rate
    acc = G * np.column_stack((np.zeros(len(angle)), np.sin(angle), np.cos(angle)))
    out = fused(Fusion("a"), cut(imu_block(gyr, acc), 4))
    up = Rotation.from_quat(joined(out, "q_es"), scalar_first=True).inv().apply([0.0, 0.0, 1.0])
    off = np.rad2deg(np.arccos(np.clip((up * acc).sum(axis=1) / G, -1.0, 1.0)))
    sd = np.rad2deg(joined(out, "inclination_sd_rad"))
    stopped = n + len(t)
    assert off[stopped] > 1.5
    assert off[stopped + round(0.7 * HZ)] < 0.6
    assert off[stopped + round(1.5 * HZ)] < 0.2
    assert np.abs(np.diff(off)).max() < 0.3, "it jumps"
    assert (off[stopped:] < 2.5 * sd[stopped:]).all()


def test_heading_grows_unsure_by_the_clock():
    """3 °/min (VQF 6D on the BROAD benchmark: median 2.8, computed)."""
    _, block = moving(3.0)
    sd = np.rad2deg(joined(fused(Fusion("a"), cut(block, 4)), "heading_sd_rad"))
    assert (np.diff(sd) > 0).all()
    assert sd[-1] == pytest.approx(3.0 / 60 * 3.0, rel=0.01)


def test_saturation_widens_the_error_bar_and_wears_off():
    _, block = moving(12.0)
    flags = block.flags.copy()
    flags[400:410] = int(Flag.SATURATED)
    out = fused(Fusion("a"), cut(changed(block, flags=flags), 4))
    plain = joined(fused(Fusion("a"), cut(block, 4)), "inclination_sd_rad")
    sd = joined(out, "inclination_sd_rad")
    np.testing.assert_array_equal(sd[:400], plain[:400])
    assert np.rad2deg(sd[400:410]).min() > 3.0
    assert (np.diff((sd**2 - plain**2)[409:1000]) <= 1e-12).all()
    assert sd[410 + int(3.0 * HZ)] - plain[410 + int(3.0 * HZ)] < np.deg2rad(0.6)
    np.testing.assert_allclose(sd[-1], plain[-1], rtol=0.03)
    np.testing.assert_array_equal(joined(out, "flags"), flags)


def test_the_bias_is_found_at_rest_and_taken_off():
    """A few degrees a second at turn-on, as consumer parts have: after seconds of rest it is gone from the rate."""
    bias = np.deg2rad([1.0, -0.6, 0.4])
    n = int(6 * HZ)
    still = imu_block(np.tile(bias, (n, 1)), np.tile(UP_S * G, (n, 1)))
    out = fused(Fusion("a"), cut(still, 4))
    np.testing.assert_allclose(joined(out, "bias_rad_s")[-1], bias, atol=np.deg2rad(0.05))
    np.testing.assert_allclose(joined(out, "gyr_rad_s")[-1], 0.0, atol=np.deg2rad(0.05))


# ── the bias that is held ────────────────────────────────────────────────────────────────────────────────────────

BIAS = np.deg2rad([1.0, -0.6, 0.4])


def resting_then_moving(rest_s: float, move_s: float = 4.0) -> ImuBlock:
    """At rest, then a slow turn about the vertical as of a takeaway, all with the same gyroscope bias."""
    t_s = np.arange(int((rest_s + move_s) * HZ)) / HZ
    rate = np.where(t_s >= rest_s, np.deg2rad(20.0) * np.sin(2 * np.pi * 0.3 * (t_s - rest_s)), 0.0)
    return imu_block(np.outer(rate, UP_S) + BIAS, np.tile(UP_S * G, (len(t_s), 1)))


def rest_found(block: ImuBlock) -> tuple[float, np.ndarray]:
    """When the library itself tells a rest, and the bias that it then has."""
    direct = vqf.VQF(1 / HZ, biasClip=BIAS_CLIP_DPS).updateBatch(np.array(block.gyr_rad_s), np.array(block.acc_m_s2))
    first = int(np.argmax(direct["restDetected"]))
    return float(block.t_s[first]), direct["bias"][first]


def test_no_bias_before_a_rest_has_gone_on_for_half_a_second():
    """A rest found, but over 0.4 s later, gives nothing: its end may already be a slow movement."""
    begins_s, bias = rest_found(resting_then_moving(6.0))
    short, long = (fused(Fusion("a"), cut(resting_then_moving(begins_s + more), 4)) for more in (0.4, 0.7))
    np.testing.assert_array_equal(joined(short, "bias_rad_s"), 0.0)
    held = joined(long, "bias_rad_s")
    np.testing.assert_array_equal(held[: int((begins_s + 0.49) * HZ)], 0.0)
    np.testing.assert_allclose(held[-1], bias, atol=1e-9)
    assert np.linalg.norm(held[-1] - BIAS) < 0.9 * np.linalg.norm(BIAS)


def test_the_bias_of_the_last_rest_is_held_through_the_motion_after_it():
    """It is the one observed at least half a second before the rest ended, exactly, and it is what is taken off."""
    block = resting_then_moving(8.0)
    out = fused(Fusion("a"), cut(block, 4))
    held = joined(out, "bias_rad_s")
    after = held[int(8.1 * HZ) :]
    np.testing.assert_array_equal(after, np.broadcast_to(after[0], after.shape))
    np.testing.assert_allclose(after[0], BIAS, atol=np.deg2rad(0.05))
    direct = vqf.VQF(1 / HZ, biasClip=BIAS_CLIP_DPS).updateBatch(np.array(block.gyr_rad_s), np.array(block.acc_m_s2))[
        "bias"
    ]
    last_s = block.t_s[np.argmin(np.linalg.norm(direct - after[0], axis=1))]
    assert 7.0 - 0.02 <= last_s <= 7.5 + 0.02
    np.testing.assert_array_equal(joined(out, "gyr_rad_s"), block.gyr_rad_s - held)


def test_an_observed_bias_is_replaced_by_that_of_the_next_rest():
    """A sensor that warms up: the second rest finds another bias, and until it has gone on the first one counts."""
    block = resting_then_moving(6.0)
    warm = imu_block(np.tile(-BIAS, (int(12 * HZ), 1)), np.tile(UP_S * G, (int(12 * HZ), 1)), begin_s=10.0)
    stage = Fusion("a")
    cold = joined(fused(stage, cut(block, 4)), "bias_rad_s")[-1]
    held = joined(fused(stage, cut(warm, 4)), "bias_rad_s")
    np.testing.assert_array_equal(held[0], cold)
    assert np.linalg.norm(held[-1] - -BIAS) < 0.3 * np.linalg.norm(cold - -BIAS)


# ── a filter at the real rate ────────────────────────────────────────────────────────────────────────────────────


@pytest.mark.parametrize(("declared_hz", "real_hz", "own"), [(104, 119, True), (100, 94, True), (104, 100, False)])
def test_the_filter_runs_at_the_real_rate_where_that_is_far_off(declared_hz, real_hz, own):
    """More than 5 % off the declared rate it is remade, nearer it is not; either way it gives what the library gives
    that is told this period, and rates scaled to it."""
    turned = tumbling(START)
    gyr, acc = samples_of(turned, np.arange(int(4 * real_hz)) / real_hz)
    stage = Fusion("a", period_s=1 / declared_hz)
    found = joined(fused(stage, cut(imu_block(gyr, acc, dt_s=1 / real_hz), 4)), "q_es")
    mean = gyr.copy()
    mean[1:] = 0.5 * (gyr[1:] + gyr[:-1])
    used = real_hz if own else declared_hz
    scale = np.full((len(mean), 1), used / real_hz)
    scale[0] = 1.0
    direct = vqf.VQF(1 / used, biasClip=BIAS_CLIP_DPS).updateBatch(
        np.ascontiguousarray(mean * scale), np.ascontiguousarray(acc)
    )
    np.testing.assert_allclose(found, direct["quat6D"], atol=5e-5)


def test_a_restart_keeps_the_rate_that_was_found():
    """Its state has it too: a restored stage runs its filter at the same period."""
    block = turning(2.0, 30.0, 119.0)
    flags = block.flags.copy()
    flags[100] = int(Flag.RESTART)
    blocks = cut(changed(block, flags=flags), 4)
    stage = Fusion("a", period_s=1 / 104.0)
    fused(stage, blocks[:40])
    assert stage.state.period_s == pytest.approx(1 / 119.0)
    second = Fusion("a", period_s=1 / 104.0)
    second.state = pickle.loads(pickle.dumps(stage.state))
    assert same(fused(second, blocks[40:]), fused(stage, blocks[40:]))
