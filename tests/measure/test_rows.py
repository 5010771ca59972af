"""Rows beside the lines: every set and method with the same fields, whatever a data folder holds."""

from __future__ import annotations

import dataclasses
import json
from collections.abc import Callable, Iterator
from pathlib import Path
from typing import Any

import numpy as np
import pytest
from ball_joint import HZ, swinging
from data_folders import ball_joint_trial, made_up, single_trial
from scipy.spatial.transform import Rotation

from imufeedback.measure import optics, peers, players, side_by_side, synthetic
from imufeedback.measure.checks import Context, LeftOut, Measured
from imufeedback.measure.optics import Parts
from imufeedback.measure.rows import FIELDS, METHODS, OFFLINE, add_row
from imufeedback.measure.sets import steps

Row = dict[str, Any]


@pytest.fixture(scope="module", name="folder")
def made_up_folder(tmp_path_factory: pytest.TempPathFactory) -> Path:
    return made_up(tmp_path_factory.mktemp("data"))


def rows_of(step: Callable[[Context], Iterator[Measured]], context: Context) -> tuple[list[Row], list[Measured]]:
    lines = list(step(context))
    return context.rows, lines


def check_shape(rows: list[Row], set_name: str) -> None:
    assert rows
    json.dumps(rows, allow_nan=False)
    for row in rows:
        assert tuple(row) == FIELDS
        assert row["set"] == set_name
        assert row["method"].removeprefix(OFFLINE) in METHODS
        assert row["seconds"] >= 0
    keys = [(row["trial"], row["method"]) for row in rows]
    assert len(set(keys)) == len(keys)


# ── every set ────────────────────────────────────────────────────────────────────────────────────────────────────


def test_a_joint_gives_all_methods_with_all_parts(folder: Path, tmp_path: Path) -> None:
    pytest.importorskip("dfjimu")
    rows, lines = rows_of(side_by_side.joint, Context(tmp_path, folder))
    check_shape(rows, "joint3d")
    assert {row["method"] for row in rows} == {*METHODS, "offline-vqf"}
    for row in rows:
        total, heading, tilt = (row[name] for name in FIELDS[3:6])
        # exact only for small angles, and heading and tilt are about perpendicular axes
        assert total == pytest.approx(np.hypot(heading, tilt), rel=0.15)
        assert row["floor_deg"] > 0
    assert len(lines) == 5
    own = next(row for row in rows if row["method"] == "imufeedback")
    assert lines[0].value == pytest.approx(own["total_rmse_deg"] / min(r["total_rmse_deg"] for r in causal(rows)))


def causal(rows: list[Row]) -> list[Row]:
    return [row for row in rows if row["method"] != "imufeedback" and not row["method"].startswith(OFFLINE)]


