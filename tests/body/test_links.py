"""All joints of a wearer over gaps, clipped samples and zeroings: what is lost is said, and the bar covers it."""

from __future__ import annotations

import copy
import dataclasses
import pickle

import numpy as np
import pytest
from bodies import ALL, GRID_HZ, STANDING, WORN, linked_forces, random_mounting, stretch, times
from scipy.spatial.transform import Rotation

from imufeedback.body.links import Links, Relative
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


def begun(block: AlignedBlock) -> Links:
    """With the earths' turns that are true."""
    links = Links(ALL, grid_hz=GRID_HZ)
    turns = {one: np.deg2rad(HEADING[Segment.PELVIS] - HEADING[one]) for one in ALL[1:]}
    links.zero(block, turns, Q_SB)
    return links


def run(links: Links, blocks: list[AlignedBlock]) -> dict[tuple[str, Side], Relative]:
    """Whole stretches, joined."""
    parts = [links.feed(block, Q_SB) for block in blocks]
    return {
        (many[0].joint.name, many[0].joint.side): Relative(
            many[0].joint, np.concatenate([one.R for one in many]), np.concatenate([one.covariance for one in many])
        )
        for many in zip(*parts, strict=True)
    }


def errors(block: AlignedBlock, one: Relative) -> Floats:
    """(N, 3) rotation vectors, proximal sensor, from the true relative orientation to the one found."""
    earth = {
        segment: about_vertical(-np.deg2rad(HEADING[segment])) @ from_q(block.q_es[:, ALL.index(segment)])
        for segment in (one.joint.proximal, one.joint.distal)
    }
    true = np.swapaxes(earth[one.joint.proximal], 1, 2) @ earth[one.joint.distal]
    found = np.where(np.isfinite(one.R), one.R, true)
    out: Floats = Rotation.from_matrix(found @ np.swapaxes(true, 1, 2)).as_rotvec()
    return out


def sd(one: Relative) -> Floats:
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


def test_nothing_before_the_first_zero(walk):
    assert Links(ALL, grid_hz=GRID_HZ).feed(cut(walk)[0], Q_SB) == []


def test_every_joint_follows_the_truth(walk):
    blocks = cut(walk)
    found = run(begun(blocks[0]), blocks)
    assert set(found) == {(name, side) for name in ("hip", "knee") for side in Side}
    for one in found.values():
        assert np.rad2deg(np.abs(errors(walk, one)).max()) < 1e-6
        assert np.rad2deg(sd(one)).max() < 1.5


def test_only_joints_between_worn_segments():
    links = Links(WORN, grid_hz=GRID_HZ)
    block = cut(walked(0.1))[0]
    names = [f.name for f in dataclasses.fields(block)]
    three = AlignedBlock(WORN, *(getattr(block, name)[:, :3] if name != "t_s" else block.t_s for name in names[1:]))
    links.zero(three, dict.fromkeys(WORN[1:], 0.0), Q_SB[:3])
    assert [(one.joint.name, one.joint.side) for one in links.feed(three, Q_SB[:3])] == [("hip", side) for side in Side]


