"""All joints of a wearer over gaps, clipped samples and zeroings: what is lost is said, and the bar covers it."""

from __future__ import annotations

import dataclasses
import pickle

import numpy as np
import pytest
from bodies import ALL, GRID_HZ, STANDING, WORN, linked_forces, random_mounting, stretch, times
from scipy.spatial.transform import Rotation

from imufeedback.body import jcs
from imufeedback.body.joints import Joint
from imufeedback.body.links import Links
from imufeedback.body.matrices import about_vertical, from_q
from imufeedback.records import AlignedBlock, Floats, Segment, Side, same

HEADING = dict(zip(ALL, (40.0, -75.0, 160.0, 5.0, -130.0), strict=True))
MOUNTING = random_mounting(3)
Q_SB = np.stack([MOUNTING[one].as_matrix() for one in ALL])
FREE = np.deg2rad([[0.9, 0.5, 0.4], [1.1, -0.7, 0.6], [-0.8, 0.6, 0.9], [0.7, 0.9, -0.5], [1.0, 0.4, 0.8]]) * 20
"""Size of each segment's turns about its own axes."""


def walked(seconds: float) -> AlignedBlock:
    """All segments turn to and fro, each in its own way, up to about 200 °/s, from standing still for 0.1 s."""
    n = round(seconds * GRID_HZ)
    since = np.maximum(times(0.0, n) - 0.1, 0.0)
    poses, rates = {}, {}
    for k, one in enumerate(ALL):
        beat = np.array([2.1, 2.9, 3.7]) * (1 + 0.1 * k)
        speed = FREE[k] * beat * np.sin(beat * since[:, None])
        steps = 0.5 * (speed[1:] + speed[:-1]) / GRID_HZ
        turned = [Rotation.from_matrix(STANDING)]
        for step in steps:
            turned.append(turned[-1] * Rotation.from_rotvec(step))
        poses[one], rates[one] = Rotation.concatenate(turned).as_matrix(), speed
    forces = linked_forces(poses, rates)
    return stretch(poses, t_s=times(0.0, n), mounting=MOUNTING, heading_deg=HEADING, gyr=rates, acc=forces)


@pytest.fixture(scope="module")
def walk() -> AlignedBlock:
    return walked(6.0)


def cut(block: AlignedBlock, size: int = 4) -> list[AlignedBlock]:
    names = [f.name for f in dataclasses.fields(block) if f.name != "segments"]
    return [
        AlignedBlock(block.segments, *(getattr(block, name)[at : at + size] for name in names))
        for at in range(0, len(block.t_s), size)
    ]


TURNS = {one: np.deg2rad(HEADING[Segment.PELVIS] - HEADING[one]) for one in ALL[1:]}
"""The true turns of the earths."""


@dataclasses.dataclass
class Found:
    """One joint over a whole stretch."""

    joint: Joint
    R: Floats
    """(N, 3, 3) distal segment to proximal segment."""
    covariance: Floats
    """(N, 3, 3)"""


class Worn:
    """Links, zeroed at the first step of all, and the covariance that held last."""

    def __init__(self, arms_off_m: float = 0.0) -> None:
        self.links = Links(ALL, grid_hz=GRID_HZ)
        self._off_m = arms_off_m
        self._last: Floats | None = None

    def feed(self, block: AlignedBlock, *, zero: bool = False) -> list[Found]:
        run = self.links.run(block, Q_SB)
        if self._last is None:
            run.zero(0, TURNS)
            state = self.links._state
            state.link.arms_m = state.link.arms_m + self._off_m
        for i in run.checks():
            if zero:
                run.zero(i, {})
        seen = run.relative()
        covariance = np.full((len(seen.joints), len(block.t_s), 3, 3), np.nan)
        if self._last is not None:
            covariance[:] = self._last[:, None]
        for k, at in enumerate(seen.begins):
            covariance[:, at:] = seen.covariance[:, k, None]
        self._last = covariance[:, -1]
        return [Found(joint, R, C) for joint, R, C in zip(seen.joints, seen.R, covariance, strict=True)]


