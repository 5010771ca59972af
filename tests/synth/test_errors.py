"""Sensor errors have the sizes that the model says, measured on what comes out."""

from __future__ import annotations

from dataclasses import replace
from itertools import pairwise

import numpy as np
import pytest

from imufeedback.records import Segment
from imufeedback.synth.errors import (
    ACC_LSB_M_S2,
    BLOCK,
    DPH,
    GYR_LSB_RAD_S,
    MG,
    PRESETS,
    SensorErrors,
    SensorModel,
)

IDEAL, TYPICAL = PRESETS["ideal"], PRESETS["typical"]
PELVIS = Segment.PELVIS
N = 200_000


def still(model: SensorModel, seconds: float = N / 200, rate_hz: float = 200.0, seed: int = 1):
    """What a sensor measures that feels nothing: (N, 3) and (N, 3)."""
    count = round(seconds * rate_hz)
    nothing = np.zeros((count, 3))
    samples = np.arange(count)
    return SensorErrors(model, seed, PELVIS, rate_hz).apply(samples, samples / rate_hz, nothing, nothing)


def many(model: SensorModel, count: int = 400) -> list[SensorErrors]:
    return [SensorErrors(model, seed, PELVIS, 200.0) for seed in range(count)]


def moving(count: int, seed: int = 0) -> tuple[np.ndarray, np.ndarray]:
    rng = np.random.default_rng(seed)
    return rng.normal(0, 3, (count, 3)), rng.normal(0, 12, (count, 3))


@pytest.mark.parametrize("rate_hz", [100.0, 200.0, 400.0])
def test_white_noise_has_its_density_at_any_rate(rate_hz: float) -> None:
    """One-sided density: spread over half the rate. 0.007 °/s/√Hz at 200 Hz is 0.07 °/s, 120 µg/√Hz is 1.2 mg."""
    model = replace(IDEAL, gyr_noise_dps_rthz=0.007, acc_noise_ug_rthz=120.0)
    gyr, acc = still(model, N / rate_hz, rate_hz)
    np.testing.assert_allclose(np.degrees(gyr.std(axis=0)), 0.007 * np.sqrt(rate_hz / 2), rtol=0.01)
    np.testing.assert_allclose(acc.std(axis=0) / MG, 0.120 * np.sqrt(rate_hz / 2), rtol=0.01)


