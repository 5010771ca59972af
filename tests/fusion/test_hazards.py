"""Known ways to go wrong with a filter, by the number of their kind; each with the input that is said to show it."""

from __future__ import annotations

from itertools import product

import ahrs
import numpy as np
import pytest
import vqf
from imus import HZ, G, cut, fused, imu_block, joined, rotations, samples_of, tumbling
from scipy.spatial.transform import Rotation

from imufeedback.fusion import Fusion, available
from imufeedback.fusion.filters import make
from imufeedback.records import Flag, Floats, ImuBlock, Segment
from imufeedback.timing import Merger

START = Rotation.from_euler("ZYX", [40, -25, 70], degrees=True)
"""Turned and tipped: from the identity a wrong convention can pass."""
UP_S = START.inv().apply([0, 0, 1.0])
EVERY_WAY = [np.array(way) / np.linalg.norm(way) for way in product((-1, 0, 1), repeat=3) if any(way)]


@pytest.fixture(params=available())
def name(request) -> str:
    return request.param


def noisy(block: ImuBlock, seed: int = 1) -> ImuBlock:
    """With a typical sensor's noise: some filters look away when a rate is exactly nothing."""
    rng = np.random.default_rng(seed)
    gyr = block.gyr_rad_s + rng.normal(0, np.deg2rad(0.07), block.gyr_rad_s.shape)
    acc = block.acc_m_s2 + rng.normal(0, 0.012, block.acc_m_s2.shape)
    return ImuBlock(block.sensor, block.t_s, block.dt_s, gyr, acc, block.flags)


def still(seconds: float, up_s: Floats = UP_S, hz: float = HZ) -> ImuBlock:
    n = round(seconds * hz)
    return imu_block(np.zeros((n, 3)), np.tile(up_s * G, (n, 1)), dt_s=1 / hz)


def lean_deg(out, up_s: Floats) -> Floats:
    """(N,) how far the direction that is really up is from where it was put."""
    found: Floats = np.rad2deg(np.arccos(np.clip(rotations(out).apply(up_s)[:, 2], -1, 1)))
    return found


# ── h49: a clipped gyroscope ─────────────────────────────────────────────────────────────────────────────────────


@pytest.mark.parametrize(
    ("peak", "lasting_s", "limit", "lost"), [(600, 0.25, 500, 6), (600, 0.25, 250, 41), (2600, 0.08, 2000, 14)]
)
@pytest.mark.parametrize("way", [0, 1, 2])
def test_h49_a_clipped_turn_is_flagged_for_as_long_as_it_lasted_and_tilt_is_not_sure(peak, lasting_s, limit, lost, way):
    """The computed cases: what the clipping costs is missing, so the bar must be wider from then on."""
    t_s = np.arange(int(4 * HZ)) / HZ
    inside = (t_s >= 2) & (t_s <= 2 + lasting_s)
    rate = np.where(inside, np.deg2rad(peak) * np.sin(np.pi * (t_s - 2) / lasting_s), 0.0)
    gyr = np.outer(rate, np.eye(3)[way])
    clipped = np.clip(gyr, -np.deg2rad(limit), np.deg2rad(limit))
    assert np.rad2deg((gyr - clipped).sum() / HZ) == pytest.approx(lost, abs=0.5)
    at_end = np.any(np.abs(gyr) >= np.deg2rad(limit), axis=1)
    flags = at_end * int(Flag.SATURATED)
    out = fused(Fusion("a"), cut(imu_block(clipped, np.tile(UP_S * G, (len(t_s), 1)), flags=flags), 4))
    np.testing.assert_array_equal(joined(out, "flags") & int(Flag.SATURATED) != 0, at_end)
    sd = np.rad2deg(joined(out, "inclination_sd_rad"))
    assert sd[at_end].min() >= 3.0
    after = t_s > 2 + lasting_s
    assert sd[after & (t_s < 2 + lasting_s + 0.1)].min() > 2 * sd[t_s < 2][-1]
    heading = np.rad2deg(joined(out, "heading_sd_rad"))
    assert 2 * (heading[-1] - heading[t_s < 2][-1]) > lost, "gravity brings the tilt back, and nothing the heading"