def run(worn: Worn, blocks: list[AlignedBlock]) -> dict[tuple[str, Side], Found]:
    """Whole stretches, joined."""
    parts = [worn.feed(block) for block in blocks]
    return {
        (many[0].joint.name, many[0].joint.side): Found(
            many[0].joint, np.concatenate([one.R for one in many]), np.concatenate([one.covariance for one in many])
        )
        for many in zip(*parts, strict=True)
    }


def errors(block: AlignedBlock, one: Found) -> Floats:
    """(N, 3) rotation vectors, proximal segment, from the true relative orientation to the one found."""
    earth = {
        segment: about_vertical(-np.deg2rad(HEADING[segment]))
        @ from_q(block.q_es[:, ALL.index(segment)])
        @ Q_SB[ALL.index(segment)]
        for segment in (one.joint.proximal, one.joint.distal)
    }
    true = np.swapaxes(earth[one.joint.proximal], 1, 2) @ earth[one.joint.distal]
    found = np.where(np.isfinite(one.R), one.R, true)
    out: Floats = Rotation.from_matrix(found @ np.swapaxes(true, 1, 2)).as_rotvec()
    return out


def sd(one: Found) -> Floats:
    """(N,) root of the mean variance."""
    out: Floats = np.sqrt(np.trace(one.covariance, axis1=1, axis2=2) / 3)
    return out


def missing(block: AlignedBlock, segment: Segment, begin_s: float, end_s: float) -> AlignedBlock:
    """The same with one sensor gone for a while: no number of it in there."""
    lost = (block.t_s >= begin_s - 1e-9) & (block.t_s < end_s - 1e-9)
    i = block.segments.index(segment)
    arrays = {name: getattr(block, name).copy() for name in ("q_es", "gyr_rad_s", "acc_m_s2", "ok")}
    for name in ("q_es", "gyr_rad_s", "acc_m_s2"):
        arrays[name][lost, i] = np.nan
    arrays["ok"][lost, i] = False
    return dataclasses.replace(block, **arrays)


def test_no_joint_is_known_before_the_first_zero(walk):
    links = Links(ALL, grid_hz=GRID_HZ)
    run = links.run(cut(walk)[0], Q_SB)
    assert list(run.checks()) == [0]
    assert np.isnan(run.relative().R).all()


def test_where_nobody_looks_the_joints_are_the_same(walk):
    """All updates of a stretch in one go, some of them, and one by one."""
    found = []
    for wanted in (lambda _: False, lambda k: k % 3 == 1, lambda _: True):
        run = Links(ALL, grid_hz=GRID_HZ).run(walk, Q_SB)
        run.zero(0, TURNS)
        looked = list(run.checks(wanted))
        assert looked == [i for k, i in enumerate(run.boundaries) if wanted(k)]
        found.append(run.relative())
    for one in found[1:]:
        for name in ("R", "begins", "since_zero", "covariance", "level"):
            np.testing.assert_array_equal(getattr(one, name), getattr(found[0], name))
    assert len(found[0].begins) > 10


def test_every_joint_follows_the_truth(walk):
    blocks = cut(walk)
    found = run(Worn(), blocks)
    assert set(found) == {(name, side) for name in ("hip", "knee") for side in Side}
    for one in found.values():
        assert np.rad2deg(np.abs(errors(walk, one)).max()) < 1e-6
        assert np.rad2deg(sd(one)).max() < 1.5


def test_only_joints_between_worn_segments():
    assert [(one.name, one.side) for one in Links(WORN, grid_hz=GRID_HZ).joints] == [("hip", side) for side in Side]


@pytest.mark.parametrize("size", [1, 3, 8, 9, 1200])
def test_blocks_of_any_size_tell_the_same(walk, size):
    """What changes a joint happens at steps of the grid and not at the edges of blocks."""
    gone = missing(walk, Segment.LEFT_THIGH, 3.015, 3.1)
    found = [run(Worn(arms_off_m=0.01), cut(gone, n)) for n in (4, size)]
    for key, one in found[0].items():
        np.testing.assert_allclose(found[1][key].R, one.R, atol=1e-9)
        np.testing.assert_allclose(found[1][key].covariance, one.covariance, atol=1e-9)