def test_white_noise_is_white() -> None:
    """Allan deviation falls as one over the root of the averaging time, and axes have nothing in common."""
    gyr, acc = still(replace(IDEAL, gyr_noise_dps_rthz=0.01, acc_noise_ug_rthz=100.0))
    both = np.hstack([gyr, acc])

    def allan(size: int) -> np.ndarray:
        means = both[: len(both) // size * size].reshape(-1, size, 6).mean(axis=1)
        return np.sqrt(0.5 * np.mean(np.diff(means, axis=0) ** 2, axis=0))

    for size in (10, 100, 1000):
        np.testing.assert_allclose(allan(size) / allan(1), size**-0.5, rtol=0.15)
    correlation = np.corrcoef(both.T)
    assert np.abs(correlation - np.eye(6)).max() < 0.01
    assert np.abs(np.corrcoef(both[:-BLOCK, 0], both[BLOCK:, 0])[0, 1]) < 0.01, "blocks are not alike"


def test_turn_on_biases_over_many_sensors() -> None:
    sensors = many(TYPICAL)
    gyr = np.degrees([one.gyr_bias_rad_s for one in sensors])
    acc = np.array([one.acc_bias_m_s2 for one in sensors]) / MG
    per_k = np.degrees([one.gyr_bias_per_k for one in sensors])
    for drawn, spread in ((gyr, 1.0), (acc, 20.0), (per_k, 0.02)):
        assert drawn.std() == pytest.approx(spread, rel=0.08)
        assert abs(drawn.mean()) < 4 * spread / np.sqrt(drawn.size)


def test_scale_and_cross_axis_over_many_sensors() -> None:
    diagonal = np.eye(3, dtype=bool)
    for name, scale, cross in (("gyr_matrix", 0.01, 0.01), ("acc_matrix", 0.005, 0.01)):
        away = np.array([getattr(one, name) for one in many(TYPICAL)]) - np.eye(3)
        assert away[:, diagonal].std() == pytest.approx(scale, rel=0.08)
        assert away[:, ~diagonal].std() == pytest.approx(cross, rel=0.08)


def test_scale_and_cross_axis_act_on_the_signal() -> None:
    model = replace(IDEAL, gyr_scale_percent=3.0, gyr_cross_percent=1.0, acc_scale_percent=1.0)
    sensor = SensorErrors(model, 5, PELVIS, 200.0)
    gyr, acc = moving(50)
    measured_gyr, measured_acc = sensor.apply(np.arange(50), np.arange(50) / 200, gyr, acc)
    np.testing.assert_allclose(measured_gyr, np.einsum("ij,nj->ni", sensor.gyr_matrix, gyr), atol=1e-12)
    np.testing.assert_allclose(measured_acc, acc * np.diag(sensor.acc_matrix), atol=1e-12)


def test_bias_follows_a_given_temperature() -> None:
    sensor = SensorErrors(replace(IDEAL, gyr_bias_dps_per_k=0.02, warm_up_k=10.0), 2, PELVIS, 200.0)
    nothing = np.zeros((3, 3))
    gyr, acc = sensor.apply(np.arange(3), np.zeros(3), nothing, nothing, np.array([0.0, 5.0, -5.0]))
    np.testing.assert_allclose(gyr, np.outer([0, 5, -5], sensor.gyr_bias_per_k), atol=1e-15)
    assert not acc.any()


def test_a_sensor_warms_up_after_turn_on() -> None:
    sensor = SensorErrors(replace(IDEAL, gyr_bias_dps_per_k=0.02, warm_up_k=10.0), 2, PELVIS, 200.0)
    t_s = np.array([0.0, 600.0, 3600.0])
    np.testing.assert_allclose(sensor.warming_k(t_s), [0.0, 10 * (1 - np.exp(-1)), 10 * (1 - np.exp(-6))])
    gyr, _ = sensor.apply(np.arange(3), t_s, np.zeros((3, 3)), np.zeros((3, 3)))
    np.testing.assert_allclose(gyr, np.outer(sensor.warming_k(t_s), sensor.gyr_bias_per_k), atol=1e-15)


def test_the_bias_wanders_as_far_as_it_says() -> None:
    """After an hour: instability over 0.664 and the walk together, over many sensors; and 0 at turn-on."""
    model = replace(IDEAL, gyr_instability_dph=10.0, gyr_walk_dph=10.0)
    t_s, nothing = np.array([0.0, 3600.0]), np.zeros((2, 3))
    gyr = np.array([one.apply(np.arange(2), t_s, nothing, nothing)[0] for one in many(model, 150)]) / DPH
    assert not gyr[:, 0].any()
    assert gyr[:, 1].std() == pytest.approx(np.hypot(10 / 0.664, 10), rel=0.12)


def test_the_bias_wanders_slowly_and_without_a_jump() -> None:
    model = replace(IDEAL, gyr_instability_dph=10.0)
    gyr, _ = still(model, 100.0, 50.0)
    assert np.abs(np.diff(gyr, axis=0)).max() / DPH < 0.1
    assert np.ptp(gyr, axis=0).min() / DPH > 1


def test_every_value_lies_on_the_grid_of_16_bit() -> None:
    gyr, acc = moving(5000)
    measured = SensorErrors(TYPICAL, 3, PELVIS, 200.0).apply(np.arange(5000), np.arange(5000) / 200, gyr, acc)
    for values, lsb in zip(measured, (np.radians(2000 / 32768), 9.80665 * 16 / 32768), strict=True):
        raw = values / lsb
        np.testing.assert_allclose(raw, np.rint(raw), atol=1e-9)
        assert len(np.unique(np.rint(raw))) > 1000


def test_rounding_is_to_the_nearest() -> None:
    gyr, acc = moving(5000)
    measured = SensorErrors(replace(IDEAL, digital=True), 3, PELVIS, 200.0).apply(
        np.arange(5000), np.arange(5000) / 200, gyr, acc
    )
    for values, ideal, lsb in zip(measured, (gyr, acc), (GYR_LSB_RAD_S, ACC_LSB_M_S2), strict=True):
        assert np.abs(values - ideal).max() <= 0.5001 * lsb
        assert np.std(values - ideal) == pytest.approx(lsb / np.sqrt(12), rel=0.02)


def test_beyond_the_range_it_stands_at_the_end() -> None:
    fast = np.radians([[2500.0, -2500.0, 1999.0], [0.0, 2000.0, -2000.0]])
    hard = 9.80665 * np.array([[20.0, -20.0, 15.9], [16.0, -16.0, 0.0]])
    gyr, acc = SensorErrors(replace(IDEAL, digital=True), 1, PELVIS, 200.0).apply(np.arange(2), np.zeros(2), fast, hard)
    top = 32767 / 32768
    np.testing.assert_allclose(np.degrees(gyr), [[2000 * top, -2000, 1999], [0, 2000 * top, -2000]], atol=0.04)
    np.testing.assert_allclose(acc / 9.80665, [[16 * top, -16, 15.9], [16 * top, -16, 0]], atol=3e-4)


@pytest.mark.parametrize("name", ["good", "typical", "poor"])
@pytest.mark.parametrize("digital", [True, False])
def test_stretches_of_any_size_give_the_same(name: str, digital: bool) -> None:
    model = replace(PRESETS[name], digital=digital)
    count = 5000
    gyr, acc = moving(count)
    samples = np.arange(count)
    whole = SensorErrors(model, 7, PELVIS, 200.0).apply(samples, samples / 200, gyr, acc)
    sensor = SensorErrors(model, 7, PELVIS, 200.0)
    cuts = np.cumsum([0, 1, 2, 997, 1024, 3, 1500, 1473])
    parts = [sensor.apply(samples[a:b], samples[a:b] / 200, gyr[a:b], acc[a:b]) for a, b in pairwise(cuts)]
    for k in range(2):
        np.testing.assert_array_equal(np.concatenate([part[k] for part in parts]), whole[k])


def test_going_back_gives_the_same_again() -> None:
    sensor = SensorErrors(TYPICAL, 7, PELVIS, 200.0)
    gyr, acc = moving(10)
    late, early = (np.arange(first, first + 10) for first in (600_000, 5))
    first = sensor.apply(early, early / 200, gyr, acc)
    sensor.apply(late, late / 200, gyr, acc)
    np.testing.assert_array_equal(sensor.apply(early, early / 200, gyr, acc), first)


def test_seeds_and_segments_have_errors_of_their_own() -> None:
    samples, nothing = np.arange(100), np.zeros((100, 3))
    seen = [
        SensorErrors(TYPICAL, seed, segment, 200.0).apply(samples, samples / 200, nothing, nothing)[0]
        for seed, segment in ((1, PELVIS), (2, PELVIS), (1, Segment.LEFT_THIGH))
    ]
    assert not any(np.array_equal(a, b) for a, b in ((seen[0], seen[1]), (seen[0], seen[2])))


def test_the_ideal_sensor_changes_nothing() -> None:
    gyr, acc = moving(100)
    measured = SensorErrors(IDEAL, 1, PELVIS, 200.0).apply(np.arange(100), np.arange(100) / 200, gyr, acc)
    np.testing.assert_array_equal(measured[0], gyr)
    np.testing.assert_array_equal(measured[1], acc)


def test_presets_are_ordered_in_every_error() -> None:
    numbers = [name for name, kind in SensorModel.__annotations__.items() if kind == "float"]
    assert len(numbers) == 14
    order = list(PRESETS.values())
    assert [one.name for one in order] == ["ideal", "good", "typical", "poor"] == list(PRESETS)
    for better, worse in pairwise(order):
        assert all(getattr(better, one) <= getattr(worse, one) for one in numbers)
    for better, worse in pairwise(order[1:]):
        assert better.tissue is not None
        assert worse.tissue is not None
        assert better.tissue.axial_share > worse.tissue.axial_share
        assert better.tissue.wobble_gain < worse.tissue.wobble_gain
        assert better.tissue.wobble_damping > worse.tissue.wobble_damping


def test_a_worse_preset_is_further_from_the_truth() -> None:
    gyr, acc = moving(2000)
    samples = np.arange(2000)
    away = []
    for model in PRESETS.values():
        measured = SensorErrors(model, 4, PELVIS, 200.0).apply(samples, samples / 200, gyr, acc)
        away.append([np.sqrt(np.mean((a - b) ** 2)) for a, b in zip(measured, (gyr, acc), strict=True)])
    assert (np.diff(away, axis=0) > 0).all()


def test_errors_can_be_left_out() -> None:
    assert TYPICAL.without() == TYPICAL
    assert TYPICAL.without(soft_tissue=True) == replace(TYPICAL, tissue=None)
    assert TYPICAL.without(strap_twist=True, rate_error=True) == replace(
        TYPICAL, strap_twist_deg=0.0, rate_error_percent=0.0
    )
    quiet = TYPICAL.without(noise=True)
    assert (quiet.gyr_noise_dps_rthz, quiet.acc_noise_ug_rthz, quiet.gyr_bias_dps) == (0.0, 0.0, 1.0)


def test_sample_rates_err_both_ways_within_the_limit() -> None:
    rates = np.array([one.rate_error for one in many(TYPICAL)])
    assert np.abs(rates).max() <= 0.005
    assert rates.min() < -0.004
    assert rates.max() > 0.004
