"""One sensor's counter becomes session time: wraps, restarts, gaps, real rates, drift, clumps."""

from __future__ import annotations

import dataclasses
import pickle

import numpy as np
import pytest
from clocks import RESTART, clock, device_block, feed, has, packets, steps, times

from imufeedback.records import ClockFitted, ClockRestarted, Flag, Gap, ImuBlock, Notice, same

# ── wraps ────────────────────────────────────────────────────────────────────────────────────────────────────────


@pytest.mark.parametrize(
    ("bits", "unit_s"), [(8, 1e-2), (16, 1e-3), (24, 1e-6), (32, 1e-6)], ids=["8", "16", "24", "32"]
)
def test_h27_three_wraps_leave_time_even(bits, unit_s):
    """Counters of 8 to 32 bits, 100 Hz, begun just before a wrap; three wraps where that takes seconds or, for the
    long counters, one and as many more as come."""
    seconds = min(3.2 * (1 << bits) * unit_s, 210.0)
    per_packet = 2 if bits == 8 else 10
    first = (1 << bits) - 5
    out = feed(
        clock(unit_s=unit_s, bits=bits, hz=100.0),
        packets(seconds, hz=100.0, per_packet=per_packet, first_tick=first, bits=bits, unit_s=unit_s),
    )
    assert not has(out, ClockRestarted)
    assert not has(out, Gap)
    np.testing.assert_allclose(np.diff(times(out)), 0.01, atol=2e-6)
    np.testing.assert_allclose(steps(out), 0.01, atol=2e-6)


def test_h27_65530_to_14_is_a_step_of_20():
    ticks = [65_490, 65_510, 65_530, 14, 34, 54]
    out = feed(
        clock(unit_s=1e-3, bits=16, hz=50.0),
        [device_block([tick], 0.02 * k) for k, tick in enumerate(ticks)],
    )
    np.testing.assert_allclose(np.diff(times(out)), 0.020, atol=1e-9)


# ── restart or wrap ──────────────────────────────────────────────────────────────────────────────────────────────


def after(first_tick: int, last_tick: int, *, silence_s: float = 0.0) -> tuple[list, float]:
    """A 16-bit millisecond counter at 100 Hz that ends a second with `first_tick` and goes on with `last_tick`."""
    stage = clock(unit_s=1e-3, bits=16, hz=100.0)
    blocks = [device_block([(first_tick - 10 * (99 - k)) & 0xFFFF], 0.01 * (k + 1)) for k in range(100)]
    before = feed(stage, blocks)
    end_s = float(times(before)[-1])
    later = [device_block([last_tick + 10 * k], 1.0 + silence_s + 0.01 * (k + 1)) for k in range(50)]
    return feed(stage, later), end_s


def test_h28_a_small_step_over_the_end_is_a_wrap():
    out, end_s = after(65_500, 10)
    assert not has(out, ClockRestarted)
    # true step: 65536 - 65500 + 10 = 46 ms
    assert times(out)[0] - end_s == pytest.approx(0.046, abs=0.002)


def test_h28_a_counter_that_falls_to_its_beginning_has_restarted():
    out, end_s = after(30_000, 5)
    (restarted,) = has(out, ClockRestarted)
    assert restarted.t_s == pytest.approx(1.01)
    assert 0 < times(out)[0] - end_s < 0.05  # never 35 s ahead
    np.testing.assert_allclose(np.diff(times(out)), 0.01, atol=1e-3)


def test_h28_a_plausible_wrap_after_seconds_of_silence_is_a_restart():
    """65 500 to 10 is 46 ms, but the host saw five seconds go by: never 65 s ahead, nor five seconds behind."""
    out, end_s = after(65_500, 10, silence_s=5.0)
    assert len(has(out, ClockRestarted)) == 1
    assert times(out)[0] - end_s == pytest.approx(5.01, abs=0.02)