# ── h52: numbers that are none ───────────────────────────────────────────────────────────────────────────────────


def flat(seconds: float) -> ImuBlock:
    """Exactly (0, 0, 1) with no turn at all, in whatever unit: 1 is taken as it comes."""
    n = int(seconds * HZ)
    return imu_block(np.zeros((n, 3)), np.tile([0.0, 0.0, 1.0], (n, 1)))


def test_h52_exactly_flat_and_exactly_still(name):
    out = fused(Fusion("a", filter_name=name), cut(flat(1.0), 4))
    assert np.isfinite(joined(out, "q_es")).all()
    assert lean_deg(out, np.array([0, 0, 1.0])).max() < 1e-6


@pytest.mark.parametrize("field", ["gyr_rad_s", "acc_m_s2"])
@pytest.mark.parametrize("value", [np.nan, np.inf, -np.inf])
@pytest.mark.parametrize("axes", [[0], [1], [2], [0, 1, 2]])
def test_h52_one_invalid_number_and_half_a_second_later_all_is_well(name, field, value, axes):
    """In the middle of a packet, at 5 s."""
    t_s = np.arange(int(6 * HZ)) / HZ
    turned = tumbling(START)
    block = noisy(imu_block(*samples_of(turned, t_s)))
    arrays = {one: getattr(block, one).copy() for one in ("gyr_rad_s", "acc_m_s2")}
    arrays[field][1002, axes] = value
    bad = ImuBlock("a", block.t_s, block.dt_s, *arrays.values(), block.flags)
    out = fused(Fusion("a", filter_name=name), cut(bad, 4))
    clean = fused(Fusion("a", filter_name=name), cut(block, 4))
    for one in ("q_es", "gyr_rad_s", "acc_m_s2", "bias_rad_s", "inclination_sd_rad", "heading_sd_rad"):
        assert np.isfinite(joined(out, one)).all()
    others = np.delete(np.arange(len(t_s)), 1002)
    np.testing.assert_array_equal(joined(out, "t_s"), block.t_s[others])
    away = np.rad2deg((rotations(clean)[others].inv() * rotations(out)).magnitude())
    assert away.max() < 1.0
    assert away[1102:].max() < 0.5


# ── h54: finding down ────────────────────────────────────────────────────────────────────────────────────────────


@pytest.mark.parametrize("way", EVERY_WAY, ids=str)
def test_h54_down_is_found_in_half_a_second_however_the_sensor_lies(name, way):
    out = fused(Fusion("a", filter_name=name), cut(noisy(still(1.0, way)), 4))
    assert lean_deg(out, way)[int(0.5 * HZ) :].max() < 1.0


@pytest.mark.parametrize("way", EVERY_WAY[::5], ids=str)
def test_h54_and_again_after_every_restart(name, way):
    stage = Fusion("a", filter_name=name)
    fused(stage, cut(noisy(still(1.0)), 4))
    again = noisy(still(1.0, way))
    flags = again.flags.copy()
    flags[0] = int(Flag.RESTART)
    out = fused(stage, cut(ImuBlock("a", again.t_s + 1.0, again.dt_s, again.gyr_rad_s, again.acc_m_s2, flags), 4))
    assert lean_deg(out, way)[int(0.5 * HZ) :].max() < 1.0


# ── h55: unit length ─────────────────────────────────────────────────────────────────────────────────────────────


def test_h55_a_running_quaternion_keeps_its_length(name):
    """Ten minutes at 20 Hz, tumbling: it was 0.992 after eight elsewhere."""
    hz, seconds = 20.0, 600 if name == "vqf" else 120
    t_s = np.arange(int(seconds * hz)) / hz
    block = imu_block(*samples_of(tumbling(START), t_s), dt_s=1 / hz)
    out = fused(Fusion("a", filter_name=name, period_s=1 / hz), cut(block, 50))
    np.testing.assert_allclose(np.linalg.norm(joined(out, "q_es"), axis=1), 1.0, atol=1e-9)


