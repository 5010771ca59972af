"""Sensors as they are worn: the whole chain at rest, in stretches, as packets, and for an hour."""

from __future__ import annotations

import tracemalloc
from collections.abc import Collection
from importlib import resources
from itertools import islice

import numpy as np
import pytest

from imufeedback.packets import Decoder, parse_layout
from imufeedback.records import Floats, RawPacket, Segment
from imufeedback.synth.errors import MG, PRESETS
from imufeedback.synth.plan import Channel, MotionPlan
from imufeedback.synth.player import Pace
from imufeedback.synth.profile import Course
from imufeedback.synth.script import Script, make_script
from imufeedback.synth.sensors import GRAVITY_M_S2, WORN, default_places, measure
from imufeedback.synth.stream import exact_items, sensor_streams
from imufeedback.synth.worn_sensor import WornSensor

MODELS = pytest.mark.parametrize("name", list(PRESETS))
HOUSE = parse_layout((resources.files("imufeedback.packets") / "layouts" / "house.toml").read_text("utf-8"), "house")
LOSSLESS = parse_layout(
    (resources.files("imufeedback.packets") / "layouts" / "lossless.toml").read_text("utf-8"), "lossless"
)


@pytest.fixture(scope="module")
def script() -> Script:
    return make_script(pace=Pace.FULL, reps=2, seed=12, busy=True)


def worn(script: Script, name: str, segment: Segment = Segment.RIGHT_THIGH) -> WornSensor:
    return WornSensor(script, default_places(script.seed, (segment,))[segment], PRESETS[name])


@MODELS
def test_at_rest_it_feels_gravity_and_its_own_errors(script: Script, name: str) -> None:
    """WGS84 normal gravity (NIMA TR8350.2) within five spreads of what the accelerometer adds."""
    model, samples = PRESETS[name], np.arange(600)
    gyr, acc = worn(script, name).measure(samples, samples / 200)
    allowed = model.acc_bias_mg * MG + (model.acc_scale_percent + model.acc_cross_percent) / 100 * GRAVITY_M_S2
    assert abs(np.linalg.norm(acc.mean(axis=0)) - GRAVITY_M_S2) <= 5 * allowed + 1e-9
    assert np.degrees(np.abs(gyr.mean(axis=0)).max()) <= 5 * model.gyr_bias_dps + 1e-9


def test_the_ideal_sensor_is_the_exact_one(script: Script) -> None:
    samples = np.arange(5000, 6000)
    place = default_places(script.seed)[Segment.RIGHT_THIGH]
    exact = measure(script.golfer.pose(samples / 200), place)
    for one in (worn(script, "ideal"), WornSensor(script, place)):
        np.testing.assert_array_equal(one.measure(samples, samples / 200), exact)


@MODELS
def test_stretches_of_any_size_give_the_same(script: Script, name: str) -> None:
    samples = np.arange(4000, 9000)
    whole = worn(script, name).measure(samples, samples / 200)
    sensor = worn(script, name)
    parts = [sensor.measure(part, part / 200) for part in np.split(samples, [1, 4, 1000, 1024, 2500])]
    for k in range(2):  # a perfect sensor may differ in the last bit, since scipy turns single vectors in its own way
        np.testing.assert_allclose(np.concatenate([part[k] for part in parts]), whole[k], atol=1e-13)
        if PRESETS[name].digital:
            np.testing.assert_array_equal(np.concatenate([part[k] for part in parts]), whole[k])


def test_samples_differ_in_time_by_the_rate_that_is_real(script: Script) -> None:
    for stream in sensor_streams(script, HOUSE, model=PRESETS["typical"]):
        counted, true = np.diff(stream.ticks([0, 400_000]))[0] * 1e-6, np.diff(stream.sample_times([0, 400_000]))[0]
        assert (counted / true - 1) * 1e6 == pytest.approx(stream.clock.skew_ppm, abs=0.01), "the counter goes right"
        assert 400_000 / true / 200 - 1 == pytest.approx(stream.rate_error, abs=1e-4)
        assert 0 < abs(stream.rate_error) <= 0.005


def test_packets_carry_what_the_sensor_measured(script: Script) -> None:
    for stream in sensor_streams(script, HOUSE, model=PRESETS["typical"]):
        decoder = Decoder(stream.serial, HOUSE, 0)
        packets = [RawPacket(stream.serial, at, payload) for at, payload in islice(stream, 3000, 3400)]
        blocks = [block for packet in packets for block in decoder.feed(packet)]
        samples = np.arange(12_000, 13_600)
        gyr, acc = WornSensor(script, stream.place, stream.model).measure(samples, stream.sample_times(samples))
        np.testing.assert_allclose(np.concatenate([one.gyr_rad_s for one in blocks]), gyr, atol=1e-9)
        np.testing.assert_allclose(np.concatenate([one.acc_m_s2 for one in blocks]), acc, atol=1e-9)


def test_exact_items_have_the_errors_that_are_asked_for(script: Script) -> None:
    clean, wrong = (
        list(islice(exact_items(script, LOSSLESS, WORN, rate_hz=200.0, model=model), 300))
        for model in (None, PRESETS["typical"].without(rate_error=True))
    )
    assert [one.host_ns for one in clean] == [one.host_ns for one in wrong]
    assert all(a.payload != b.payload for a, b in zip(clean, wrong, strict=True))


def test_the_strap_slips_after_the_calibration(script: Script) -> None:
    sensor = worn(script, "poor", Segment.PELVIS)
    turn = sensor.carrier.extra(np.array([script.ready_s, script.ready_s + 1.0])).value
    assert turn[0] == 0
    assert 0 < abs(np.degrees(turn[1])) < 20


def test_of_an_hour_only_what_is_asked_for_is_worked_out(monkeypatch: pytest.MonkeyPatch) -> None:
    """The last seconds of a long session cost no more than the stretches of wobble and noise that they lie in."""
    script = make_script(pace=Pace.FULL, reps=60, rest_s=53.0, seed=3)
    assert script.duration_s > 3600
    sensor = worn(script, "typical")
    asked = _counted(monkeypatch)
    last = np.arange(round((script.duration_s - 5) * 200), round(script.duration_s * 200))
    gyr, acc = sensor.measure(last, last / 200)
    assert 1000 <= sum(asked) < 10_000
    assert np.isfinite(gyr).all()
    assert np.linalg.norm(acc.mean(axis=0)) == pytest.approx(GRAVITY_M_S2, abs=1.0)


def test_a_long_session_in_stretches_keeps_little() -> None:
    script = make_script(pace=Pace.FULL, reps=20, rest_s=10.0, seed=3)
    sensor = worn(script, "typical")
    tracemalloc.start()
    try:
        for first in range(0, round(script.duration_s * 200), 1000):
            samples = np.arange(first, first + 1000)
            sensor.measure(samples, samples / 200)
            if first == 20_000:
                early = tracemalloc.get_traced_memory()[0]
        assert tracemalloc.get_traced_memory()[0] - early < 200_000, "bytes, for 250 s more"
    finally:
        tracemalloc.stop()


def _counted(monkeypatch: pytest.MonkeyPatch) -> list[int]:
    """How many instants a plan is asked for from now on, call by call."""
    asked: list[int] = []
    courses = MotionPlan.courses

    def counting(self: MotionPlan, t_s: Floats, *args: Collection[Channel]) -> dict[Channel, Course]:
        asked.append(len(t_s))
        return courses(self, t_s, *args)

    monkeypatch.setattr(MotionPlan, "courses", counting)
    return asked
