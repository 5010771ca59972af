"""Known ways to go wrong with body angles, by the number of their kind; each with the input that is said to show it.

Where samples are given they go through fusion, merge and body (`chain.py`), as they do live.
"""

from __future__ import annotations

from dataclasses import fields
from pathlib import Path

import numpy as np
import pytest
from bodies import ALL, GRID_HZ, WORN, command, degrees, random_mounting, stretch, times, true_fit
from chain import Samples, Shown, changed, half_sine, kept, shown, standing_then
from scipy.spatial.transform import Rotation

from imufeedback.body import Body, jcs
from imufeedback.body.calibration import FitImpossible, fit
from imufeedback.body.stretch import WindowSamples
from imufeedback.commands import SetFit, args_of
from imufeedback.record.table import write_angles
from imufeedback.records import AlignedBlock, Angles, Flag, Floats, Hand, Segment, Side

THIGH = Segment.RIGHT_THIGH
ROTATION, FLEXION = 1, 2
"""Segment axes about which a thigh rotates and flexes."""
ANGLE = {ROTATION: 2, FLEXION: 0}
"""Their place among flexion, adduction, internal rotation."""


def still(seconds: float) -> dict[Segment, Floats]:
    return {one: np.zeros((round(seconds * GRID_HZ), 3)) for one in WORN}


def turning(seconds: float, axis: int, peak_deg_s: float, lasting_s: float, at_s: float = 2.0) -> Samples:
    """Standing still, then the right thigh turns once about one of its axes."""
    rates = still(seconds)
    rates[THIGH][:, axis] = half_sine(seconds, np.deg2rad(peak_deg_s), at_s=at_s, lasting_s=lasting_s)
    return standing_then(rates)[1]


def with_one(samples: Samples, segment: Segment, **arrays: np.ndarray) -> Samples:
    return {**samples, segment: changed(samples[segment], **arrays)}


def off(found: Shown, clean: Shown, side: Side = Side.RIGHT) -> Floats:
    """(N, 3) degrees between two runs, NaN where either tells nothing."""
    away: Floats = np.abs(found.hip[side] - clean.hip[side])
    return away


# ── h49: a clipped gyroscope ─────────────────────────────────────────────────────────────────────────────────────


@pytest.mark.parametrize("axis", [ROTATION, FLEXION])
def test_h49_a_clipped_motion_is_told_with_an_error_bar_that_covers_what_was_lost(axis):
    """600 °/s over 0.25 s at a limit of 500 °/s: 6° are missing."""
    samples = turning(5, axis, 600, 0.25)
    limit = np.deg2rad(500)
    gyr = samples[THIGH].gyr_rad_s
    at_end = np.any(np.abs(gyr) >= limit, axis=1)
    flags = (at_end * int(Flag.SATURATED)).astype(np.uint8)
    bad = with_one(samples, THIGH, gyr_rad_s=np.clip(gyr, -limit, limit), flags=flags)
    found, clean = shown(bad), shown(samples)
    after = (found.t_s >= 2.25) & (found.t_s < 3)
    away = off(found, clean)
    assert (away[after] <= 2 * found.sd[Side.RIGHT][after] + 0.1).all()
    k = ANGLE[axis]
    begin = np.argmax(found.t_s > 2.16)  # half way: half of the clipped samples have been seen
    wider = (
        1.5 if axis == ROTATION else 3.0
    )  # skin alone is a wide bar for a hip that is rotated by 45 degrees and more
    assert found.sd[Side.RIGHT][begin, k] > wider * clean.sd[Side.RIGHT][begin, k]
    assert off(found, clean, Side.LEFT).max() < 0.1


# ── h50: a hard knock ────────────────────────────────────────────────────────────────────────────────────────────