# ── h56, h57: order of components, direction ─────────────────────────────────────────────────────────────────────

THIRTY = Rotation.from_quat([np.cos(np.pi / 12), np.sin(np.pi / 12), 0, 0], scalar_first=True)
"""+30° about x: (0.966, 0.259, 0, 0)."""


def of_vqf(gyr: Floats, acc: Floats) -> Floats:
    found: Floats = vqf.VQF(1 / HZ).updateBatch(gyr, acc)["quat6D"]
    return found


def of_ahrs(filter_name: str):
    def run(gyr: Floats, acc: Floats) -> Floats:
        found: Floats = getattr(ahrs.filters, filter_name)(gyr=gyr, acc=acc, frequency=HZ).Q
        return found

    return run


LIBRARIES = {"vqf": of_vqf, "Madgwick": of_ahrs("Madgwick"), "Mahony": of_ahrs("Mahony")}


@pytest.mark.parametrize("library", LIBRARIES)
def test_h56_every_library_in_use_puts_the_scalar_first(library):
    """A sensor tipped by 30° about x: another order would be a rotation by nearly the half turn."""
    n = int(2 * HZ)
    acc = np.tile(THIRTY.inv().apply([0, 0, G]), (n, 1))
    gyr = np.full((n, 3), 1e-9)
    q = LIBRARIES[library](gyr, acc)[-1]
    assert abs(q[0]) == pytest.approx(0.966, abs=0.002)
    assert abs(q[1]) == pytest.approx(0.259, abs=0.005)
    assert np.rad2deg(Rotation.from_quat(q, scalar_first=True).magnitude()) == pytest.approx(30, abs=0.5)
    assert np.rad2deg(Rotation.from_quat(q, scalar_first=False).magnitude()) > 90


def test_h56_scipy_is_told_the_order():
    np.testing.assert_allclose(THIRTY.as_euler("xyz", degrees=True), (30, 0, 0), atol=1e-9)
    np.testing.assert_allclose(THIRTY.as_quat(scalar_first=True), (0.9659, 0.2588, 0, 0), atol=1e-4)


@pytest.mark.parametrize("way", EVERY_WAY[::4], ids=str)
def test_h57_every_filter_takes_the_sensor_to_the_earth(name, way):
    """A sensor that lies anyhow and then turns about the vertical, tipped: its up is earth's up, and a turn to the left
    is a positive one. The inverse fails either."""
    n, still_n = int(3 * HZ), int(HZ)
    rate = np.where(np.arange(n) >= still_n, np.deg2rad(40.0), 0.0)
    block = noisy(imu_block(np.outer(rate, way), np.tile(way * G, (n, 1))))
    out = fused(Fusion("a", filter_name=name), cut(block, 4))
    assert lean_deg(out, way).max() < 1.0
    found = rotations(out)
    np.testing.assert_allclose(np.rad2deg((found[-1] * found[still_n].inv()).as_rotvec()), (0, 0, 80), atol=1.5)
    direct = make(name, 1 / HZ).run(np.zeros((4, 3)), np.tile(way * G, (4, 1)))[0]
    np.testing.assert_allclose(Rotation.from_quat(direct[-1], scalar_first=True).apply(way), (0, 0, 1), atol=1e-6)


# ── h59, h60: the heading wanders ────────────────────────────────────────────────────────────────────────────────