@pytest.mark.parametrize(
    ("segment", "spoilt"),
    [
        (Segment.LEFT_SHANK, {("knee", Side.LEFT)}),
        (Segment.RIGHT_THIGH, {("hip", Side.RIGHT), ("knee", Side.RIGHT)}),
        (Segment.PELVIS, {("hip", Side.RIGHT), ("hip", Side.LEFT)}),
    ],
)
def test_a_missing_sensor_spoils_its_own_joints_only(walk, segment, spoilt):
    """For exactly as long as it is away, and in the middle of blocks."""
    blocks = cut(missing(walk, segment, 2.015, 2.315))
    found = run(Worn(), blocks)
    clean = run(Worn(), cut(walk))
    gone = (walk.t_s >= 2.015 - 1e-9) & (walk.t_s < 2.315 - 1e-9)
    assert gone.sum() == 60
    for key, one in found.items():
        unknown = gone if key in spoilt else np.zeros(len(gone), dtype=bool)
        np.testing.assert_array_equal(np.isnan(one.R).any(axis=(1, 2)), unknown)
        np.testing.assert_array_equal(np.isnan(one.covariance).any(axis=(1, 2)), unknown)
        if key not in spoilt:
            assert np.rad2deg(np.abs(errors(walk, one)).max()) < 1e-3
            np.testing.assert_allclose(sd(one), sd(clean[key]), rtol=0.1)


@pytest.mark.parametrize("guess_deg", [0.0, 6.0, -8.0])
def test_after_a_gap_the_error_bar_covers_the_error(walk, guess_deg):
    """300 ms without the thigh, after which the sensor's own filter has its tilt but only a guess of the turn made
    meanwhile: a straight line misses some degrees, and the filter says how many. The bar is wide then, and motion
    that shakes the joint makes it narrow again."""
    turned = missing(walk, Segment.RIGHT_THIGH, 2.0, 2.3)
    after = turned.t_s >= 2.3 - 1e-9
    q_es, i = turned.q_es.copy(), ALL.index(Segment.RIGHT_THIGH)
    off = Rotation.from_euler("z", guess_deg, degrees=True)
    q_es[after, i] = (off * Rotation.from_quat(q_es[after, i], scalar_first=True)).as_quat(scalar_first=True)
    lost = np.where(after[:, None] & (np.arange(len(ALL)) == i), np.deg2rad(9.5), 0.0)
    blocks = cut(dataclasses.replace(turned, q_es=q_es, heading_sd_rad=lost))
    found = run(Worn(), blocks)
    for key in (("hip", Side.RIGHT), ("knee", Side.RIGHT)):
        error, spread = np.linalg.norm(errors(walk, found[key]), axis=1), sd(found[key])
        assert np.rad2deg(spread[after][0]) > 5.0
        assert np.rad2deg(error[after][0]) == pytest.approx(abs(guess_deg), abs=0.5)
        assert (error[after] < 2.0 * np.sqrt(3) * spread[after]).all()
        if key[0] == "knee":  # its centre is shaken at 1 to 2 m/s²
            assert spread[-1] < 0.5 * spread[after][0]
        else:  # 0.3 m/s² could as well be the accelerometers' offsets: they must not make a heading sure
            assert 0.9 * spread[after][0] < spread[-1] <= spread[after][0]
        assert error[-1] <= max((0.8 if key[0] == "knee" else 1.05) * error[after][0], np.deg2rad(0.5))


def test_a_gap_does_not_turn_what_goes_on(walk):
    """The pelvis sensor goes on in its frame while the thigh is away: what begins again begins at the same instant."""
    blocks = cut(missing(walk, Segment.LEFT_THIGH, 2.0, 2.1))
    found = run(Worn(), blocks)
    after = walk.t_s >= 2.1 - 1e-9
    for key in (("hip", Side.LEFT), ("knee", Side.LEFT)):
        assert np.rad2deg(np.abs(errors(walk, found[key])[after]).max()) < 1e-3


