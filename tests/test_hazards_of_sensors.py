"""Hazards of the data path and of sensors' hardware that show only when several stages work together."""

from __future__ import annotations

import dataclasses
from typing import Any

import msgspec
import numpy as np
import pytest
from scipy.spatial.transform import Rotation

from imufeedback import resources
from imufeedback.begin import session_settings
from imufeedback.commands import Begin, recorded
from imufeedback.fusion import Fusion
from imufeedback.measure.golfer import fit_command, items
from imufeedback.packets import Decoder, encode, parse_layout
from imufeedback.pipeline import Pipeline, run
from imufeedback.records import (
    Angles,
    ClockRestarted,
    Cue,
    DeviceBlock,
    Event,
    Flag,
    Floats,
    ImuBlock,
    Item,
    Notice,
    OrientationBlock,
    RawPacket,
    SensorTotals,
    Side,
    StateChanged,
    frozen,
)
from imufeedback.synth.flaws import Flaw
from imufeedback.synth.player import Pace
from imufeedback.synth.script import make_script
from imufeedback.synth.sensors import WORN
from imufeedback.synth.stream import raw_packets, sensor_streams, serial_of

HOUSE = resources.text("layouts", "house")


def played(given: list[Item]) -> list[Event]:
    return list(run(given))


def session(pace: Pace = Pace.SLOW, flaw: Flaw = Flaw.STALL) -> list[Item]:
    return list(items(make_script(pace=pace, flaw=flaw, reps=1, seed=3), WORN))


def right_hip(events: list[Event]) -> tuple[Floats, Floats]:
    """Times and thigh angle of the trail leg."""
    blocks = [one for one in events if isinstance(one, Angles)]
    t_s = np.concatenate([one.t_s for one in blocks])
    return t_s, np.concatenate([one.joint("hip", Side.RIGHT).angle_rad[:, 0] for one in blocks])


# ── A: the data path ─────────────────────────────────────────────────────────────────────────────────────────────