def test_a_restart_flags_its_first_sample_and_begins_a_new_time_base():
    out, _ = after(30_000, 5)
    blocks = has(out, ImuBlock)
    assert blocks[0].flags[0] & RESTART
    assert not any((one.flags & RESTART).any() for one in blocks[1:])
    assert blocks[0].dt_s[0] == pytest.approx(0.01, abs=1e-3)
    assert not has(out, Gap)


def test_a_restart_that_the_packets_tell_is_believed():
    """The packet counter has seen it, although the tick happens to fit."""
    stage = clock()
    feed(stage, packets(1.0))
    out = stage.feed(device_block([1_000_000, 1_005_000], 1.01, flags=[RESTART, 0]))
    assert len(has(out, ClockRestarted)) == 1


def test_time_never_stands_or_runs_back_over_restarts():
    stage = clock()
    out = feed(stage, packets(2.0, delays_s=0.4))  # long delays: the old base ran late …
    out += feed(stage, packets(2.0, delays_s=0.001, first_tick=7, begin_s=2.0))  # … and the new one is early
    assert len(has(out, ClockRestarted)) == 1
    assert (np.diff(times(out)) > 0).all()


# ── steps ────────────────────────────────────────────────────────────────────────────────────────────────────────


def test_h31_samples_of_one_tick_still_have_a_step():
    """Three samples with one time each: time rises strictly and no rate is divided by nothing."""
    out = feed(clock(hz=100.0), [device_block([30_000 * k] * 3, 0.03 * k + 0.03) for k in range(40)])
    assert (steps(out) > 0).all()
    assert (np.diff(times(out)) > 0).all()


def test_a_gap_is_told_with_its_length_and_its_loss():
    blocks = list(packets(2.0))
    out = feed(clock(), blocks[:30] + blocks[35:])
    (gap,) = has(out, Gap)
    assert gap.sensor == "a"
    assert gap.lost == 20
    assert gap.duration_s == pytest.approx(21 * 0.005)
    assert gap.t_s == pytest.approx(times(feed(clock(), blocks))[35 * 4], abs=1e-6)
    assert steps(out)[30 * 4] == pytest.approx(21 * 0.005)


def test_two_gaps_in_one_block():
    stage = clock()
    feed(stage, packets(1.0))
    out = stage.feed(device_block([1_000_000, 1_015_000, 1_020_000, 1_040_000], 1.05))
    assert [(one.lost, round(one.duration_s, 6)) for one in has(out, Gap)] == [(2, 0.015), (3, 0.02)]


def test_an_empty_block_says_nothing():
    assert clock().feed(device_block([], 1.0)) == []


def test_flags_and_samples_pass_unchanged():
    block = device_block([0, 5000], 0.1, flags=[int(Flag.SATURATED), 0])
    (out,) = clock().feed(block)
    assert same(out.flags, block.flags)
    assert out.gyr_rad_s is block.gyr_rad_s
    assert out.acc_m_s2 is block.acc_m_s2


# ── the rate that is, and the clock that runs ────────────────────────────────────────────────────────────────────


def test_h32_a_rate_that_is_not_the_declared_one():
    """119 Hz declared as 104 Hz. A turn of 90° comes out as 90 (at the declared rate: 103), and the rate is told."""
    stage = clock(hz=104.0)
    out = feed(stage, packets(40.0, hz=119.0))
    assert stage.rate_hz == pytest.approx(119.0, rel=1e-3)
    assert has(out, ClockFitted)[-1].rate_hz == pytest.approx(119.0, rel=1e-3)
    (told,) = has(out, Notice)
    assert "declares 104.0: its real rate is used" in told.text
    assert not has(out, Gap)
    second = (times(out) >= 10.0) & (times(out) < 11.0)
    assert 90.0 * steps(out)[second].sum() == pytest.approx(90.0, abs=1.0)
    assert 90.0 * second.sum() / 104.0 == pytest.approx(103.0, abs=1.0)