def test_a_joint_without_the_library_of_the_mekf(folder: Path, tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    def missing(pair: optics.JointTrial) -> peers.Both:
        raise ImportError("no dfjimu")

    monkeypatch.setattr(peers, "mekf", missing)
    rows, lines = rows_of(side_by_side.joint, Context(tmp_path, folder, quick=True))
    assert {row["method"] for row in rows} == {"imufeedback", "vqf", "madgwick", "offline-vqf"}
    assert len(lines) == 5


def test_single_sensors_give_rows_for_every_trial_and_lines_for_the_fast_and_disturbed(
    folder: Path, tmp_path: Path
) -> None:
    rows, lines = rows_of(side_by_side.inclination, Context(tmp_path, folder))
    check_shape(rows, "broad")
    assert len({row["trial"] for row in rows}) == 3
    assert {row["method"] for row in rows} == {*METHODS, "offline-vqf"} - {"mekf"}
    fast = [row for row in rows if "slow" not in row["trial"]]
    worst = max(
        next(r["inclination_rmse_deg"] for r in fast if r["trial"] == trial and r["method"] == "imufeedback")
        / next(r["inclination_rmse_deg"] for r in fast if r["trial"] == trial and r["method"] == "vqf")
        for trial in {r["trial"] for r in fast}
    )
    assert lines[0].value == pytest.approx(worst)
    assert all(row["heading_rmse_deg"] is not None for row in rows)
    assert len({row["floor_deg"] for row in rows if row["trial"] == rows[0]["trial"]}) == 1


def test_only_slow_trials_say_nothing_about_fast_ones(tmp_path: Path) -> None:
    (tmp_path / "broad").mkdir()
    single_trial(tmp_path / "broad" / "01_undisturbed_slow_rotation_A.mat")
    context = Context(tmp_path, tmp_path)
    with pytest.raises(LeftOut, match="no fast or disturbed trial"):
        list(side_by_side.inclination(context))
    assert context.rows


def test_a_walker_has_a_tilt_and_no_more(folder: Path, tmp_path: Path) -> None:
    pytest.importorskip("qmt")
    rows, lines = rows_of(side_by_side.walker, Context(tmp_path, folder))
    check_shape(rows, "human_walk")
    assert not lines
    assert {row["trial"] for row in rows} == {"pelvis", "left_thigh"}
    assert {row["method"] for row in rows} == set(METHODS) - {"mekf"}
    for row in rows:
        assert row["total_rmse_deg"] is row["heading_rmse_deg"] is row["floor_deg"] is None
        assert 0 <= row["inclination_rmse_deg"] < 30


def test_synthetic_players_need_no_data(tmp_path: Path) -> None:
    said: list[str] = []
    rows, _ = rows_of(side_by_side.golfers, Context(tmp_path, None, quick=True, seed=3, say=said.append))
    check_shape(rows, "synthetic")
    assert {row["trial"] for row in rows} == {"player-3"}
    assert {"imufeedback", "vqf", "madgwick", "offline-vqf"} <= {row["method"] for row in rows}
    own = next(row for row in rows if row["method"] == "imufeedback")
    assert 0 < own["total_rmse_deg"] < 10
    assert said == ["player 3"]


@pytest.mark.parametrize("step", [side_by_side.joint, side_by_side.inclination, side_by_side.walker])
@pytest.mark.parametrize("there", [False, True])
def test_without_the_recordings_the_step_is_left_out(step: Any, there: bool, tmp_path: Path) -> None:
    """No folder at all, and one that holds something else."""
    with pytest.raises(LeftOut, match="--data"):
        list(step(Context(tmp_path, tmp_path if there else None)))


def test_an_empty_folder_of_trials_is_left_out(tmp_path: Path) -> None:
    (tmp_path / "joint3d").mkdir()
    with pytest.raises(LeftOut, match="no trial"):
        list(side_by_side.joint(Context(tmp_path, tmp_path)))


def test_the_steps_stand_in_the_set() -> None:
    measured = {step.measure for step in steps("accuracy")}
    assert {side_by_side.joint, side_by_side.inclination, side_by_side.walker, side_by_side.golfers} <= measured


# ── one row ──────────────────────────────────────────────────────────────────────────────────────────────────────


def test_what_has_no_meaning_or_no_value_is_null(tmp_path: Path) -> None:
    context = Context(tmp_path, None)
    add_row(context, "s", "t", "offline-vqf", Parts(None, float("nan"), np.float64(1.5)), 0.1, None)
    (row,) = context.rows
    assert row == dict(zip(FIELDS, ("s", "t", "offline-vqf", None, None, 1.5, None, 0.1), strict=True))
    assert type(row["inclination_rmse_deg"]) is float


def test_an_unknown_method_is_a_mistake(tmp_path: Path) -> None:
    with pytest.raises(ValueError, match="best-filter"):
        add_row(Context(tmp_path, None), "s", "t", "best-filter", Parts(1, 1, 1), 0.1, None)


# ── errors and their parts ───────────────────────────────────────────────────────────────────────────────────────


@pytest.fixture(scope="module", name="pair")
def one_pair(tmp_path_factory: pytest.TempPathFactory) -> optics.JointTrial:
    folder = tmp_path_factory.mktemp("joint3d")
    ball_joint_trial(folder / "one.mat")
    (pair,) = optics.pairs(folder)
    return pair


@pytest.mark.parametrize(("axis", "heading", "tilt"), [((0, 0, 1), 5, 0), ((1, 0, 0), 0, 5), ((0.6, 0.8, 0), 0, 5)])
def test_parts_of_an_error_in_the_earth(
    pair: optics.JointTrial, axis: tuple[float, ...], heading: float, tilt: float
) -> None:
    """A second earth that is turned or tipped by 5° against the first."""
    wrong = Rotation.from_rotvec(np.deg2rad(5) * np.array(axis))
    first = pair.reference_first
    parts = optics.relative_parts(first.inv() * wrong * first * pair.reference, pair)
    assert parts.total == pytest.approx(5)
    assert parts.heading == pytest.approx(heading, abs=1e-5)
    assert parts.inclination == pytest.approx(tilt, abs=1e-5)


def test_only_what_counts_is_counted(pair: optics.JointTrial) -> None:
    q = pair.reference.as_quat()
    q[: int(9.9 * pair.rate_hz)] = (0, 0, 0, 1)
    assert optics.relative_rmse_deg(Rotation.from_quat(q), pair) == pytest.approx(0, abs=1e-5)


def test_a_single_sensors_heading_is_set_once_and_its_drift_seen(tmp_path: Path) -> None:
    single_trial(tmp_path / "one.mat")
    (single,) = optics.singles(tmp_path)
    n = len(single.gyr)
    assert not single.seen[500:520].any()
    assert single.seen.sum() == n - 20
    other_earth = optics.turned(single.reference, np.deg2rad(120.0))
    parts = optics.single_parts(other_earth, single)
    assert parts.total == pytest.approx(0, abs=1e-4)
    drifting = optics.turned(single.reference, np.deg2rad(120.0 + 10.0 * (np.arange(n) >= n // 2)))
    drift = optics.single_parts(drifting, single)
    assert drift.heading == pytest.approx(10 * np.sqrt(np.mean(np.arange(n)[single.counts] >= n // 2)), rel=1e-3)
    assert drift.inclination == pytest.approx(0, abs=1e-4)


def test_the_pipeline_on_a_perfect_player_meets_the_pairs_truth() -> None:
    """So a synthetic row counts what the tool gets wrong, not how the two are put side by side."""
    from imufeedback.synth.presets import PRESETS

    session = players.script(2, reps=1)
    pair = synthetic.pair(session)
    found = synthetic.through_pipeline(session, synthetic.packets(session, PRESETS["ideal"]))
    assert optics.relative_rmse_deg(found, pair) < 0.5
    assert len(found) <= len(pair.gyr[0])


# ── peers are given what they ask for ────────────────────────────────────────────────────────────────────────────


@pytest.mark.parametrize("name", [*peers.ORIENT, *peers.OFFLINE])
@pytest.mark.parametrize("way", [(0, 0, 1), (0, 1, 0), (-1, 0, 0), (0.3, -0.5, -0.8)])
def test_every_peer_finds_the_up_that_it_is_shown(name: str, way: tuple[float, ...]) -> None:
    """A convention given wrong would make a peer look bad: up must become earth's z and stay it."""
    rng = np.random.default_rng(1)
    up = np.array(way) / np.linalg.norm(way)
    acc = np.tile(9.81 * up, (1000, 1)) + rng.normal(0, 0.02, (1000, 3))
    orient = peers.ORIENT.get(name) or peers.OFFLINE[name]
    found = orient(rng.normal(0, 1e-3, (1000, 3)), acc, 200.0).apply(up)
    assert found[:, 2].min() > np.cos(np.deg2rad(1.5))


@pytest.mark.parametrize("more", [-3, -1, 0, 1])
def test_a_method_that_ends_before_or_after_the_reference_is_compared_as_far_as_both_go(more: int) -> None:
    """A player whose session ends between two steps of the grid gives one sample more than the reference has."""
    n = 500
    true = Rotation.from_rotvec(np.column_stack([np.zeros(n), np.zeros(n), np.linspace(0, 1, n)]))
    pair = optics.JointTrial(
        "x", 50.0, (np.zeros((n, 3)),) * 2, (np.zeros((n, 3)),) * 2, true, Rotation.identity(n), 1.0
    )
    found = Rotation.concatenate([true, true[-1:]])[: n + more] * Rotation.from_rotvec([0.0, 0.0, np.radians(2.0)])
    parts = optics.relative_parts(found, pair)
    assert parts.total == pytest.approx(2.0)
    assert parts.heading == pytest.approx(2.0)
    assert optics.relative_rmse_deg(found, pair) == pytest.approx(2.0)


# ── one delay for all, found from the rates ──────────────────────────────────────────────────────────────────────


def exact_pair(late_s: float = 0.0) -> optics.JointTrial:
    """Two bodies on a ball joint at 50 Hz, rates without errors, whose samples tell of `late_s` before their stamps."""
    felt = swinging(40.0)
    every = round(HZ / 50.0)
    shift = round(late_s * HZ)
    gyr, acc = ([one[: len(one) - shift][::every] for one in both] for both in (felt.gyr, felt.acc))
    first, second = (one[shift:][::every] for one in felt.true)
    return optics.JointTrial("x", HZ / every, (gyr[0], gyr[1]), (acc[0], acc[1]), first.inv() * second, first, 10.0)


@pytest.mark.parametrize("late_s", [0.0, 0.010, 0.025, 0.040])
@pytest.mark.parametrize("noise_deg", [0.0, 0.2])
def test_the_delay_is_found_from_the_rates(late_s: float, noise_deg: float) -> None:
    """Cameras with noise, that also lose the rig for three seconds."""
    pair = exact_pair(late_s)
    rng = np.random.default_rng(3)
    noise = np.radians(rng.normal(0.0, noise_deg, (len(pair.reference), 3)))
    if noise_deg:
        noise[600:750] += np.radians(rng.normal(0.0, 10.0, (150, 3)))
    seen = dataclasses.replace(pair, reference_first=pair.reference_first * Rotation.from_rotvec(noise))
    assert optics.delay_s(seen) == pytest.approx(late_s, abs=0.002)


@pytest.mark.parametrize("name", ["vqf", "offline-vqf", "madgwick", "mekf"])
def test_how_far_a_peer_is_ahead_of_its_stamps(name: str) -> None:
    """At the lead that is said of it, it is nearer to the truth than half a sample to either side."""
    if name == "mekf":
        pytest.importorskip("dfjimu")
    pair = exact_pair()
    both = peers.mekf(pair) if name == "mekf" else peers.heading_once(name, pair)
    off = [optics.relative_rmse_deg(peers.at_reference(name, both, pair, k / 50.0), pair) for k in (-0.5, 0, 0.5)]
    assert off[1] < min(off[0], off[2]), off
