"""Frozen values and wrong ranges are kept out, and told once; noise, rest and motion pass untouched."""

from __future__ import annotations

import dataclasses

import numpy as np
import pytest

from imufeedback.records import Flag, Floats, ImuBlock, Notice, frozen
from imufeedback.timing import Plausible

HZ = 100.0
LSB = 16 / 32768 * 9.80665


def still(seconds: float, gravity: float = 9.81, *, noise: float = LSB, seed: int = 3) -> tuple[Floats, Floats]:
    """A still sensor, rounded to its steps."""
    rng = np.random.default_rng(seed)
    n = int(seconds * HZ)
    gyr = np.rint(rng.normal(0.0, 1.0, (n, 3))) * 0.001
    acc = np.rint((np.array([0.0, 0.0, gravity]) + rng.normal(0.0, noise, (n, 3))) / LSB) * LSB
    return gyr, acc


def blocks(gyr: Floats, acc: Floats, *, size: int = 4, begin_s: float = 0.0, flag: int = 0) -> list[ImuBlock]:
    out = []
    for k in range(0, len(gyr), size):
        n = len(gyr[k : k + size])
        t_s = begin_s + (k + np.arange(n)) / HZ
        flags = np.zeros(n, np.uint8)
        flags[0] = flag if k == 0 else 0
        made = (frozen(t_s), frozen(np.full(n, 1 / HZ)), frozen(gyr[k : k + n]), frozen(acc[k : k + n]))
        out.append(ImuBlock("a", *made, frozen(flags, np.uint8)))
    return out


def feed(stage: Plausible, items: list[ImuBlock]) -> tuple[list[ImuBlock], list[Notice]]:
    out = [one for item in items for one in stage.feed(item)]
    return [one for one in out if isinstance(one, ImuBlock)], [one for one in out if isinstance(one, Notice)]


def joined(*parts: tuple[Floats, Floats]) -> tuple[Floats, Floats]:
    return np.vstack([gyr for gyr, _ in parts]), np.vstack([acc for _, acc in parts])


@pytest.mark.parametrize("size", [1, 3, 4])
def test_h48_a_frozen_sensor_is_told_within_half_a_second_and_kept_out(size: int) -> None:
    gyr, acc = still(60.0)
    gyr[4000:], acc[4000:] = gyr[4000], acc[4000]
    passed, notices = feed(Plausible("a"), blocks(gyr, acc, size=size))
    (notice,) = notices
    assert 40.0 < notice.t_s < 40.5
    assert "frozen" in notice.text
    assert passed[-1].t_s[-1] < 40.3


def test_h48_a_still_sensor_with_noise_of_one_step_is_not_frozen() -> None:
    gyr, acc = still(60.0)
    gyr[:] = 0.0  # only the last digit of one axis moves
    acc[:, :2] = 0.0
    passed, notices = feed(Plausible("a"), blocks(gyr, acc))
    assert not notices
    assert len(passed) == 1500


def test_a_sensor_that_wakes_up_begins_anew() -> None:
    gyr, acc = still(30.0)
    gyr[1000:2000], acc[1000:2000] = gyr[1000], acc[1000]
    passed, notices = feed(Plausible("a"), blocks(gyr, acc))
    assert len(notices) == 1
    first = next(one for one in passed if one.t_s[0] > 15.0)
    assert first.flags[0] == int(Flag.RESTART)
    assert first.t_s[0] == pytest.approx(20.0, abs=0.05)
    assert passed[-1].flags.tolist() == [0] * 4


def test_a_source_without_noise_may_stand_still() -> None:
    gyr, acc = np.zeros((3000, 3)), np.tile([0.0, 0.0, 9.81], (3000, 1))
    gyr[1000:1500, 0] = 1.0 + np.arange(500)
    passed, notices = feed(Plausible("a"), blocks(gyr, acc))
    assert not notices
    assert len(passed) == 750


@pytest.mark.parametrize(
    ("measured", "wrong"), [(9.81, False), (9.3, False), (10.4, False), (2.45, True), (19.6, True)]
)
def test_h42_gravity_at_rest_decides(measured: float, wrong: bool) -> None:
    passed, notices = feed(Plausible("a"), blocks(*still(5.0, measured)))
    assert bool(notices) is wrong
    if wrong:
        assert f"measures {measured:.2f} m/s²"[:12] in notices[0].text
        assert "wrongly scaled" in notices[0].text
        assert passed[-1].t_s[-1] < 1.6


def test_h45_a_range_that_changes_with_a_restart_is_found_at_rest() -> None:
    """After the restart a quarter of the acceleration, and eight times the rate: noise and a bias of 1 °/s with it."""
    gyr, acc = still(5.0, 9.81 / 4)
    after = (gyr * 8 + 8 * np.radians(1.0), acc)
    stage = Plausible("a")
    feed(stage, blocks(*still(20.0)))
    passed, notices = feed(stage, blocks(*after, begin_s=20.0, flag=int(Flag.RESTART)))
    assert len(notices) == 1
    assert passed[-1].t_s[-1] < 21.6
    # the next restart brings the right range back
    passed, notices = feed(stage, blocks(*still(5.0), begin_s=30.0, flag=int(Flag.RESTART)))
    assert not notices
    assert passed[0].flags[0] == int(Flag.RESTART)
    assert 30.0 < passed[0].t_s[0] < 32.0


def test_motion_is_not_judged() -> None:
    rng = np.random.default_rng(1)
    gyr, acc = rng.normal(0, 3.0, (2000, 3)), rng.normal(0, 20.0, (2000, 3))
    passed, notices = feed(Plausible("a"), blocks(gyr, acc))
    assert len(passed) == 500
    assert not notices


def test_numbers_that_are_none_pass_for_the_fusion_to_repair() -> None:
    gyr, acc = still(5.0)
    acc[200:260] = np.nan
    gyr[300:360] = np.inf
    passed, notices = feed(Plausible("a"), blocks(gyr, acc))
    assert len(passed) == 125
    assert not notices


def test_blocks_pass_unchanged() -> None:
    (block,) = blocks(*still(0.04))
    (out,) = Plausible("a").feed(block)
    assert out is block
    assert Plausible("a").feed(dataclasses.replace(block, t_s=frozen(np.empty(0)))) == []
