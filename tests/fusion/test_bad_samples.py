"""What bad samples cost, from the sample to the angle: knocks, clipped rates, no numbers, a start in motion."""

from __future__ import annotations

import numpy as np
import pytest
from bodies import GRID_HZ, WORN, command, true_fit
from chain import changed, half_sine, shown, standing_then
from imus import HZ, G, cut, fused, imu_block, joined, rotations, tilt_error_deg
from scipy.spatial.transform import Rotation

from imufeedback.body import Body
from imufeedback.commands import SetFit, args_of
from imufeedback.fusion import Fusion
from imufeedback.records import FitRefused, Flag, Hand, Segment, Side
from imufeedback.timing import Merger

START = Rotation.from_euler("ZYX", [40, -25, 70], degrees=True)
UP = START.inv().apply([0, 0, 1.0])
THIGH = Segment.RIGHT_THIGH
rng = np.random.default_rng(1)


def noisy(b):
    return changed(
        b,
        gyr_rad_s=b.gyr_rad_s + rng.normal(0, 1.2e-3, b.gyr_rad_s.shape),
        acc_m_s2=b.acc_m_s2 + rng.normal(0, 0.012, b.acc_m_s2.shape),
    )


def still(s):
    return {one: np.zeros((round(s * GRID_HZ), 3)) for one in WORN}


@pytest.mark.parametrize("axis", [0, 1, 2])
def test_h50_fusion_tilt(axis):
    n = int(6 * HZ)
    acc, flags = np.tile(UP * G, (n, 1)), np.zeros(n)
    for k in range(5):
        i = int((2 + 0.3 * k) * HZ)
        acc[i : i + 2, axis], flags[i : i + 2] = 16 * 9.80665, 1
    out = fused(Fusion("a"), cut(imu_block(np.zeros((n, 3)), acc, flags=flags), 4))
    e = tilt_error_deg(rotations(out), Rotation.concatenate([START] * n))
    assert e[int(4.2 * HZ) :].max() < 2.0


@pytest.mark.parametrize("tells", [False, True])
def test_a_knock_is_passed_on_only_where_it_is_the_impact(tells):
    n = round(3 * HZ)
    acc = np.tile([0.0, 0.0, G], (n, 1))
    acc[round(2 * HZ)] = [14 * G, 0.0, G]
    out = fused(Fusion("a", tells_knocks=tells), cut(imu_block(np.zeros((n, 3)), acc), 4))
    strongest = np.linalg.norm(joined(out, "acc_m_s2"), axis=1).max()
    assert strongest == pytest.approx(np.hypot(14, 1) * G if tells else G)
    up = rotations(out).inv().apply([0.0, 0.0, 1.0])
    assert np.rad2deg(np.arccos(np.clip(up[:, 2], -1, 1))).max() < 0.1, "the filter never sees it"


@pytest.mark.parametrize("axis", [0, 2])
def test_h50_pelvis_tilt_shown(axis):
    b = standing_then(still(5))[1]
    acc, fl = b[Segment.PELVIS].acc_m_s2.copy(), b[Segment.PELVIS].flags.copy()
    for k in range(5):
        i = round((2 + 0.3 * k) * GRID_HZ)
        acc[i : i + 2, axis], fl[i : i + 2] = 16 * 9.80665, 1
    s = shown({**b, Segment.PELVIS: changed(b[Segment.PELVIS], acc_m_s2=acc, flags=fl)})
    assert np.abs(s.pelvis[s.t_s > 4.2, 1:]).max() < 2.0


@pytest.mark.parametrize("size", [2, 4, 8])
@pytest.mark.parametrize(
    ("peak", "last", "lim", "axis"), [(600, 0.25, 250, 2), (2600, 0.08, 2000, 2), (600, 0.12, 250, 1)]
)
def test_h49_bar_covers(peak, last, lim, axis, size):
    """Flexion by 95 and 132 degrees; rotation by 46, as far as a hip goes."""
    r = still(5)
    r[THIGH][:, axis] = half_sine(5, np.deg2rad(peak), at_s=2, lasting_s=last)
    b = standing_then(r)[1]
    g, lim = b[THIGH].gyr_rad_s, np.deg2rad(lim)
    fl = np.any(np.abs(g) >= lim, axis=1).astype(np.uint8)
    s, c = (
        shown({**b, THIGH: changed(b[THIGH], gyr_rad_s=np.clip(g, -lim, lim), flags=fl)}, size=size),
        shown(b, size=size),
    )
    after = (s.t_s > 2 + last + 0.01) & (s.t_s < 3)
    e, sd = np.abs(s.hip[Side.RIGHT] - c.hip[Side.RIGHT])[after], s.sd[Side.RIGHT][after]
    ok = np.isfinite(e)
    assert (e <= 2.0 * sd + 0.1)[ok].all(), f"worst {np.nanmax(e / sd):.1f} sd, {np.nanmax(e):.0f} deg"
    assert not ok[0].all(), "so much turn is missing that no angle may be shown"
    assert ok[-1, 0], "gravity has brought flexion back"