def test_h02_clumps_and_a_long_silence_leave_the_angles_as_they_are() -> None:
    """Six packets at once every 60 ms and one silence of 400 ms, against even delivery."""
    even = session()
    fitted_ns = int(20e9)

    def late(item: Item) -> Item:
        if not isinstance(item, RawPacket):
            return item
        at_ns = -(-item.host_ns // 60_000_000) * 60_000_000
        if fitted_ns < at_ns < fitted_ns + 400_000_000:
            at_ns = fitted_ns + 400_000_000
        return dataclasses.replace(item, host_ns=at_ns)

    clumped = sorted((late(one) for one in even), key=lambda one: one.host_ns)
    t_even, angle_even = right_hip(played(even))
    t_late, angle_late = right_hip(played(clumped))
    window = t_even[(t_even > 20.5) & (t_even < t_even[-1] - 1)]
    a = np.interp(window, t_even, angle_even)
    b = np.interp(window, t_late, angle_late)
    known = np.isfinite(a) & np.isfinite(b)
    assert known.mean() > 0.9
    assert np.degrees(np.abs(a - b)[known]).max() < 0.5


def test_h01_the_totals_say_which_sensor_lost_how_much() -> None:
    rng = np.random.default_rng(1)
    given = [
        one
        for one in session()
        if not (isinstance(one, RawPacket) and one.sensor == "SYN-0001" and one.host_ns > 5e9 and rng.random() < 0.08)
    ]
    totals = {one.sensor: one for one in played(given) if isinstance(one, SensorTotals)}
    lost = {sensor: one.lost / (one.lost + one.samples) for sensor, one in totals.items()}
    assert lost.pop("SYN-0001") == pytest.approx(0.08, abs=0.03)
    assert set(lost.values()) == {0.0}


def test_h11_two_seconds_of_old_motion_make_no_cue() -> None:
    """All that was sent in two seconds around the stall comes at once, as after a program that stood still."""
    given = session()
    plain = played(given)
    moved = [one for one in plain if isinstance(one, Cue) and one.sound in ("stalled", "regaining")]
    assert moved
    decided = next(one for one in plain if isinstance(one, StateChanged) and one.t_s == moved[0].t_s)
    begin_ns, end_ns = round((decided.t_s - 1.5) * 1e9), round((decided.t_s + 0.5) * 1e9)

    def held(item: Item) -> Item:
        inside = isinstance(item, RawPacket) and begin_ns <= item.host_ns < end_ns
        return dataclasses.replace(item, host_ns=end_ns) if inside else item

    heard = [one for one in played([held(one) for one in given]) if isinstance(one, Cue)]
    early = [one for one in heard if one.sound in ("stalled", "regaining") and one.t_s < end_ns * 1e-9 - 0.15]
    assert not early


# ── D: hardware ──────────────────────────────────────────────────────────────────────────────────────────────────


def with_range(gyr_deg_s: float) -> str:
    scale = gyr_deg_s / 32768
    return HOUSE.replace("scale = 0.06103515625", f"scale = {scale}").replace("2000.0", f"{gyr_deg_s}")


@pytest.mark.parametrize(
    ("peak_deg_s", "seconds", "range_deg_s", "lost_deg"),
    [(600, 0.25, 500, 6), (600, 0.25, 250, 41), (2600, 0.08, 2000, 14)],
)
def test_h49_a_turn_beyond_the_range_is_flagged_for_as_long_as_it_lasts(
    peak_deg_s: float, seconds: float, range_deg_s: float, lost_deg: float
) -> None:
    """The three half-sine turns: how much angle is lost is what was computed, and every clipped sample carries its
    flag."""
    layout = msgspec.structs.replace(parse_layout(with_range(range_deg_s), "x"), rate_hz=1000.0, samples_per_packet=1)
    t_s = np.arange(0.0, seconds, 0.001)
    rate = peak_deg_s * np.sin(np.pi * t_s / seconds)
    decoder = Decoder("a", layout, 0)
    blocks: list[DeviceBlock] = []
    for k, value in enumerate(rate):
        data = encode(layout, k, k * 1000, [[np.radians(value), 0.0, 0.0]], [[0.0, 0.0, 9.81]])
        blocks += [one for one in decoder.feed(RawPacket("a", k * 1_000_000, data)) if isinstance(one, DeviceBlock)]
    measured = np.concatenate([one.gyr_rad_s[:, 0] for one in blocks])
    clipped = np.concatenate([one.flags for one in blocks]) & np.uint8(Flag.SATURATED) > 0
    assert np.degrees(np.radians(rate).sum() - measured.sum()) * 0.001 == pytest.approx(lost_deg, abs=1.0)
    assert clipped.tolist() == (rate >= 0.99 * range_deg_s).tolist()
    assert decoder.counts.saturated == clipped.sum()


def fused(gyr: Floats, acc: Floats, flags: np.ndarray) -> OrientationBlock:
    stage = Fusion("a", filter_name="vqf", period_s=0.005)
    out: list[OrientationBlock] = []
    for k in range(0, len(gyr), 4):
        part = slice(k, k + 4)
        n = len(gyr[part])
        t_s, dt_s = frozen(0.005 * (k + np.arange(n))), frozen(np.full(n, 0.005))
        out += stage.feed(ImuBlock("a", t_s, dt_s, frozen(gyr[part]), frozen(acc[part]), frozen(flags[part], np.uint8)))
    return OrientationBlock(
        "a",
        *(
            np.concatenate([getattr(one, field.name) for one in out])
            for field in dataclasses.fields(OrientationBlock)
            if field.name != "sensor"
        ),
    )


def test_h49_a_clipped_motion_has_no_confident_number() -> None:
    """600 °/s over 0.25 s with a range of 250: the error bar of the tilt is wide while and after it is clipped."""
    t_s = np.arange(0.0, 6.0, 0.005)
    rate = np.where((t_s >= 3.0) & (t_s < 3.25), 600 * np.sin(np.pi * (t_s - 3.0) / 0.25), 0.0)
    angle = np.radians(np.cumsum(rate) * 0.005)
    gyr = np.radians(np.column_stack([np.clip(rate, -250, 250), 0 * rate, 0 * rate]))
    acc = 9.81 * np.column_stack([0 * angle, np.sin(angle), np.cos(angle)])
    flags = np.where(np.abs(rate) >= 247.5, int(Flag.SATURATED), 0)
    block = fused(gyr, acc, flags)
    before = block.inclination_sd_rad[(block.t_s > 1.5) & (block.t_s < 3.0)].max()  # once settled
    during = block.inclination_sd_rad[(block.t_s > 3.1) & (block.t_s < 3.5)]
    assert during.min() > 2 * before
    assert block.inclination_sd_rad[-1] < during.max()


def test_h50_knocks_at_the_end_of_the_range_are_flagged_and_widen_the_error_bar() -> None:
    """Five pulses of +16 g for 10 ms on one axis, clipped, then rest: the interval is flagged, the bar grows with it
    and
    comes back at rest."""
    n = 3200
    rng = np.random.default_rng(2)
    gyr = rng.normal(0.0, 0.002, (n, 3))
    acc = np.tile([0.0, 0.0, 9.81], (n, 1)) + rng.normal(0.0, 0.02, (n, 3))
    flags = np.zeros(n, int)
    for begin in range(800, 900, 20):
        acc[begin : begin + 2, 0] = 16 * 9.80665
        flags[begin : begin + 2] = int(Flag.SATURATED)
    block = fused(gyr, acc, flags)
    assert np.flatnonzero(block.flags & np.uint8(Flag.SATURATED)).tolist() == np.flatnonzero(flags).tolist()
    sd_deg = np.degrees(block.inclination_sd_rad)
    assert sd_deg[300:800].max() <= 1.0  # once settled
    assert sd_deg[flags > 0].min() > 2.0  # the force is hidden from the filter, so only the clipped samples are unsure
    assert sd_deg[900:950].min() > 1.5 * sd_deg[799]
    up = Rotation.from_quat(block.q_es, scalar_first=True).as_matrix()[:, 2, 2]
    assert (np.degrees(np.arccos(np.clip(up, -1.0, 1.0))) < 2 * sd_deg).all()
    assert sd_deg[-1] < 1.0


def test_h48_h45_what_cannot_be_measured_makes_no_angles_and_is_told() -> None:
    """The trail thigh's sensor repeats one value from 20 s on, with its noise before: told, and no angle after that."""
    rng = np.random.default_rng(4)
    layout = parse_layout(resources.text("layouts", "lossless"), "lossless")
    given: list[Item] = []
    decoder = Decoder("SYN-0003", layout, 0)
    stuck: tuple[Floats, Floats] | None = None
    for k, item in enumerate(session()):
        if not (isinstance(item, RawPacket) and item.sensor == "SYN-0003"):
            given.append(item)
            continue
        (block,) = decoder.feed(item)
        assert isinstance(block, DeviceBlock)
        noise = rng.normal(0.0, 1e-3, (2, len(block.tick), 3))
        gyr, acc = block.gyr_rad_s + noise[0], block.acc_m_s2 + 10 * noise[1]
        if item.host_ns >= 20e9:
            stuck = stuck or (gyr[:1], acc[:1])
            gyr, acc = (np.repeat(one, len(block.tick), axis=0) for one in stuck)
        data = encode(layout, k, int(block.tick[0]), gyr, acc, block.tick)
        given.append(dataclasses.replace(item, payload=data[:4] + item.payload[4:8] + data[8:]))
    events = played(given)
    notices = [one for one in events if isinstance(one, Notice) and "SYN-0003" in one.text]
    assert len(notices) == 1
    assert 20.0 < notices[0].t_s < 20.5
    for block in (one for one in events if isinstance(one, Angles)):
        joint = block.joint("hip", Side.RIGHT)
        assert not joint.ok[block.t_s > 20.6].any()
        assert block.joint("hip", Side.LEFT).ok[(block.t_s > 20.6)].all() or block.t_s[-1] <= 20.6


# ── C: clocks ────────────────────────────────────────────────────────────────────────────────────────────────────


def by_radio(seed: int = 3) -> list[Item]:
    """The same kind of session through the project's own packets."""
    script = make_script(pace=Pace.SLOW, flaw=Flaw.NONE, reps=1, seed=seed)
    layout = parse_layout(HOUSE, "house")
    settings = session_settings(((serial_of(segment), segment) for segment in WORN), "house")
    command = fit_command(script)
    packets = list(raw_packets(sensor_streams(script, layout)))
    return sorted([recorded(0, Begin.of(settings)), *packets, command], key=lambda one: one.host_ns)


@pytest.mark.parametrize("seconds", [3.5, 8.0])
def test_after_a_backlog_the_angles_are_those_of_an_even_delivery(seconds: float) -> None:
    """All that was sent in so many seconds of the rep comes at once: no restart, the same angles, and it is told."""
    given = by_radio()
    end_ns = given[-1].host_ns - 1_000_000_000
    begin_ns = end_ns - round(seconds * 1e9)

    def held(one: Item) -> Item:
        inside = isinstance(one, RawPacket) and begin_ns <= one.host_ns < end_ns
        return dataclasses.replace(one, host_ns=end_ns) if inside else one

    late = [held(one) for one in given]
    even, found = played(given), played(late)
    assert not any(isinstance(one, ClockRestarted) for one in found)
    t_even, angle_even = right_hip(even)
    t_late, angle_late = right_hip(found)
    at = t_even[(t_even > begin_ns * 1e-9 - 1) & (t_even < t_late[-1])]
    off = np.abs(np.interp(at, t_even, angle_even) - np.interp(at, t_late, angle_late))
    known = np.isfinite(off)
    assert known.mean() > 0.98
    assert np.degrees(off[known]).max() < 0.5
    told = [one.text for one in found if isinstance(one, Notice)]
    assert sum(f"{seconds:.1f} s late" in one for one in told) == 1
    assert not any("late" in one.text for one in even if isinstance(one, Notice))


def test_a_restart_within_a_rep_is_told_and_reaches_the_filter() -> None:
    """The trail thigh's sensor is off for half a second and begins again near 0: told once, and its filter begins anew
    with the first sample that is flagged."""
    given = by_radio()
    off_ns = given[-1].host_ns - 3_000_000_000
    changed: list[Item] = []
    number = 0
    for one in given:
        if not (isinstance(one, RawPacket) and one.sensor == "SYN-0003" and one.host_ns >= off_ns):
            changed.append(one)
        elif one.host_ns >= off_ns + 500_000_000:
            head = number.to_bytes(2, "little") + (90_000 + 20_000 * number).to_bytes(4, "little")
            changed.append(dataclasses.replace(one, payload=one.payload[:2] + head + one.payload[8:]))
            number += 1
    pipeline = Pipeline()
    pipeline.feed(changed[0])
    fusion = pipeline._rooms.sensors.chains["SYN-0003"].fusion
    feed, heard = fusion.feed, []

    def listening(block: ImuBlock) -> list[Any]:
        heard.append(int(block.flags[0]) & int(Flag.RESTART))
        return feed(block)

    fusion.feed = listening  # type: ignore[method-assign]
    events = [event for one in changed[1:] for event in pipeline.feed(one)]
    restarts = [one for one in events if isinstance(one, ClockRestarted)]
    assert [one.sensor for one in restarts] == ["SYN-0003"]
    assert sum(flag > 0 for flag in heard) == 1


def test_an_import_that_is_fed_at_once_never_says_that_data_come_late() -> None:
    """Long packets, and a sensor that is away for seconds: its packets are not late, and nothing arrives by radio."""
    given = [
        one
        for one in session()
        if not (isinstance(one, RawPacket) and one.sensor == "SYN-0003" and 10e9 < one.host_ns < 16e9)
    ]
    pipeline = Pipeline()
    pipeline.feed(given[0])
    events = [*pipeline.feed_many(given[1:]), *pipeline.finish()]
    for some in (events, played(given)):
        assert not any("late" in one.text or "computer" in one.text for one in some if isinstance(one, Notice))