def test_a_filters_delay_is_taken_off_every_sample():
    """A low-pass in the sensor tells of the motion 8 ms ago: times move by that, steps and rate do not, and two sensors
    with different filters meet on the same instant."""
    plain, late = feed(clock(), packets(3.0)), feed(clock(delay_s=0.008), packets(3.0))
    np.testing.assert_allclose(times(late), times(plain) - 0.008, atol=1e-9)
    np.testing.assert_array_equal(steps(late), steps(plain))


@pytest.mark.parametrize("skew_ppm", [-120, 0, 35])
def test_the_fitted_clock_is_told(skew_ppm):
    rng = np.random.default_rng(11)
    out = feed(clock(), packets(100.0, skew_ppm=skew_ppm, delays_s=0.004 + rng.exponential(0.006, 5000)))
    told = has(out, ClockFitted)
    np.testing.assert_allclose(np.diff([one.t_s for one in told]), 5.0, atol=0.1)
    assert told[-1].skew_ppm == pytest.approx(-skew_ppm, abs=10)  # a counter that runs fast needs a map that is slower
    assert told[-1].rate_hz == pytest.approx(200.0, rel=1e-3)
    assert told[-1].spread_s == pytest.approx(0.006 * np.log(2), rel=0.3)  # median of the exponential