def test_h52_a_second_without_numbers_is_not_ok():
    t = np.arange(int(4 * HZ)) / HZ
    bad = (t >= 2) & (t < 3)
    gyr = np.outer(np.where(t < 2, np.deg2rad(100), 0.0), UP)
    gyr[bad] = np.nan
    b = imu_block(gyr, np.tile(UP * G, (len(t), 1)), flags=bad * int(Flag.INVALID))
    m = Merger([("a", Segment.PELVIS)], grid_hz=HZ)
    out = fused(Fusion("a"), cut(b, 4))
    blocks = [x for o in out for x in m.feed(o)] + m.finish()
    at, ok = np.concatenate([x.t_s for x in blocks]), np.concatenate([x.ok[:, 0] for x in blocks])
    r = rotations(out)
    turned = np.rad2deg((r[int(2.95 * HZ)] * r[int(2.05 * HZ)].inv()).magnitude())
    assert not ok[(at > 2.06) & (at < 2.95)].any(), f"shown as ok, and turned on by {turned:.0f} deg"


@pytest.mark.parametrize("name", ["madgwick", "mahony"])
def test_h52_zero_acceleration_first(name):
    acc = np.tile(UP * G, (400, 1))
    acc[:2] = 0.0
    b = imu_block(np.full((400, 3), 1e-3), acc)
    assert np.isfinite(joined(fused(Fusion("a", filter_name=name), cut(b, 4)), "q_es")[100:]).all()


@pytest.mark.parametrize("push", [1.0, 3.0])
@pytest.mark.parametrize("name", ["vqf", "madgwick", "mahony"])
def test_h54_start_in_motion(name, push):
    """Carried for half a second when the stream begins, then still."""
    n = int(3 * HZ)
    acc = np.tile(UP * G, (n, 1))
    acc[: int(0.5 * HZ)] += [push, 0, 0]
    out = fused(Fusion("a", filter_name=name), cut(noisy(imu_block(np.zeros((n, 3)), acc)), 4))
    e = tilt_error_deg(rotations(out), Rotation.concatenate([START] * n))
    assert e[int(1.0 * HZ) :].max() < 1.0, (
        f"{e[int(0.7 * HZ)]:.1f} deg 0.2 s and {e[int(HZ)]:.1f} deg 0.5 s after it is still"
    )


def test_h54_after_a_long_gap_in_another_pose():
    one = imu_block(np.zeros((400, 3)), np.tile(UP * G, (400, 1)))
    other = np.array([1.0, 0, 0])
    steps = np.full(400, 1 / HZ)
    steps[0] = 10.0
    two = changed(imu_block(np.zeros((400, 3)), np.tile(other * G, (400, 1)), begin_s=12.0), dt_s=steps)
    stage = Fusion("a")
    fused(stage, cut(noisy(one), 4))
    out = fused(stage, cut(noisy(two), 4))
    lean = np.rad2deg(np.arccos(np.clip(rotations(out).apply(other)[:, 2], -1, 1)))
    assert lean[int(0.5 * HZ) :].max() < 1.0, (
        f"{lean[int(0.5 * HZ)]:.0f} deg after 0.5 s; bar {np.rad2deg(out[30].inclination_sd_rad[0]):.1f}"
    )


def test_h55_four_numbers_that_are_no_rotation_are_refused():
    body = Body(WORN, hand=Hand.RIGHT, grid_hz=GRID_HZ)
    stored = args_of(SetFit.of(true_fit({}, WORN)))
    stored["segments"][0]["q_sb"] = [1.0, 9.0, -1.0, -0.5]
    assert isinstance(body.feed(command("set-fit", **stored))[0], FitRefused)


def test_h59_bias_never_seen_bar_covers():
    """0.15 deg/s about the vertical in one thigh sensor, swaying all the time: nobody rests, nothing is learnt."""
    r, t = still(60), np.arange(60 * 200) / GRID_HZ
    sway = np.where(t > 2, 0.4 * np.sin(2 * np.pi * 0.8 * (t - 2)), 0.0)
    for one in WORN:
        r[one] = np.outer(sway, [0.3, 0.5, 0.3])
    b = standing_then(r)[1]
    g = b[THIGH].gyr_rad_s + np.outer(np.ones(len(t)), [0, np.deg2rad(0.15), 0])
    s, c = shown({**b, THIGH: changed(b[THIGH], gyr_rad_s=g)}, size=8), shown(b, size=8)
    e, sd = np.abs(s.hip[Side.RIGHT] - c.hip[Side.RIGHT])[:, 2], s.sd[Side.RIGHT][:, 2]
    assert np.mean(e <= 2 * sd) > 0.91, f"after a minute {e[-1]:.1f} deg off, bar {sd[-1]:.1f}"
