"""All sensors on one grid: exact where they meet it, honest where they are late or gone."""

from __future__ import annotations

import dataclasses
import pickle

import numpy as np
import pytest
from scipy.spatial.transform import Rotation, Slerp

from imufeedback.records import Flag, Floats, OrientationBlock, Segment, frozen, same
from imufeedback.timing import Merger, merge
from imufeedback.timing.merge import WAIT_S, Arrived

SENSORS = (("p", Segment.PELVIS), ("l", Segment.LEFT_THIGH), ("r", Segment.RIGHT_THIGH))
FIELDS = [one for one in dataclasses.fields(OrientationBlock) if one.name != "sensor"]
RATE_RAD_S = np.array([0.7, -2.0, 1.3])
"""Every sensor turns at this constant rate, in its own axes."""


def truth(t_s: Floats) -> Rotation:
    return Rotation.from_euler("xyz", [0.4, 0.1, -0.8]) * Rotation.from_rotvec(np.outer(t_s, RATE_RAD_S))


def oriented(sensor: str, t_s: Floats, *, flags: int = 0, flip: bool = False) -> OrientationBlock:
    n = len(t_s)
    q = truth(np.asarray(t_s)).as_quat(scalar_first=True, canonical=True)
    if flip:
        q = q * np.where(np.arange(n) % 2, -1.0, 1.0)[:, None]
    return OrientationBlock(
        sensor,
        frozen(t_s),
        frozen(q),
        frozen(np.tile(RATE_RAD_S, (n, 1))),
        frozen(np.column_stack((t_s, np.zeros(n), np.full(n, 9.81)))),
        frozen(np.zeros((n, 3))),
        frozen(np.ones(n), np.bool_),
        frozen(np.full(n, 0.01)),
        frozen(0.001 * np.asarray(t_s)),
        frozen(np.full(n, flags), np.uint8),
    )


