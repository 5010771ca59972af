"""The set `faults`: troubles do what they say, and a trouble that changes nothing moves nothing."""

from __future__ import annotations

from pathlib import Path

import numpy as np
import pytest

from imufeedback.measure.checks import Context
from imufeedback.measure.scenes import PELVIS, Scene, golfer
from imufeedback.measure.sets import faults
from imufeedback.measure.troubles import (
    BOOT_S,
    FULL_SCALE_RAD_S,
    TROUBLES,
    backlog,
    false_turn,
    gap,
    loss,
    restart,
    samples_of,
    stuck,
)
from imufeedback.records import Segment, Side


@pytest.fixture(scope="module", name="scene")
def a_golfer() -> Scene:
    return golfer(5)


def one_sensor(scene: Scene) -> tuple[str, float]:
    return scene.sensors[Segment.PELVIS], scene.moments["downswing"]


def test_a_gap_takes_the_samples_of_one_sensor_only(scene: Scene) -> None:
    sensor, at_s = one_sensor(scene)
    kept = gap(scene.rest, at_s, {sensor}, lasts_s=0.5)
    ticks = {
        name: np.concatenate([samples_of(one)["tick"] for one in kept if one.sensor == name]) * 1e-9
        for name in scene.sensors.values()
    }
    for name, t_s in ticks.items():
        inside = np.count_nonzero((t_s >= at_s) & (t_s < at_s + 0.5))
        assert inside == (0 if name == sensor else 100)
    assert np.diff(ticks[sensor]).max() == pytest.approx(0.505, abs=0.006)


def test_losses_are_about_as_many_as_asked(scene: Scene) -> None:
    sensor, at_s = one_sensor(scene)
    whole = [one for one in scene.rest if one.sensor == sensor and at_s <= one.host_ns * 1e-9 < at_s + 3]
    kept = loss(scene.rest, at_s, {sensor}, lasts_s=3.0, share=0.5)
    assert 0.3 < (len(scene.rest) - len(kept)) / len(whole) < 0.7


def test_a_restart_counts_from_zero_after_a_silence(scene: Scene) -> None:
    sensor, at_s = one_sensor(scene)
    boot_ns = (at_s + BOOT_S) * 1e9
    after = [one for one in restart(scene.rest, at_s, {sensor}) if one.sensor == sensor and one.host_ns >= boot_ns]
    assert samples_of(after[0])["tick"][0] == 0
    assert after[0].payload[4:8] == bytes(4)
    steps = np.diff(np.concatenate([samples_of(one)["tick"] for one in after]).astype(np.int64))
    np.testing.assert_allclose(steps, 5_000_000, rtol=0.01)


def test_a_backlog_loses_nothing_and_comes_at_once(scene: Scene) -> None:
    sensor, at_s = one_sensor(scene)
    late = backlog(scene.rest, at_s, {sensor}, lasts_s=3.0)
    assert sorted(one.payload for one in late) == sorted(one.payload for one in scene.rest)
    arrivals = [one.host_ns for one in late]
    assert arrivals == sorted(arrivals)
    assert not [one for one in late if one.sensor == sensor and at_s < one.host_ns * 1e-9 < at_s + 2.99]


def test_false_turn_stands_at_the_end_of_the_range_for_so_long(scene: Scene) -> None:
    sensor, at_s = one_sensor(scene)
    changed = [one for one in false_turn(scene.rest, at_s, {sensor}) if one.sensor == sensor]
    gyr = np.concatenate([samples_of(one)["gyr"] for one in changed])
    stands = np.abs(gyr).max(axis=1) == FULL_SCALE_RAD_S
    assert np.count_nonzero(stands) == pytest.approx(8, abs=1)


def test_a_stuck_sensor_repeats_one_sample(scene: Scene) -> None:
    sensor, at_s = one_sensor(scene)
    changed = [one for one in stuck(scene.rest, at_s, {sensor}, lasts_s=1.0) if one.sensor == sensor]
    inside = [one for one in changed if at_s <= one.host_ns * 1e-9 < at_s + 1.0]
    assert len(np.unique(np.concatenate([samples_of(one)["acc"] for one in inside]), axis=0)) == 1


def test_what_changes_nothing_moves_nothing(scene: Scene) -> None:
    found = scene.played(list(scene.rest))
    for key in found.angle:
        moved = scene.moved(found, key)
        assert np.nanmax(np.abs(moved[:, 0])) == 0.0
    assert len(found.events)


def test_the_truth_and_the_undisturbed_session_agree_within_degrees(scene: Scene) -> None:
    plain = scene.undisturbed
    inside = (plain.t_s > scene.moments["address"]) & (plain.t_s < scene.ends["address"])
    for key in plain.angle:
        error = scene.error(plain, key)
        assert error is not None
        assert np.nanmax(np.abs(error[inside])) < 12.0


def test_which_angles_a_sensor_befalls(scene: Scene) -> None:
    cell = faults.Cell(scene, TROUBLES[0], "top", Segment.LEFT_THIGH)
    assert cell.befalls(("hip", Side.LEFT))
    assert not cell.befalls(("hip", Side.RIGHT))
    assert not cell.befalls((PELVIS, None))
    assert faults.Cell(scene, TROUBLES[0], "top", faults.ALL).befalls((PELVIS, None))


def test_every_cell_of_the_quick_form_is_there_and_the_full_form_has_all(tmp_path: Path) -> None:
    context = Context(tmp_path, None, quick=True, seed=4)
    cells = faults._cells(context)
    assert len(cells) == faults.QUICK_CELLS
    names = [cell.name for cell in cells]
    assert len(set(names)) == len(names)
