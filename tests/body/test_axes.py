"""Gravity shows wrong axes, signs and units of a sensor; a neighbour shows an accelerometer that is inverted."""

from __future__ import annotations

import time
from pathlib import Path

import numpy as np
import pytest

from imufeedback.body.axes import AxisEvidence, evidence, judge, units, words
from imufeedback.body.carried import TRUE, maps
from imufeedback.body.neighbours import accused, inverted, odds
from imufeedback.body.rest_bias import bias
from imufeedback.body.suspects import in_words, suspects
from imufeedback.measure.fitters import performance
from imufeedback.measure.miswired import UNITS, by_hand, mapped, worn
from imufeedback.measure.miswired import inverted as with_inverted
from imufeedback.record.csv_folder import read_folder
from imufeedback.records import Segment

WRONG = [k for k in range(48) if k != TRUE]


def test_there_are_48_maps_and_one_changes_nothing() -> None:
    assert len({one.tobytes() for one in maps()}) == 48
    np.testing.assert_array_equal(maps()[TRUE], np.eye(3))
    np.testing.assert_allclose(maps() @ np.swapaxes(maps(), 1, 2), np.broadcast_to(np.eye(3), (48, 3, 3)))


@pytest.mark.parametrize("number", WRONG)
def test_two_turns_by_hand_show_each_wrong_map(number: int) -> None:
    verdict = judge(*mapped(by_hand(11), maps()[number]))
    assert verdict.kind == "axes"
    assert verdict.axes == words(maps()[number].T)
    assert "contradict gravity" in str(verdict)


@pytest.mark.parametrize("seed", range(6))
def test_a_true_sensor_is_not_accused(seed: int) -> None:
    assert judge(*by_hand(seed)).kind in ("fine", "unknown")


def test_two_turns_show_that_all_axes_are_right() -> None:
    assert judge(*by_hand(11)).kind == "fine"


def test_a_wrong_map_of_the_accelerometer_is_named_after_its_axis() -> None:
    t_s, gyr, acc = by_hand(3)
    verdict = judge(t_s, gyr, acc * [1.0, -1.0, 1.0])
    assert verdict.what.startswith("acc_y has the wrong sign, or gyr_x and gyr_z have")
    assert "negate acc_y" in verdict.hint
    exchanged = judge(t_s, gyr[:, [1, 0, 2]], acc)
    assert exchanged.what.startswith("gyr_x and gyr_y are exchanged")
    assert "y, x, z" in exchanged.hint


@pytest.mark.parametrize("unit", UNITS)
def test_wrong_units_are_found(unit: str) -> None:
    verdict = judge(*UNITS[unit](by_hand(5)))
    assert verdict.kind == "units"
    assert "\n" not in str(verdict)


def test_what_cannot_be_seen_is_not_said() -> None:
    t_s, gyr, acc = by_hand(7)
    still = slice(0, 200)
    assert judge(t_s[still], gyr[still], acc[still]).kind == "unknown"
    assert judge(*with_inverted((t_s, gyr, acc))).kind == "fine"  # no sensor sees that by itself
    assert judge(t_s[:1], gyr[:1], acc[:1]).kind == "unknown"
    assert judge(t_s, np.full_like(gyr, np.nan), acc).kind == "unknown"
    assert units(t_s[:0], acc[:0]) is None


def test_a_turn_about_one_axis_leaves_the_others_open() -> None:
    t_s = np.arange(1000) / 100
    angle = np.clip((t_s - 3.0) / 2.0, 0.0, 1.0) * np.pi / 2
    gyr = np.column_stack((np.gradient(angle, 0.01), 0 * t_s, 0 * t_s))
    acc = 9.81 * np.column_stack((0 * t_s, np.sin(angle), np.cos(angle)))
    assert judge(t_s, gyr, acc).kind == "unknown"
    assert judge(t_s, -gyr, acc).what.startswith("gyr_x has the wrong sign")
    assert evidence(t_s, gyr, acc).unseen() == ("y", "z")


def test_evidence_adds_up() -> None:
    a, b = (evidence(*by_hand(seed)) for seed in (1, 2))
    both = a + b
    assert both.windows == a.windows + b.windows
    np.testing.assert_allclose(both.left, a.left + b.left)
    assert AxisEvidence().verdict().kind == "unknown"


def test_five_minutes_are_judged_in_two_seconds() -> None:
    rng = np.random.default_rng(1)
    count = 5 * 60 * 100
    begun = time.process_time()
    judge(np.arange(count) / 100, rng.normal(0, 0.5, (count, 3)), rng.normal(5.6, 1.0, (count, 3)))
    assert time.process_time() - begun < 2.0


# ── recordings, and neighbours ───────────────────────────────────────────────────────────────────────────────────