@pytest.mark.parametrize("bias_deg_s", [0.15, -0.15, 0.5])
def test_h59_ten_minutes_of_rest_do_not_turn_the_heading_unmarked(bias_deg_s):
    """0.15 °/s about the vertical is 90° in ten minutes; at rest it is learnt, and what is left lies inside the bar."""
    hz = 50.0
    n = int(600 * hz)
    gyr = np.outer(np.full(n, np.deg2rad(bias_deg_s)), UP_S)
    block = noisy(imu_block(gyr, np.tile(UP_S * G, (n, 1)), dt_s=1 / hz))
    out = fused(Fusion("a", period_s=1 / hz), cut(block, 50))
    found = rotations(out)
    turned = np.abs(np.rad2deg((found * found[0].inv()).as_rotvec()[:, 2]))
    sd = np.rad2deg(joined(out, "heading_sd_rad"))
    assert turned.max() < 6.0
    assert (turned[int(30 * hz) :] < 2 * sd[int(30 * hz) :]).all()
    assert (np.diff(sd) > 0).all(), "the age of the heading is told"
    left = np.rad2deg((joined(out, "bias_rad_s") - gyr) @ UP_S)[int(60 * hz) :]
    assert np.abs(left).max() < 0.02


@pytest.mark.parametrize("way", [np.eye(3)[0], UP_S], ids=["x", "up"])
def test_h60_a_bias_that_moves_with_temperature_is_learnt_again_at_long_rests(way):
    """0 to 0.5 °/s in ten minutes, with ten seconds of rest in every minute, after the first."""
    hz = 50.0
    t_s = np.arange(int(600 * hz)) / hz
    bias = np.deg2rad(0.5) * t_s / 600
    since = t_s % 60 - 10
    sway = np.where(since >= 0, np.deg2rad(30) * np.sin(np.pi * since), 0.0)
    gyr = np.outer(sway, UP_S) + np.outer(bias, way)
    block = noisy(imu_block(gyr, np.tile(UP_S * G, (len(t_s), 1)), dt_s=1 / hz))
    out = fused(Fusion("a", period_s=1 / hz), cut(block, 2))
    left = np.rad2deg((np.outer(bias, way) - joined(out, "bias_rad_s")) @ way)
    drift = [abs(minute.sum()) / hz for minute in np.array_split(left, 10)[1:]]
    assert max(drift) < 3.0
    never = [abs(minute.sum()) / hz for minute in np.array_split(np.rad2deg(bias), 10)[1:]]
    assert never[-1] == pytest.approx(28.5, abs=0.2), "without learning"


# ── h61: a rest that is none ─────────────────────────────────────────────────────────────────────────────────────


@pytest.mark.parametrize("rate_deg_s", [3.0, -3.0, 5.0])
@pytest.mark.parametrize("way", [np.array([0, 0, 1.0]), np.array([1.0, 0, 0]), np.array([0.6, 0, 0.8])], ids=str)
def test_h61_a_slow_turn_of_two_seconds_is_not_taken_for_a_bias(rate_deg_s, way):
    """Still 1 s, a constant slow turn for 2 s (no variance at all), still 1 s; `way` in the earth."""
    t_s = np.arange(int(4 * HZ)) / HZ

    def turned(at: Floats) -> Rotation:
        return Rotation.from_rotvec(np.outer(np.clip(at - 1.0, 0.0, 2.0) * np.deg2rad(rate_deg_s), way)) * START

    block = noisy(imu_block(*samples_of(turned, t_s)))
    out = fused(Fusion("a"), cut(block, 4))
    assert np.rad2deg(np.abs(joined(out, "bias_rad_s"))).max() < 0.1


def test_h61_the_previous_good_bias_is_kept():
    """Learnt in a real rest, it outlives the slow turn after it."""
    bias = np.deg2rad([1.0, -0.6, 0.4])
    t_s = np.arange(int(14 * HZ)) / HZ
    slow = np.where((t_s >= 10) & (t_s < 12), np.deg2rad(3.0), 0.0)
    block = noisy(imu_block(np.outer(slow, UP_S) + bias, np.tile(UP_S * G, (len(t_s), 1))))
    held = joined(fused(Fusion("a"), cut(block, 4)), "bias_rad_s")
    assert np.rad2deg(np.abs(held[t_s >= 9.5] - bias)).max() < 0.15


# ── h63: lost samples ────────────────────────────────────────────────────────────────────────────────────────────


