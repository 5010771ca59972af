"""What is told after samples were lost, from the sample to the angle: when an angle is ok again, and when not."""

from __future__ import annotations

import numpy as np
import pytest
from bodies import GRID_HZ, WORN
from chain import changed, half_sine, kept, shown, standing_then

from imufeedback.body import recovery
from imufeedback.body.bars import LIMIT_RAD
from imufeedback.records import Flag, Floats, Segment, Side

THIGH = Segment.RIGHT_THIGH


def still(seconds: float) -> dict[Segment, Floats]:
    return {one: np.zeros((round(seconds * GRID_HZ), 3)) for one in WORN}


def without(samples, segments, begin_s: float, end_s: float, flag: int = 0):
    """The same with some sensors' samples gone; `flag` on the first after it."""
    out = dict(samples)
    for one in segments:
        block = samples[one]
        keep = (block.t_s < begin_s - 1e-9) | (block.t_s >= end_s - 1e-9)
        flags = block.flags.copy()
        flags[np.searchsorted(block.t_s, end_s - 1e-9)] |= flag
        out[one] = kept(changed(block, flags=flags), keep)
    return out


@pytest.mark.parametrize("segments", [(THIGH,), (Segment.PELVIS,), WORN])
@pytest.mark.parametrize("size", [1, 4, 64])
def test_after_half_a_second_without_samples_at_rest_flexion_is_back_at_once(segments, size):
    """Gravity shows it; the rotation is back with the heading, which a zero sets."""
    found = shown(without(standing_then(still(5))[1], segments, 2.5, 3.0), size=size)
    flexion = found.hip[Side.RIGHT][:, 0]
    away = (found.t_s > 2.53) & (found.t_s < 2.97)
    assert np.isnan(flexion[away]).all()
    assert np.isfinite(flexion[found.t_s > 3.3]).all()
    assert np.nanmax(np.abs(flexion[found.t_s > 3.0])) < 1.0


@pytest.mark.parametrize("segment", [THIGH, Segment.PELVIS])
def test_a_sensor_that_restarts_takes_every_heading_with_it(segment):
    """Its tilt is back within a moment, its heading is anybody's: 180° of bar are not ok."""
    found = shown(without(standing_then(still(5))[1], (segment,), 2.5, 2.8, int(Flag.RESTART)))
    after = found.t_s > 3.3
    assert np.isfinite(found.hip[Side.RIGHT][after, 0]).all()
    assert np.isnan(found.hip[Side.RIGHT][after, 2]).all()
    assert np.isfinite(found.pelvis[after, 1:]).all()
    if segment is Segment.PELVIS:
        assert np.isnan(found.pelvis[after, 0]).all()
        assert np.isnan(found.hip[Side.LEFT][after, 2]).all()
    else:
        assert np.isfinite(found.pelvis[after, 0]).all()
        assert np.isfinite(found.hip[Side.LEFT][after]).all()


def test_a_turn_that_lay_wholly_inside_a_gap_is_noticed_by_gravity():
    """64 degrees within a quarter of a second, from nearly rest to rest: neither end tells."""
    rates = still(5)
    rates[THIGH][:, 2] = half_sine(5, np.deg2rad(400), at_s=2.4, lasting_s=0.25)
    found = shown(without(standing_then(rates)[1], (THIGH,), 2.42, 2.68))
    clean = shown(standing_then(rates)[1])
    off, sd = np.abs(found.hip[Side.RIGHT] - clean.hip[Side.RIGHT]), found.sd[Side.RIGHT]
    after = found.t_s > 2.68
    assert (off <= 2 * sd + 0.1)[after[:, None] & np.isfinite(off)].all()
    assert np.isfinite(off[found.t_s > 3.0, 0]).all()
    assert np.isnan(found.hip[Side.RIGHT][after, 1]).all(), "bent by 64°, a heading that nobody knows is adduction"
    over = np.rad2deg(LIMIT_RAD) < sd
    assert over[after].any()
    assert np.isnan(found.hip[Side.RIGHT][over]).all()


@pytest.mark.parametrize("size", [1, 2, 5])
def test_blocks_of_any_size_tell_the_same_of_gaps_clips_and_restarts(size):
    rates = still(6)
    for k, one in enumerate(WORN):
        rates[one][:, 2] = half_sine(6, np.deg2rad(150 + 60 * k), at_s=2.5, lasting_s=0.8)
    samples = without(standing_then(rates)[1], (THIGH,), 2.7, 2.9)
    samples = without(samples, (Segment.PELVIS,), 4.0, 4.4, int(Flag.RESTART))
    left = samples[Segment.LEFT_THIGH]
    clipped = np.flatnonzero((left.t_s > 3.0) & (left.t_s < 3.04))
    gyr, flags = left.gyr_rad_s.copy(), left.flags.copy()
    gyr[clipped, 0], flags[clipped] = np.deg2rad(2000), int(Flag.SATURATED)
    samples[Segment.LEFT_THIGH] = changed(left, gyr_rad_s=gyr, flags=flags)
    expected, found = shown(samples, size=4), shown(samples, size=size)
    n = min(len(expected.t_s), len(found.t_s))
    for side in Side:
        np.testing.assert_allclose(found.hip[side][:n], expected.hip[side][:n], atol=1e-6)
        np.testing.assert_allclose(found.sd[side][:n], expected.sd[side][:n], atol=1e-6)


def test_false_turn_at_the_end_of_the_range_is_inside_the_bar():
    """40 ms at 2000 °/s while nothing turns: up to 80 degrees that never were."""
    samples = standing_then(still(6))[1]
    for axis in range(3):
        block = samples[THIGH]
        gyr, flags = block.gyr_rad_s.copy(), block.flags.copy()
        gyr[600:608, axis], flags[600:608] = np.deg2rad(2000), int(Flag.SATURATED)
        found = shown({**samples, THIGH: changed(block, gyr_rad_s=gyr, flags=flags)})
        angle, sd = found.hip[Side.RIGHT], found.sd[Side.RIGHT]
        known = np.isfinite(angle)
        assert (np.abs(angle) <= 2 * sd + 0.1)[known].all()
        assert np.isnan(angle[(found.t_s > 3.1) & (found.t_s < 5.9), 2]).all(), "nothing has shown the heading since"
        assert np.isfinite(angle[found.t_s > 3.4, 0]).all()


def test_a_heading_is_a_mean_by_how_sure_each_is():
    assert recovery.heading(0.3, np.deg2rad(9.0), 0.0, 0.4) == (0.3, np.deg2rad(9.0))
    found, sd = recovery.heading(0.3, 0.4, 0.1, 0.4)
    assert found == pytest.approx(0.2)
    assert sd == pytest.approx(0.4 / np.sqrt(2))
    across, _ = recovery.heading(3.0, 0.5, -3.0, 0.5)
    assert np.cos(across) == pytest.approx(-1.0, abs=1e-9)  # the short way round