RECORDINGS = ("human_walk", *(f"people/{one}/imu" for one in ("optical_walk", "SqDL", "SqSL", "StepUpH", "DropLandDL")))


@pytest.mark.parametrize("name", RECORDINGS)
def test_true_sensors_of_people_are_not_accused_and_an_inverted_one_is_found(data_folder: Path, name: str) -> None:
    series = read_folder(data_folder / name)
    sensors = {one: (series[one].t_s, series[one].gyr_rad_s, series[one].acc_m_s2) for one in series}
    assert suspects(sensors) == {}
    three = {one: sensors[one] for one in (Segment.PELVIS, Segment.LEFT_THIGH, Segment.RIGHT_THIGH)}
    for one in three:
        # three seconds of a step with gaps show one hip too little; its shank then does
        found = inverted({**three, one: with_inverted(three[one])}) or inverted(
            {**sensors, one: with_inverted(three[one])}
        )
        assert one in found
        assert found[one].kind == "inverted"


def test_walking_shows_every_wrong_map(data_folder: Path) -> None:
    series = read_folder(data_folder / "human_walk")[Segment.LEFT_THIGH]
    for number in WRONG[::5]:
        wrong = judge(*mapped((series.t_s, series.gyr_rad_s, series.acc_m_s2), maps()[number]))
        assert wrong.axes == words(maps()[number].T)


@pytest.mark.parametrize("seed", [41, 42, 43])
def test_calibration_movements_show_an_inverted_accelerometer(seed: int) -> None:
    sensors = worn(performance(seed))
    assert inverted(sensors) == {}
    for one in sensors:
        assert list(inverted({**sensors, one: with_inverted(sensors[one])})) == [one]


def test_all_inverted_together_is_invisible() -> None:
    sensors = {one: with_inverted(samples) for one, samples in worn(performance(41)).items()}
    assert suspects(sensors) == {}


def test_who_is_named_when_a_pair_disagrees() -> None:
    p, left, right = Segment.PELVIS, Segment.LEFT_THIGH, Segment.RIGHT_THIGH
    assert set(accused({(p, left): -5.0, (p, right): 5.0})) == {left}
    assert set(accused({(p, left): -5.0, (p, right): -5.0})) == {p}
    either = accused({(p, left): -5.0, (p, right): 0.0})
    assert set(either) == {p, left}
    assert "or its neighbour's" in str(either[p])
    assert accused({(p, left): -1.0, (p, right): 0.0}) == {}
    assert odds({}) == {}


def test_one_line_names_the_sensor() -> None:
    found = suspects({Segment.LEFT_THIGH: mapped(by_hand(2), maps()[1])})
    said = in_words(found)
    assert said is not None
    assert said.startswith("left thigh: gyr_z has the wrong sign")
    assert "\n" not in said
    assert in_words({}) is None


def test_a_leg_that_sways_while_the_other_one_is_lifted_does_not_move_the_gyroscopes_bias() -> None:
    """A rest shows 1 °/s, then it is taken off; of the slow moments later two have about the same rate. As in the
    calibration of a seeded player, who was told of exchanged axes."""
    rests = {
        0.25: (0.96, 0.11, -0.8), 0.75: (1.02, 0.26, -0.49), 1.25: (0.96, 0.21, -0.51), 1.75: (0.97, 0.1, -0.9),
        2.25: (0.82, -0.16, -1.34), 2.75: (-0.04, -0.35, -0.84), 3.25: (0.18, 0.43, 0.84), 8.25: (0.03, 0.07, 0.14),
        9.25: (1.73, 0.47, -0.73), 10.75: (0.0, 0.07, 0.16), 11.75: (1.66, 0.09, -0.84), 12.75: (-1.26, -0.01, 0.91),
        13.25: (0.05, 0.08, 0.13), 13.75: (0.1, 0.15, 0.23), 14.25: (-0.03, -0.01, 0.07), 15.75: (-0.03, 0.42, 0.03),
        16.25: (0.93, 0.62, 1.67), 17.25: (1.49, 0.86, 2.81), 17.75: (0.03, 0.09, 0.17), 19.25: (-0.07, -0.24, -0.59),
    }  # fmt: skip
    t_s = np.arange(0.0, 20.0, 0.005)
    rate = 60 * np.sin(2 * np.pi * t_s)[:, None] * np.ones(3)
    for at_s, mean in rests.items():
        rate[np.abs(t_s + 0.001 - at_s) < 0.25] = mean
    found = np.degrees(bias(t_s, np.radians(rate), np.broadcast_to([0.0, 0.0, 9.81], rate.shape)))
    assert np.abs(found[t_s < 2.0] - [0.96, 0.11, -0.8]).max() < 0.2
    assert np.abs(found[t_s > 4.0]).max() < 0.3