def test_h33_two_sensors_that_drift_apart_are_held_together():
    """100.05 and 99.85 Hz, both believed to be 100, with crystals 40 ppm fast and slow: what the two make of one
    instant is within 3 ms in every one of sixty minutes, which is 1° at 300 °/s. Lined up by sample number it would be
    7 s, by their counters alone 0.29 s."""
    found = {}
    for sensor, hz, skew_ppm in (("pelvis", 100.05, 40.0), ("thigh", 99.85, -40.0)):
        rng = np.random.default_rng(len(sensor))
        delays = 0.004 + rng.exponential(0.005, int(3600 * hz) // 10)
        sent = packets(3600.0, hz=hz, per_packet=10, skew_ppm=skew_ppm, delays_s=delays)
        out = feed(clock(hz=100.0, sensor=sensor), sent)
        t_s = times(out)
        assert np.mean(steps(out)[30_000:]) * hz == pytest.approx(1.0, abs=8e-6)  # the integration step is true too
        found[sensor] = np.interp(np.arange(1.0, 3599.0), np.arange(len(t_s)) / hz, t_s)
    apart = np.abs(found["pelvis"] - found["thigh"])
    assert apart[60:].max() < 0.003
    late = found["pelvis"] - np.arange(1.0, 3599.0)
    assert 0.002 < late[60:].min() < late[60:].max() < 0.007  # both late by the least delay of the radio


def test_the_map_never_jumps():
    """A radio that becomes faster moves the map by at most its slew rate: 2 % of a step."""
    delays = np.where(np.arange(900) < 450, 0.060, 0.010)
    out = feed(clock(), packets(18.0, delays_s=delays))
    assert np.abs(np.diff(times(out)) / 0.005 - 1.0).max() <= 0.0201
    late = times(out) - np.arange(len(times(out))) / 200.0
    assert late[1700] == pytest.approx(0.060, abs=1e-3)
    assert late[-1] == pytest.approx(0.010, abs=1e-3)


def test_a_radio_that_becomes_faster_for_good_never_makes_time_early():
    """50 ms less delay from 40 s on: the old delays say nothing of the clock's rate, so the line does not tilt."""
    rng = np.random.default_rng(4)
    delays = np.where(np.arange(6500) < 2000, 0.060, 0.010) + rng.exponential(0.002, 6500)
    out = feed(clock(), packets(130.0, skew_ppm=20.0, delays_s=delays))
    late = times(out) - np.arange(len(times(out))) / 200.0
    settled = late[50 * 200 :]
    assert settled.min() > 0.0085
    assert settled.max() < 0.0115


@pytest.mark.parametrize("hz", [98.5, 99.95, 103.0])
def test_a_counter_of_samples_goes_at_the_rate_of_its_part(hz):
    """The tick counts samples of a part that is off by up to 3 %: time follows the host's, and the rate is the real
    one."""
    rng = np.random.default_rng(5)
    blocks = list(packets(60.0, hz=hz, delays_s=0.004 + rng.exponential(0.004, int(60 * hz) // 4)))
    count = 0
    for k, block in enumerate(blocks):
        n = len(block.tick)
        blocks[k] = dataclasses.replace(block, tick=(count + np.arange(n)) & 0xFFFF)
        count += n
    stage = clock(unit_s=0.01, bits=16, hz=100.0)
    out = feed(stage, blocks)
    late = times(out) - np.arange(len(times(out))) / hz
    assert not has(out, ClockRestarted)
    assert late[2500:].min() > 0.002
    assert late[2500:].max() < 0.007
    assert stage.rate_hz == pytest.approx(hz, rel=2e-4)
    np.testing.assert_allclose(np.mean(steps(out)[2000:]), 1 / hz, rtol=2e-4)
    assert len(has(out, Notice)) == (1 if abs(hz - 100.0) > 2.5 else 0)


# ── clumps ───────────────────────────────────────────────────────────────────────────────────────────────────────


def clumped(blocks: list, every_s: float, silence: tuple[float, float]) -> list:
    """The same packets, handed over together at multiples of `every_s`, and nothing during a silence."""
    out = []
    for block in blocks:
        host_s = block.host_ns * 1e-9
        if silence[0] <= host_s < silence[1]:
            host_s = silence[1]
        out.append(dataclasses.replace(block, host_ns=int(np.ceil(host_s / every_s) * every_s * 1e9)))
    return out


def test_h02_clumped_delivery_gives_the_same_sample_times():
    """100 Hz, six packets at once every 60 ms and one silence of 400 ms, against even delivery: within 3 ms, but for
    what clumping adds to every single packet, which no method can know."""
    even = list(packets(60.0, hz=100.0, per_packet=1, delays_s=0.0))
    out_even = feed(clock(hz=100.0), even)
    out = feed(clock(hz=100.0), clumped(even, 0.060, (30.0, 30.4)))
    assert not has(out, Gap)
    assert not has(out, ClockRestarted)
    late = times(out) - times(out_even)
    assert np.abs(late[500:]).max() < 0.003
    np.testing.assert_allclose(np.diff(times(out)), 0.01, atol=2.1e-4)


def test_arrival_is_never_a_sample_time():
    """With a fixed counter the steps are even whatever the radio does."""
    rng = np.random.default_rng(8)
    out = feed(clock(), packets(30.0, delays_s=0.004 + rng.exponential(0.020, 1500)))
    np.testing.assert_allclose(steps(out), 0.005, rtol=3e-4)
    assert np.abs(np.diff(times(out))[400:] / 0.005 - 1.0).max() <= 0.0201


# ── state ────────────────────────────────────────────────────────────────────────────────────────────────────────


def test_first_half_and_restored_state_and_second_half_are_the_whole():
    rng = np.random.default_rng(6)
    blocks = list(packets(30.0, delays_s=0.004 + rng.exponential(0.01, 1500)))
    blocks = blocks[:300] + blocks[320:] + list(packets(3.0, first_tick=9, begin_s=30.0))
    expected = feed(clock(), blocks)
    assert has(expected, ClockRestarted)
    assert has(expected, ClockFitted)
    for cut in (0, 1, 299, 300, 777, len(blocks) - 150, len(blocks)):
        first, second = clock(), clock()
        found = feed(first, blocks[:cut])
        second.state = pickle.loads(pickle.dumps(first.state))
        assert same(found + feed(second, blocks[cut:]), expected)