def test_arms_that_were_found_outlive_a_gap(walk):
    blocks = cut(missing(walk, Segment.RIGHT_THIGH, 5.0, 5.5))
    worn = Worn()
    run(worn, [block for block in blocks if block.t_s[-1] < 5.0])
    before = worn.links.state.link
    run(worn, [block for block in blocks if 5.0 <= block.t_s[0] < 5.52])
    after = worn.links.state.link
    np.testing.assert_allclose(after.arms_m, before.arms_m, atol=1e-6)
    for was, now in zip(before.P, after.P, strict=True):
        assert np.diag(now)[3:].max() < 1.1 * np.diag(was)[3:].max()


def test_clipped_samples_widen_the_bar(walk):
    """Of their own joints, by more the more there are."""

    def clipped(count: int) -> dict[tuple[str, Side], Found]:
        saturated = walk.saturated.copy()
        shank = ALL.index(Segment.LEFT_SHANK)
        saturated[600 : 600 + count, shank] = True
        tilt_sd = walk.inclination_sd_rad.copy()  # as the sensor's own filter tells it, by what was lost so far
        tilt_sd[600 : 600 + count, shank] = np.deg2rad(1.2) * np.arange(1, count + 1)
        blocks = cut(dataclasses.replace(walk, saturated=saturated, inclination_sd_rad=tilt_sd))
        return run(Worn(), blocks)

    none, two, eight = (clipped(n) for n in (0, 2, 8))
    knee = ("knee", Side.LEFT)
    at = 609
    np.testing.assert_array_equal(sd(two[knee])[:600], sd(none[knee])[:600])
    assert sd(two[knee])[at] > sd(none[knee])[at] + np.deg2rad(0.8)
    assert sd(eight[knee])[at] > sd(two[knee])[at] + np.deg2rad(1.5)
    assert sd(eight[knee])[-1] < 0.5 * sd(eight[knee])[at]
    for key in set(none) - {knee}:
        np.testing.assert_allclose(sd(eight[key]), sd(none[key]), rtol=0.05)  # told at more instants


def test_a_zero_turns_about_the_vertical_only(walk):
    """After a zero the joint's rotation is nothing; seen from the earth the limb has kept its tilt."""
    blocks = cut(walk)
    zeroed, plain = Worn(), Worn()
    before = run(zeroed, blocks[:50])
    run(plain, blocks[:50])
    for one, other in zip(zeroed.feed(blocks[50], zero=True), plain.feed(blocks[50]), strict=True):
        p = ALL.index(one.joint.proximal)
        earth = from_q(blocks[50].q_es[0, p]) @ Q_SB[p]
        assert abs(jcs.angles(one.R[0])[2]) < 1e-9
        turn = Rotation.from_matrix(earth @ one.R[0] @ other.R[0].T @ earth.T).as_rotvec()
        assert np.linalg.norm(turn) > np.deg2rad(1.0)
        np.testing.assert_allclose(turn[:2], 0, atol=np.deg2rad(0.05))
        up = earth[2]
        assert up @ one.covariance[0] @ up < up @ before[one.joint.name, one.joint.side].covariance[-1] @ up


def test_first_half_and_restored_state_and_second_half_are_the_whole(walk):
    """Also where a sensor is away at the cut, and where samples wait for an update."""
    blocks = cut(missing(walk, Segment.RIGHT_THIGH, 1.0, 1.3))[:100]
    first = Worn()
    expected = [first.feed(block) for block in blocks]
    for at in (1, 2, 49, 50, 53, 57, 65, 66, 90):
        worn = Worn()
        found = [worn.feed(block) for block in blocks[:at]]
        kept = pickle.loads(pickle.dumps(worn.links.state))
        worn.links = Links(ALL, grid_hz=GRID_HZ)
        worn.links.state = kept
        found += [worn.feed(block) for block in blocks[at:]]
        for ours, theirs in zip(found, expected, strict=True):
            for one, other in zip(ours, theirs, strict=True):
                assert same(one.R, other.R)
                assert same(one.covariance, other.covariance)


def test_a_new_calibration_forgets_everything(walk):
    blocks = cut(walk)
    worn = Worn()
    run(worn, blocks[:20])
    worn.links.reset()
    assert not worn.links.state.begun.any()
    assert np.isnan(np.stack([one.R for one in worn.feed(blocks[20])])).all()