def blocks(sensor: str, *, hz: float = 200.0, seconds: float = 1.0, phase_s: float = 0.0, size: int = 4, **kwargs):
    """A sensor's blocks with the time at which each is complete."""
    t_s = phase_s + np.arange(int(seconds * hz)) / hz
    return [(part[-1], oriented(sensor, part, **kwargs)) for part in np.array_split(t_s, len(t_s) // size)]


def merged(merger: Merger, *streams) -> list:
    """Blocks of all sensors fed in order of completion, and what was held back."""
    ordered = [block for _, block in sorted((one for stream in streams for one in stream), key=lambda one: one[0])]
    return [out for block in ordered for out in merger.feed(block)] + merger.finish()


def joined(out: list, field: str) -> Floats:
    return np.concatenate([getattr(one, field) for one in out])


def merger(n: int = 3, hz: float = 200.0) -> Merger:
    return Merger(SENSORS[:n], grid_hz=hz)


def error_deg(out: list, i: int, where=slice(None)) -> Floats:
    found = Rotation.from_quat(joined(out, "q_es")[where, i], scalar_first=True)
    return np.rad2deg((truth(joined(out, "t_s")[where]).inv() * found).magnitude())


def without(stream: list, begin_s: float, end_s: float) -> list:
    """The stream without its samples from begin to before end."""
    out = []
    for at, block in stream:
        keep = (block.t_s < begin_s) | (block.t_s >= end_s)
        if keep.any():
            kept = {f.name: getattr(block, f.name)[keep] for f in dataclasses.fields(block) if f.name != "sensor"}
            out.append((at, OrientationBlock(sensor=block.sensor, **kept)))
    return out


# ── on the grid and between ──────────────────────────────────────────────────────────────────────────────────────


def test_samples_on_the_grid_are_passed_unchanged():
    streams = [blocks(name) for name, _ in SENSORS]
    out = merged(merger(), *streams)
    t_s = joined(out, "t_s")
    np.testing.assert_allclose(t_s, np.arange(200) / 200.0, atol=1e-12)
    assert joined(out, "ok").all()
    assert out[0].segments == tuple(segment for _, segment in SENSORS)
    sent = np.concatenate([block.q_es for _, block in streams[0]])
    for i in range(3):
        assert error_deg(out, i).max() < 1e-6
        np.testing.assert_allclose(np.abs(np.sum(joined(out, "q_es")[:, i] * sent, axis=1)), 1.0, atol=1e-12)
    np.testing.assert_allclose(joined(out, "acc_m_s2")[:, 0, 0], t_s, atol=1e-12)
    np.testing.assert_allclose(joined(out, "gyr_rad_s"), np.broadcast_to(RATE_RAD_S, (200, 3, 3)), atol=1e-12)


def test_between_samples_the_turn_is_in_proportion():
    """Sensors at 104 and 119 Hz with phases of their own, on a grid of 200 Hz; against scipy's slerp, and the truth."""
    streams = [blocks("p"), blocks("l", hz=104.0, phase_s=0.0031), blocks("r", hz=119.0, phase_s=0.0017)]
    out = merged(merger(), *streams)
    inside = (joined(out, "t_s") > 0.01) & (joined(out, "t_s") < 0.98)
    assert joined(out, "ok")[inside].all()
    for i in (1, 2):
        assert error_deg(out, i, inside).max() < 1e-5
        np.testing.assert_allclose(joined(out, "acc_m_s2")[inside, i, 0], joined(out, "t_s")[inside], atol=1e-9)
    own_t = np.concatenate([block.t_s for _, block in streams[1]])
    own_q = Rotation.from_quat(np.concatenate([block.q_es for _, block in streams[1]]), scalar_first=True)
    expected = Slerp(own_t, own_q)(joined(out, "t_s")[inside])
    found = Rotation.from_quat(joined(out, "q_es")[inside, 1], scalar_first=True)
    assert (expected.inv() * found).magnitude().max() < 1e-7


def test_a_sign_change_between_neighbours_is_no_turn():
    """q and -q are one rotation: every second sample negated, and nothing goes the long way round."""
    out = merged(merger(2), blocks("p"), blocks("l", hz=104.0, phase_s=0.0031, flip=True))
    inside = (joined(out, "t_s") > 0.01) & (joined(out, "t_s") < 0.98)
    assert error_deg(out, 1, inside).max() < 1e-5
    np.testing.assert_allclose(np.linalg.norm(joined(out, "q_es")[inside, 1], axis=1), 1.0, atol=1e-12)


def test_equal_neighbours_interpolate_to_themselves():
    q = np.tile([0.5, -0.5, 0.5, 0.5], (4, 1))
    still = dataclasses.replace(oriented("l", np.array([0.001, 0.006, 0.011, 0.016])), q_es=frozen(q))
    merging = merger(2)
    out = merging.feed(oriented("p", np.arange(4) * 0.005)) + merging.feed(still) + merging.finish()
    np.testing.assert_allclose(joined(out, "q_es")[1:, 1], q[:3], atol=1e-12)


def test_every_step_comes_once_and_in_order():
    rng = np.random.default_rng(4)
    streams = [[(at + rng.uniform(0, 0.03), block) for at, block in blocks(name)] for name, _ in SENSORS]
    streams = [list(zip(sorted(at for at, _ in one), (block for _, block in one), strict=True)) for one in streams]
    np.testing.assert_allclose(np.diff(joined(merged(merger(), *streams), "t_s")), 0.005, atol=1e-12)


# ── waiting, predicting, giving up ───────────────────────────────────────────────────────────────────────────────


def test_a_step_waits_for_the_slowest_sensor():
    merging = merger(2)
    assert merging.feed(oriented("p", np.array([0.0, 0.005, 0.010, 0.015]))) == []
    (out,) = merging.feed(oriented("l", np.array([0.0, 0.005])))
    np.testing.assert_allclose(out.t_s, [0.0, 0.005])
    (out,) = merging.feed(oriented("l", np.array([0.010, 0.015])))
    np.testing.assert_allclose(out.t_s, [0.010, 0.015])


def test_the_wait_is_bounded():
    """A sensor that falls silent holds nobody up for longer than the wait and what one packet covers."""
    merging = merger(2)
    for (_, pelvis), (_, thigh) in zip(blocks("p", seconds=0.5), blocks("l", seconds=0.5), strict=True):
        merging.feed(pelvis)
        merging.feed(thigh)
    for at, block in blocks("p", seconds=0.5, phase_s=0.5):
        out = merging.feed(block)
        if at > 0.60:
            assert at - out[-1].t_s[-1] <= WAIT_S + 0.020 + 0.005 + 1e-9


def test_a_late_sensor_is_carried_on_by_its_rate_for_20_ms_and_no_longer():
    out = merged(merger(2), blocks("p"), blocks("l", seconds=0.5))
    t_s, ok = joined(out, "t_s"), joined(out, "ok")
    last_s = 0.495
    np.testing.assert_array_equal(ok[:, 0], True)
    np.testing.assert_array_equal(ok[:, 1], t_s <= last_s + 0.020 + 1e-9)
    carried = (t_s > last_s) & ok[:, 1]
    assert carried.sum() == 4
    assert error_deg(out, 1, carried).max() < 1e-5  # the rate is constant, so the prediction is exact
    assert not joined(out, "rest")[~ok[:, 1], 1].any()


@pytest.mark.parametrize(("lost", "fine"), [(5, True), (7, True), (8, False), (20, False)])
def test_a_gap_over_40_ms_is_not_ok(lost, fine):
    """5 to 7 lost samples of 200 Hz are bridged; from a gap of 45 ms on nothing inside is called an angle."""
    gap = (0.5, 0.5 + lost / 200.0)
    out = merged(merger(2), blocks("p"), without(blocks("l"), *gap))
    t_s, ok = joined(out, "t_s"), joined(out, "ok")[:, 1]
    inside = (t_s >= gap[0] - 1e-9) & (t_s < gap[1] - 1e-9)
    assert inside.sum() == lost
    if fine:
        assert ok.all()
        assert error_deg(out, 1).max() < 1e-5
    else:
        assert not ok[inside][4:].any()  # beyond what a prediction may carry there is never a number
        assert ok[~inside].all()
        assert not ok[inside].all()


def test_a_sensor_that_begins_later_is_not_ok_before():
    out = merged(merger(2), blocks("p"), blocks("l", seconds=0.5, phase_s=0.5))
    t_s, ok = joined(out, "t_s"), joined(out, "ok")
    assert ok[:, 0].all()
    np.testing.assert_array_equal(ok[:, 1], t_s >= 0.5 - 1e-9)


def test_a_sensor_that_never_sends_does_not_stop_the_others():
    out = merged(merger(3), blocks("p"), blocks("l"))
    ok = joined(out, "ok")
    assert len(ok) == 200
    assert ok[:, :2].all()
    assert not ok[:, 2].any()


def test_saturation_is_carried_to_the_steps_it_touches():
    stream = blocks("l", phase_s=0.002)
    stream[20] = (stream[20][0], oriented("l", stream[20][1].t_s, flags=int(Flag.SATURATED)))
    out = merged(merger(2), blocks("p"), stream)
    t_s, saturated = joined(out, "t_s"), joined(out, "saturated")
    clipped = stream[20][1].t_s
    touched = (t_s > clipped[0] - 0.005) & (t_s < clipped[-1] + 0.005)
    np.testing.assert_array_equal(saturated[:, 1], touched)
    assert not saturated[:, 0].any()


def test_an_error_bar_between_two_samples_is_between_theirs():
    out = merged(merger(2), blocks("p"), blocks("l", phase_s=0.002))
    inside = joined(out, "t_s") > 0.01
    np.testing.assert_allclose(joined(out, "heading_sd_rad")[inside, 1], 0.001 * joined(out, "t_s")[inside], atol=3e-6)
    np.testing.assert_allclose(joined(out, "inclination_sd_rad")[inside], 0.01, atol=1e-9)


def test_nothing_in_nothing_out():
    assert merger().finish() == []


def test_first_half_and_restored_state_and_second_half_are_the_whole():
    streams = [blocks("p"), without(blocks("l", hz=104.0, phase_s=0.003), 0.4, 0.5), blocks("r", seconds=0.7)]
    ordered = [block for _, block in sorted((one for stream in streams for one in stream), key=lambda one: one[0])]
    whole = merger()
    expected = [out for block in ordered for out in whole.feed(block)] + whole.finish()
    for cut in range(0, len(ordered) + 1, 7):
        first, second = merger(), merger()
        found = [out for block in ordered[:cut] for out in first.feed(block)]
        second.state = pickle.loads(pickle.dumps(first.state))
        found += [out for block in ordered[cut:] for out in second.feed(block)] + second.finish()
        assert same(found, expected)


@pytest.mark.parametrize("most", [16_384, 150])
def test_many_packets_at_once_release_what_one_after_the_other_does(monkeypatch, most):
    """With lost and late packets, a break of all sensors, and blocks that are full."""
    monkeypatch.setattr(merge, "MOST_STEPS", most)
    monkeypatch.setattr(merge, "AT_ONCE", 100)
    lacking = without(without(blocks("l", hz=104.0, phase_s=0.003, seconds=16.0), 0.4, 0.45), 3.0, 13.5)
    pelvis = blocks("p", hz=201.0, seconds=16.0)
    arrivals_s = np.maximum.accumulate([at + 0.1 * (k % 50 < 4) for k, (at, _) in enumerate(pelvis)])
    late = [(at, block) for at, (_, block) in zip(arrivals_s, pelvis, strict=True)]
    streams = [without(late, 3.0, 13.503), lacking, without(blocks("r", size=10, seconds=15.5), 3.03, 13.5)]
    ordered = [block for _, block in sorted((one for stream in streams for one in stream), key=lambda one: one[0])]
    one_by_one, expected, by = merger(), [], []
    for k, block in enumerate(ordered):
        for out in one_by_one.feed(block):
            expected.append(out)
            by += [k] * len(out.t_s)
    together = {}
    for name, _ in SENSORS:
        own = [block for block in ordered if block.sensor == name]
        columns = {f.name: np.concatenate([getattr(one, f.name) for one in own]) for f in FIELDS}
        together[name] = OrientationBlock(name, **columns)
    ends = dict.fromkeys(together, 0)
    of, begins, lasts = [], [], []
    for block in ordered:
        of.append(list(together).index(block.sensor))
        begins.append(ends[block.sensor])
        ends[block.sensor] += len(block.t_s)
        lasts.append(ends[block.sensor])
    at_once = merger()
    found = list(at_once.feed_many(Arrived(list(together.values()), of, begins, lasts)))
    assert [k for _, told in found for k in np.repeat(told.by, np.diff(told.ends, prepend=0)).tolist()] == by
    assert len(found) > (1 if most > 1000 else 7), "no break, or no block that is full"
    for field in ("t_s", "q_es", "ok", "rest", "inclination_sd_rad"):
        np.testing.assert_array_equal(joined([block for block, _ in found], field), joined(expected, field))
    assert same(at_once.finish(), one_by_one.finish())


def test_memory_does_not_grow():
    merging = merger(2)
    for (_, pelvis), (_, thigh) in zip(blocks("p", seconds=20.0), blocks("l", seconds=20.0), strict=True):
        merging.feed(pelvis)
        merging.feed(thigh)
    assert len(merging.state.rows) < 80