@pytest.mark.parametrize("size", [1, 3, 8, 9, 1200])
def test_blocks_of_any_size_tell_the_same(walk, size):
    """A longer block is not one long update. (The instants of the updates move with the blocks, hence a little.)"""
    arm = 0.01 * np.ones(6)
    found = []
    for blocks in (cut(walk), cut(walk, size)):
        links = begun(blocks[0])
        for one in links.state.joints.values():  # so that the filters have something to do
            one.link.arms_m = one.link.arms_m + arm
        found.append(run(links, blocks))
    for key, one in found[0].items():
        between = Rotation.from_matrix(one.R @ np.swapaxes(found[1][key].R, 1, 2)).magnitude()
        assert np.rad2deg(between.max()) < 0.2
        np.testing.assert_allclose(sd(found[1][key])[-1], sd(one)[-1], rtol=0.1)


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
    found = run(begun(blocks[0]), blocks)
    clean = run(begun(blocks[0]), cut(walk))
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
    meanwhile: a straight line misses some degrees. The bar is wide then, and motion makes it narrow again."""
    turned = missing(walk, Segment.RIGHT_THIGH, 2.0, 2.3)
    after = turned.t_s >= 2.3 - 1e-9
    q_es, i = turned.q_es.copy(), ALL.index(Segment.RIGHT_THIGH)
    off = Rotation.from_euler("z", guess_deg, degrees=True)
    q_es[after, i] = (off * Rotation.from_quat(q_es[after, i], scalar_first=True)).as_quat(scalar_first=True)
    blocks = cut(dataclasses.replace(turned, q_es=q_es))
    found = run(begun(blocks[0]), blocks)
    for key in (("hip", Side.RIGHT), ("knee", Side.RIGHT)):
        error, spread = np.linalg.norm(errors(walk, found[key]), axis=1), sd(found[key])
        assert np.rad2deg(spread[after][0]) > 8.0
        assert np.rad2deg(error[after][0]) == pytest.approx(abs(guess_deg), abs=0.5)
        assert (error[after] < 2.0 * np.sqrt(3) * spread[after]).all()
        assert spread[-1] < 0.5 * spread[after][0]
        assert error[-1] <= max(0.8 * error[after][0], np.deg2rad(0.5))


def test_a_gap_does_not_turn_what_goes_on(walk):
    """The pelvis sensor goes on in its frame while the thigh is away: what begins again begins at the same instant."""
    blocks = cut(missing(walk, Segment.LEFT_THIGH, 2.0, 2.1))
    found = run(begun(blocks[0]), blocks)
    after = walk.t_s >= 2.1 - 1e-9
    for key in (("hip", Side.LEFT), ("knee", Side.LEFT)):
        assert np.rad2deg(np.abs(errors(walk, found[key])[after]).max()) < 1e-3


def test_arms_that_were_found_outlive_a_gap(walk):
    blocks = cut(missing(walk, Segment.RIGHT_THIGH, 5.0, 5.5))
    links = begun(blocks[0])
    run(links, [block for block in blocks if block.t_s[-1] < 5.0])
    before = {k: copy.deepcopy(one.link) for k, one in links.state.joints.items()}
    run(links, [block for block in blocks if 5.0 <= block.t_s[0] < 5.52])
    for k, one in links.state.joints.items():
        np.testing.assert_allclose(one.link.arms_m, before[k].arms_m, atol=1e-6)
        assert np.diag(one.link.P)[3:].max() < 1.1 * np.diag(before[k].P)[3:].max()


def test_clipped_samples_widen_the_bar(walk):
    """Of their own joints, by more the more there are."""

    def clipped(count: int) -> dict[tuple[str, Side], Relative]:
        saturated = walk.saturated.copy()
        saturated[600 : 600 + count, ALL.index(Segment.LEFT_SHANK)] = True
        blocks = cut(dataclasses.replace(walk, saturated=saturated))
        return run(begun(blocks[0]), blocks)

    none, two, eight = (clipped(n) for n in (0, 2, 8))
    knee = ("knee", Side.LEFT)
    at = 609
    np.testing.assert_array_equal(sd(two[knee])[:600], sd(none[knee])[:600])
    assert sd(two[knee])[at] > sd(none[knee])[at] + np.deg2rad(0.8)
    assert sd(eight[knee])[at] > sd(two[knee])[at] + np.deg2rad(1.5)
    assert sd(eight[knee])[-1] < 0.5 * sd(eight[knee])[at]
    for key in set(none) - {knee}:
        np.testing.assert_array_equal(sd(eight[key]), sd(none[key]))


def test_a_zero_turns_about_the_vertical_only(walk):
    """After a zero the joint's rotation is nothing; seen from the earth the limb has kept its tilt."""
    blocks = cut(walk)
    links = begun(blocks[0])
    before = run(links, blocks[:50])
    links.zero(blocks[49], {}, Q_SB)
    after = run(links, [blocks[50]])
    again = run(begun(blocks[0]), blocks[:51])
    for key, one in after.items():
        p = ALL.index(one.joint.proximal)
        earth = from_q(blocks[50].q_es[0, p])
        turn = Rotation.from_matrix(earth @ one.R[0] @ again[key].R[-4].T @ earth.T).as_rotvec()
        assert np.linalg.norm(turn) > np.deg2rad(1.0)
        np.testing.assert_allclose(turn[:2], 0, atol=np.deg2rad(0.05))
        up = earth[2]
        assert up @ one.covariance[0] @ up < up @ before[key].covariance[-1] @ up


def test_first_half_and_restored_state_and_second_half_are_the_whole(walk):
    """Also where a sensor is away at the cut, and where samples wait for an update."""
    blocks = cut(missing(walk, Segment.RIGHT_THIGH, 1.0, 1.3))[:100]
    first = begun(blocks[0])
    expected = [first.feed(block, Q_SB) for block in blocks]
    for at in (1, 2, 49, 50, 53, 57, 65, 66, 90):
        first = begun(blocks[0])
        found = [first.feed(block, Q_SB) for block in blocks[:at]]
        second = Links(ALL, grid_hz=GRID_HZ)
        second.state = pickle.loads(pickle.dumps(first.state))
        found += [second.feed(block, Q_SB) for block in blocks[at:]]
        for ours, theirs in zip(found, expected, strict=True):
            for one, other in zip(ours, theirs, strict=True):
                assert same(one.R, other.R)
                assert same(one.covariance, other.covariance)


def test_a_new_fitting_forgets_everything(walk):
    blocks = cut(walk)
    links = begun(blocks[0])
    run(links, blocks[:20])
    links.reset()
    assert links.feed(blocks[20], Q_SB) == []