@pytest.mark.parametrize("segment", WORN)
@pytest.mark.parametrize("axis", [0, 1, 2])
def test_h50_hard_knocks_leave_the_hips_alone(segment, axis):
    """Five pulses of 10 ms at the end of a ±16 g range, on any sensor and axis, to and fro, then rest."""
    samples = standing_then(still(4.5))[1]
    acc, flags = samples[segment].acc_m_s2.copy(), samples[segment].flags.copy()
    for k in range(5):
        hit = slice(round((2 + 0.3 * k) * GRID_HZ), round((2 + 0.3 * k) * GRID_HZ) + 2)
        acc[hit, axis], flags[hit] = (-1) ** (k // 3) * 16 * 9.80665, int(Flag.SATURATED)
    found = shown(with_one(samples, segment, acc_m_s2=acc, flags=flags))
    late = found.t_s > 2 + 4 * 0.3 + 1
    for side in Side:
        assert np.abs(found.hip[side]).max() < 2.0
        assert np.abs(found.hip[side][late]).max() < 0.5
        # the interval is marked by its bar
        if segment is Segment.thigh(side) or segment is Segment.PELVIS:
            during = (found.t_s > 2.3) & (found.t_s < 3.2)
            before = found.t_s < 1.9
            assert found.sd[side][during].max(axis=0)[0] > 1.5 * found.sd[side][before][-1, 0]


# ── h52: numbers that are none ───────────────────────────────────────────────────────────────────────────────────


@pytest.mark.parametrize("segment", [Segment.PELVIS, THIGH])
@pytest.mark.parametrize(("field", "value"), [("gyr_rad_s", np.nan), ("acc_m_s2", np.inf), ("acc_m_s2", np.nan)])
def test_h52_an_invalid_number_never_becomes_an_angle(segment, field, value):
    samples = turning(5, FLEXION, 200, 1.0)
    clean = shown(samples)
    array, flags = getattr(samples[segment], field).copy(), samples[segment].flags.copy()
    array[500, 1], flags[500] = value, int(Flag.INVALID)
    found = shown(with_one(samples, segment, **{field: array}, flags=flags))
    for side in Side:
        assert np.isfinite(found.hip[side][found.ok[side]]).all()
        late = found.t_s > 3.0
        assert found.ok[side][late].all()
        assert off(found, clean, side)[late].max() < 0.5
    assert np.isfinite(found.pelvis[found.pelvis_ok]).all()


# ── h55, h56, h57: what a quaternion means ───────────────────────────────────────────────────────────────────────


def told(turn: dict[Segment, Floats], stored: dict, mounting=None, heading: float = 0.0, reverse=None) -> list[Angles]:
    """What the body stage says of segments that turn at these rates from standing, zeroed there, with a stored fit.

    `reverse` changes the orientations before they are fed.
    """
    poses, samples = standing_then(turn)
    gyr, acc = ({one: getattr(block, name) for one, block in samples.items()} for name in ("gyr_rad_s", "acc_m_s2"))
    n = len(turn[Segment.PELVIS])
    whole = stretch(poses, t_s=times(0.0, n), gyr=gyr, acc=acc, mounting=mounting, heading_deg=heading)
    if reverse is not None:
        arrays = {f.name: getattr(whole, f.name) for f in fields(whole)}
        whole = AlignedBlock(**arrays | {"q_es": reverse(whole.q_es.copy())})
    body = Body(WORN, hand=Hand.RIGHT, grid_hz=GRID_HZ)
    body.feed(command("set-fit", **stored))
    body.feed(command("zero"))
    return [one for k in range(0, n, 4) for one in body.feed(cut(whole, slice(k, k + 4))) if isinstance(one, Angles)]


def by(pelvis_deg: float, thigh_deg: float) -> dict[Segment, Floats]:
    """Rates of a second of standing, then a second of flexing: so far about z, the right thigh and the pelvis."""
    turn = still(2)
    for one, angle in ((Segment.PELVIS, pelvis_deg), (THIGH, thigh_deg)):
        turn[one][:, 2] = half_sine(2, np.deg2rad(angle) * np.pi / 2, at_s=1.0, lasting_s=0.995) / 0.995
    return turn


@pytest.mark.parametrize("length", [0.97, 1.03])
def test_h55_a_stored_quaternion_that_is_a_little_short_or_long_counts_as_one_of_unit_length(length):
    mounting = random_mounting(5)
    stored = args_of(SetFit.of(true_fit(mounting, WORN)))
    exact = degrees(told(by(0, 30), stored, mounting)[-1], "hip", Side.RIGHT)
    for one in stored["segments"]:
        one["q_sb"] = [length * x for x in one["q_sb"]]
    np.testing.assert_allclose(degrees(told(by(0, 30), stored, mounting)[-1], "hip", Side.RIGHT), exact, atol=0.01)
    np.testing.assert_allclose(exact[-1], (30, 0, 0), atol=0.2)


def test_h55_what_is_stored_of_a_fit_has_unit_length_again_when_it_is_read():
    mounting = random_mounting(5)
    back = SetFit.of(true_fit(mounting, ALL)).fit()
    for one in back.segments:
        assert np.linalg.norm(one.q_sb) == pytest.approx(1.0, abs=1e-9)


def test_h56_the_scalar_stands_first_all_the_way_to_the_angle():
    """q for +30°: (0.966, 0, 0, 0.259) between pelvis and thigh is a flexion of 30°; read the other way round it would
    be a flip, and the joint says so."""
    between = Rotation.from_quat((0.965926, 0, 0, 0.258819), scalar_first=True)
    np.testing.assert_allclose(np.rad2deg(jcs.angles(between.as_matrix())), (30, 0, 0), atol=1e-4)
    mixed = Rotation.from_quat(between.as_quat(scalar_first=True), scalar_first=False)
    assert np.rad2deg(mixed.magnitude()) > 120
    found = told(by(0, 30), args_of(SetFit.of(true_fit({}, WORN))))[-1]
    np.testing.assert_allclose(degrees(found, "hip", Side.RIGHT)[-1], (30, 0, 0), atol=0.2)


@pytest.mark.parametrize("heading", [0, 40, 130, 220, 310])
@pytest.mark.parametrize("mounted", [0, 7])
def test_h57_pelvis_10_and_thigh_40_of_one_heading_are_30(heading, mounted):
    """Pelvis: flexion 10; thigh: flexion 40; both turned by one heading and strapped on anyhow. A pure flexion stays a
    pure flexion: a mixture of conventions makes it -24 / -19 / -4."""
    mounting = random_mounting(mounted) if mounted else {}
    found = told(by(10, 40), args_of(SetFit.of(true_fit(mounting, WORN))), mounting, heading)
    np.testing.assert_allclose(degrees(found[-1], "hip", Side.RIGHT)[-1], (30, 0, 0), atol=0.2)


def cut(block: AlignedBlock, rows: slice) -> AlignedBlock:
    return AlignedBlock(block.segments, *(getattr(block, f.name)[rows] for f in fields(block) if f.name != "segments"))


# ── h59: the heading wanders ─────────────────────────────────────────────────────────────────────────────────────


@pytest.mark.parametrize("bias_deg_s", [0.15, -0.5])
def test_h59_a_bias_about_the_vertical_is_learnt_while_the_player_stands(bias_deg_s):
    samples = standing_then(still(12))[1]
    gyr = samples[THIGH].gyr_rad_s + np.deg2rad([0.0, bias_deg_s, 0.0])
    found = shown(with_one(samples, THIGH, gyr_rad_s=gyr), size=8)
    away = np.abs(found.hip[Side.RIGHT][:, 2])
    assert away.max() < abs(bias_deg_s) * 4
    assert (away <= 2 * found.sd[Side.RIGHT][:, 2]).all()
    assert away[-1] - away[found.t_s > 7][0] < 0.2, "it does not go on"
    assert found.sd[Side.RIGHT][-1, 2] > found.sd[Side.RIGHT][10, 2], "the age of the zero is told"


# ── h61: a still pose that was none ──────────────────────────────────────────────────────────────────────────────


def posed(rate_deg_s: float, axis: int) -> dict[Segment, WindowSamples]:
    """Four seconds of standing; the right thigh turns slowly and evenly for the middle two."""
    n = round(4 * GRID_HZ)
    rates = still(4)
    rates[THIGH][n // 4 : 3 * n // 4, axis] = np.deg2rad(rate_deg_s)
    poses, samples = standing_then(rates)
    out = {}
    for one, block in samples.items():
        q_es = Rotation.from_matrix(poses[one]).as_quat(scalar_first=True)
        up = 9.81 * poses[one][:, 2, :]  # what an even turn adds to gravity at its ends is not the point here
        out[one] = WindowSamples(q_es, block.gyr_rad_s, up, GRID_HZ)
    return out


@pytest.mark.parametrize("axis", [0, 2])
@pytest.mark.parametrize("rate_deg_s", [3.0, -3.0, 6.0])
def test_h61_a_slow_lean_in_the_standing_window_is_refused_with_the_sensor(axis, rate_deg_s):
    """Constant rates have no variance: the mean tells, over the whole window."""
    with pytest.raises(FitImpossible, match=r"right thigh: (leaned|moved) while standing – stand still for 3 seconds"):
        fit(posed(rate_deg_s, axis), posed(0.0, axis), posed(0.0, axis))


# ── h63: lost samples ────────────────────────────────────────────────────────────────────────────────────────────


@pytest.mark.parametrize("axis", [ROTATION, FLEXION])
@pytest.mark.parametrize(("lost", "within_deg"), [(5, 2.0), (10, 2.0), (20, None)])
def test_h63_short_gaps_are_bridged_long_ones_stay_gaps(axis, lost, within_deg):
    """600 °/s over 0.25 s, the samples at the peak gone."""
    samples = turning(4, axis, 600, 0.25)
    first = round(2.125 * GRID_HZ) - lost // 2
    keep = np.ones(len(samples[THIGH].t_s), dtype=bool)
    keep[first : first + lost] = False
    found = shown({**samples, THIGH: kept(samples[THIGH], keep)})
    clean = shown(samples)
    inside = (found.t_s > (first - 0.5) / GRID_HZ) & (found.t_s < (first + lost - 0.5) / GRID_HZ)
    after = found.t_s > (first + lost + 0.5) / GRID_HZ
    away, sd = off(found, clean), found.sd[Side.RIGHT]
    assert found.ok[Side.RIGHT][after].all()
    if within_deg is not None:
        assert np.nanmax(away) < within_deg
        assert (away[after] <= 2 * sd[after] + 0.1).all()
    else:
        # not known before 20 ms have passed without a sample: the steps until then are carried on
        assert not found.ok[Side.RIGHT][inside][round(0.020 * GRID_HZ) :].any()
        assert sd[after][0, 0] > 3 * clean.sd[Side.RIGHT][after][0, 0]
        assert (away[after] <= 2.5 * sd[after] + 0.1).all()
    assert found.ok[Side.LEFT].all()
    assert off(found, clean, Side.LEFT).max() < 0.01


# ── h74: the singular pose ───────────────────────────────────────────────────────────────────────────────────────


@pytest.mark.parametrize("flexion", [20, -40, 90])
@pytest.mark.parametrize("rotation", [10, -30])
@pytest.mark.parametrize("sign", [1, -1])
def test_h74_through_the_pole_nothing_flips_unmarked(flexion, rotation, sign):
    """Adduction from 80° to 100° in small steps: at 90.1 flexion would read 180° off. Near the pole flexion and
    rotation are not defined; elsewhere, up to it, they are what they are."""
    middle = sign * np.linspace(80, 100, 401)
    raw = np.deg2rad(np.column_stack([np.full(401, flexion), middle, np.full(401, rotation)]))
    found = np.rad2deg(jcs.angles(Rotation.from_euler("ZXY", raw).as_matrix()))
    near = np.abs(np.abs(middle) - 90) < 2.8
    assert np.isnan(found[near][:, [0, 2]]).all()
    assert np.isfinite(found[:, 1]).all(), "the middle angle itself is always defined"
    before = np.abs(middle) < 87
    np.testing.assert_allclose(found[before], np.rad2deg(raw[before]), atol=1e-6)
    for k in (0, 2):
        whole = found[np.isfinite(found[:, k]), k]
        steps = np.abs(np.diff(whole))
        # the other side of the pole is another solution: a mark lies between
        assert np.count_nonzero(steps > 90) <= 1
        assert (np.diff(np.flatnonzero(np.isfinite(found[:, k]))) > 1).sum() == 1


@pytest.mark.parametrize("middle", [89.9, 90.0, 90.1])
def test_h74_the_three_poses_are_marked(middle):
    R = Rotation.from_euler("ZXY", np.deg2rad([[20, middle, 10]])).as_matrix()
    raw = jcs.angles(R)
    assert np.isnan(raw[0, [0, 2]]).all()
    rates = jcs.Coordinates.of(R).rates(np.ones((1, 3)))
    assert np.isnan(rates[0, [0, 2]]).all()


def test_h74_the_small_angle_is_in_the_middle():
    """Flexion to 130° with 20° of adduction and 40° of rotation, more than any golfer: never near the pole."""
    grid = np.deg2rad(np.array(np.meshgrid([-30, 0, 60, 130], [-45, 0, 20], [-50, 0, 40])).reshape(3, -1).T)
    np.testing.assert_allclose(jcs.angles(Rotation.from_euler("ZXY", grid).as_matrix()), grid, atol=1e-9)


# ── h75: q and -q ────────────────────────────────────────────────────────────────────────────────────────────────


@pytest.mark.parametrize("every", [2, 7])
def test_h75_reversed_signs_change_neither_angles_nor_rates_nor_rows(every, tmp_path: Path):
    """A smooth motion in which every 7th quaternion has its sign reversed, before the body stage."""

    def reversed_signs(q: Floats) -> Floats:
        q[::every] *= -1
        q[3::every, 1] *= -1
        return q

    stored = args_of(SetFit.of(true_fit({}, WORN)))
    one, two = told(by(20, 60), stored), told(by(20, 60), stored, reverse=reversed_signs)
    for a, b in zip(one, two, strict=True):
        for joint, other in zip(a.joints, b.joints, strict=True):
            np.testing.assert_allclose(joint.angle_rad, other.angle_rad, atol=1e-9)
            np.testing.assert_allclose(joint.rate_rad_s, other.rate_rad_s, atol=1e-9)
        np.testing.assert_allclose(a.pelvis.angle_rad, b.pelvis.angle_rad, atol=1e-9)
        np.testing.assert_allclose(a.pelvis.rate_rad_s, b.pelvis.rate_rad_s, atol=1e-9)
    tables = []
    for name, angles in (("a.csv", one), ("b.csv", two)):
        write_angles(tmp_path / name, angles)
        tables.append(np.genfromtxt(tmp_path / name, delimiter=",", skip_header=1))
    np.testing.assert_allclose(tables[0], tables[1], atol=1e-4)
    assert np.abs(np.diff(tables[1], axis=0)).max() < 2.0, "no row is the long way round"
