"""Packets carry the samples, the clock and the order they should."""

from __future__ import annotations

import struct
from importlib import resources
from itertools import islice

import numpy as np
import pytest

from imufeedback.constants import STANDARD_GRAVITY_M_S2
from imufeedback.packets import Layout, parse_layout
from imufeedback.records import RawPacket, Segment
from imufeedback.synth.player import Pace
from imufeedback.synth.script import Script, make_script
from imufeedback.synth.sensors import WORN, default_places, measure
from imufeedback.synth.stream import RADIO_DELAY_S, exact_items, raw_packets, sensor_streams, serial_of

GYR_LSB = np.radians(2000 / 32768)
ACC_LSB = 16 / 32768 * STANDARD_GRAVITY_M_S2


def layout(name: str) -> Layout:
    return parse_layout((resources.files("imufeedback.packets") / "layouts" / f"{name}.toml").read_text("utf-8"), name)


@pytest.fixture(scope="module")
def script() -> Script:
    return make_script(pace=Pace.FULL, reps=1, seed=12)


@pytest.fixture(scope="module")
def streams(script: Script):
    return sensor_streams(script, layout("house"))


def unpacked(payload: bytes) -> tuple[int, int, int, np.ndarray]:
    """Count, sequence, tick, and (N, 6) raw numbers, by the byte table of the house layout."""
    _, count, sequence, tick = struct.unpack_from("<BBHI", payload)
    return count, sequence, tick, np.frombuffer(payload, "<i2", offset=8).reshape(count, 6)


def test_samples_are_the_measured_ones_to_half_a_step(script: Script, streams) -> None:
    for stream in streams:
        packets = [unpacked(payload) for _, payload in stream]
        assert {one[0] for one in packets} == {4}
        raw = np.concatenate([one[3] for one in packets])
        gyr, acc = measure(script.golfer.pose(stream.sample_times(np.arange(len(raw)))), stream.place)
        assert np.abs(raw[:, :3] * GYR_LSB - gyr).max() <= 0.501 * GYR_LSB
        assert np.abs(raw[:, 3:] * ACC_LSB - acc).max() <= 0.501 * ACC_LSB


def test_counters_run_on_without_a_gap(streams) -> None:
    for stream in streams:
        packets = [unpacked(payload) for _, payload in stream]
        assert len(packets) == stream.packets
        sequence = np.array([one[1] for one in packets])
        assert sequence[0] == stream.clock.first_sequence
        assert set(np.diff(sequence) % 65536) == {1}
        tick = np.array([one[2] for one in packets])
        assert tick[0] == stream.clock.first_tick
        assert set(np.diff(tick) % 2**32) == {20_000}


def test_the_stream_covers_the_script_from_zero(script: Script, streams) -> None:
    for stream in streams:
        first, last = stream.sample_times([0, stream.packets * 4 - 1])
        assert first == 0.0
        assert script.duration_s - 0.025 < last <= script.duration_s


def test_skew_is_the_clocks_gain_on_true_time(streams) -> None:
    for stream in streams:
        counted = np.diff(stream.ticks([0, 200_000]))[0] * 1e-6
        true = np.diff(stream.sample_times([0, 200_000]))[0]
        assert (counted / true - 1) * 1e6 == pytest.approx(stream.clock.skew_ppm, abs=1e-3)
        assert 0 < abs(stream.clock.skew_ppm) <= 50


def test_packets_come_late_but_in_order(streams) -> None:
    for stream in streams:
        deliver = np.array([when for when, _ in stream])
        sampled = np.rint(stream.sample_times(4 * np.arange(1, len(deliver) + 1) - 1) * 1e9)
        delay = (deliver - sampled) * 1e-9
        assert (np.diff(deliver) >= 0).all()
        assert delay.min() >= RADIO_DELAY_S[0] - 1e-9
        assert delay.max() <= RADIO_DELAY_S[1] + 1e-9
        assert np.ptp(delay) > 0.012


def test_sensors_differ_and_a_seed_repeats(script: Script, streams) -> None:
    assert [one.serial for one in streams] == ["SYN-0001", "SYN-0002", "SYN-0003"]
    assert len({one.clock for one in streams}) == 3
    again = sensor_streams(script, layout("house"))
    assert list(islice(streams[1], 300)) == list(islice(again[1], 300))


def test_packets_of_all_sensors_are_in_order_of_arrival(streams) -> None:
    packets = list(raw_packets(streams, start_ns=1_000))
    assert len(packets) == sum(one.packets for one in streams)
    arrivals = [one.host_ns for one in packets]
    assert arrivals == sorted(arrivals)
    assert arrivals[0] > 1_000
    assert {one.sensor for one in packets} == {serial_of(segment) for segment in WORN}


@pytest.mark.parametrize("segment", [Segment.PELVIS, Segment.RIGHT_SHANK])
def test_exact_items_are_not_rounded(script: Script, segment: Segment) -> None:
    items = list(exact_items(script, layout("lossless"), (segment,), rate_hz=200.0, start_ns=5))
    assert all(isinstance(one, RawPacket) for one in items)
    table = np.dtype([("tick", "<u8"), ("six", "<f8", 6)])
    samples = np.concatenate([np.frombuffer(one.payload, table, offset=8) for one in items])
    t = np.arange(len(samples)) / 200
    np.testing.assert_array_equal(samples["tick"], np.rint(t * 1e9).astype(np.uint64))
    truth = measure(script.golfer.pose(t), default_places(script.seed, (segment,))[segment])
    np.testing.assert_allclose(samples["six"], np.hstack(truth), atol=1e-12)
    last = samples["tick"][9::10][: len(items)].astype(np.int64)
    np.testing.assert_array_equal([one.host_ns for one in items], last + 5)