@pytest.mark.parametrize(("lost", "within_deg"), [(5, 2.0), (10, 2.0), (20, None)])
@pytest.mark.parametrize("way", [UP_S, np.eye(3)[0], np.array([0.6, -0.8, 0.0])], ids=["up", "x", "xy"])
def test_h63_a_turn_across_a_gap(name, lost, within_deg, way):
    """A half-sine turn of 600 °/s in 0.25 s with 5, 10 and 20 samples gone at its peak: to go on with the next sample
    as if nothing were loses 15, 30 and 56°. A long gap is a gap: no number is told inside it."""
    t_s = np.arange(400) / HZ
    inside = (t_s >= 1.0) & (t_s <= 1.25)
    rate = np.where(inside, np.deg2rad(600.0) * np.sin(np.pi * (t_s - 1.0) / 0.25), 0.0)
    angle = np.concatenate(([0.0], np.cumsum(0.5 * (rate[1:] + rate[:-1])))) / HZ
    true = START * Rotation.from_rotvec(np.outer(angle, way))
    first = 225 - lost // 2
    keep = np.ones(400, dtype=bool)
    keep[first : first + lost] = False
    steps = np.full(400, 1 / HZ)
    steps[first + lost] = (lost + 1) / HZ
    flags = np.zeros(400, dtype=np.uint8)
    flags[first + lost] = int(Flag.GAP_BEFORE)
    gyr, acc = np.outer(rate, way), true.inv().apply([0, 0, G])
    block = ImuBlock("a", t_s[keep], steps[keep], gyr[keep], acc[keep], flags[keep])
    out = fused(Fusion("a", filter_name=name), cut(block, 4))
    np.testing.assert_array_equal(joined(out, "t_s"), t_s[keep])
    assert np.count_nonzero(joined(out, "flags") & int(Flag.GAP_BEFORE)) == 1
    found = rotations(out)
    moved = np.rad2deg(((found[0].inv() * found[-1]).inv() * (true[0].inv() * true[399])).magnitude())
    if within_deg is not None and name == "vqf":
        assert moved < within_deg
    merger = Merger([("a", Segment.PELVIS)], grid_hz=HZ)
    blocks = [one for oriented in out for one in merger.feed(oriented)] + merger.finish()
    at, ok = np.concatenate([one.t_s for one in blocks]), np.concatenate([one.ok[:, 0] for one in blocks])
    gap = (at > t_s[first - 1] + 1e-6) & (at < t_s[first + lost] - 1e-6)
    assert ok[~gap].all()
    if within_deg is None:
        # the first steps of a gap are told before anybody knows that it is one
        assert not ok[gap][round(0.020 * HZ) :].any()


# ── h75: q and -q ────────────────────────────────────────────────────────────────────────────────────────────────


@pytest.mark.parametrize("every", [2, 7])
@pytest.mark.parametrize("offset_s", [0.0, 0.0017])
def test_h75_signs_that_change_do_not_change_what_lies_between(every, offset_s):
    """Two sensors of which one samples a little later: the common grid lies between its samples."""
    t_s = np.arange(400) / HZ + offset_s
    block = imu_block(*samples_of(tumbling(START), t_s), begin_s=offset_s)
    (out,) = Fusion("a").feed(block)

    def merged(q: Floats) -> tuple[Rotation, Floats]:
        changed = type(out)(**{**{one: getattr(out, one) for one in out.__slots__}, "q_es": q})
        merger = Merger([("a", Segment.PELVIS)], grid_hz=HZ)
        blocks = [*merger.feed(changed), *merger.finish()]
        return (
            Rotation.from_quat(np.concatenate([one.q_es[:, 0] for one in blocks]), scalar_first=True),
            np.concatenate([one.gyr_rad_s for one in blocks]),
        )

    flipped = out.q_es.copy()
    flipped[::every] *= -1
    (one, rate), (two, same_rate) = merged(out.q_es), merged(flipped)
    assert np.rad2deg((one.inv() * two).magnitude()).max() < 1e-6
    np.testing.assert_array_equal(rate, same_rate)
    assert np.rad2deg((two[:-1].inv() * two[1:]).magnitude()).max() < 3.0, "no step is the long way round"
