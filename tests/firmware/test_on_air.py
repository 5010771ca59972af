"""The firmware's process on the virtual radio, under the real client: bleak, link, decoder; faults included."""

from __future__ import annotations

import asyncio
from contextlib import ExitStack
from pathlib import Path

import numpy as np
import pytest
from desktop_sensor import LOOP_LATE, PART_DEAD, PART_SILENT, RADIO_BUSY, DesktopSensor, Process
from firmware_build import needs_cc
from packet_streams import decode
from virtual_world import World, world

from imufeedback.ble import profile
from imufeedback.ble.virtual import VirtualSensor, mishaps, parse_faults
from imufeedback.errors import RadioError
from imufeedback.records import DeviceBlock, Flag, LinkState, RawPacket

pytestmark = needs_cc
S = LinkState
SECOND_NS = 1_000_000_000


def blocks(here: World, serial: str) -> list[DeviceBlock]:
    """What the decoder makes of the packets. Fails if one is thrown away."""
    found, rejected, _ = decode([RawPacket("a", at_ns, payload) for at_ns, payload in here.packets(serial)])
    assert not rejected
    return found


def test_every_sample_of_two_sensors_arrives_as_measured(program: Path) -> None:
    rng = np.random.default_rng(3)
    raw = [rng.integers(-30_000, 30_000, (400, 6)).tolist() for _ in range(2)]

    async def run(sensors: list[DesktopSensor]) -> World:
        async with world(sensors) as here:
            for one, samples in zip(sensors, raw, strict=True):
                one.process.measure(samples)
            await here.connect(2)
            await here.virtual.play(3 * SECOND_NS)
        return here

    with ExitStack() as stack:
        made = [DesktopSensor(f"DESK-{k}", stack.enter_context(Process(program))) for k in range(2)]
        here = asyncio.run(run(made))
    for k, samples in enumerate(raw):
        found = blocks(here, f"DESK-{k}")
        gyr = np.concatenate([one.gyr_rad_s for one in found])[:400]
        np.testing.assert_allclose(gyr, np.radians(np.array(samples)[:, :3] * 2000 / 32768), atol=1e-9)
        notes = here.notes(f"DESK-{k}")
        assert here.states(f"DESK-{k}") == [S.CONNECTED, S.STREAMING, S.CLOSED]
        assert notes[0].facts["samples_per_packet"] == 4
        assert notes[0].facts["battery_percent"] == 75
        assert notes[0].facts["temperature_c"] == 24.5


def play(program: Path, script: str, seconds: float = 8.0, mtu: int = 247) -> tuple[World, DesktopSensor]:
    """One sensor, with a fault script."""

    async def run(sensor: DesktopSensor) -> World:
        sensors: list[VirtualSensor] = [sensor]
        async with world(sensors, mtu=mtu) as here:
            here.virtual.plan(mishaps(parse_faults(script, "here"), sensors, seconds))
            await here.connect(1)
            for part in range(1, int(seconds * 4)):
                await here.virtual.play(part * SECOND_NS // 4)
                await asyncio.sleep(0.02)
        return here

    with Process(program) as process:
        sensor = DesktopSensor("DESK-1", process)
        return asyncio.run(run(sensor)), sensor


def test_after_a_drop_it_streams_again_and_its_counters_ran_on(program: Path) -> None:
    here, _ = play(program, '[[fault]]\nkind = "disconnect"\nat_s = 2.0\naway_s = 1.0\n')
    states = here.states("DESK-1")
    assert states.count(S.STREAMING) == 2
    assert S.LOST in states
    found = blocks(here, "DESK-1")
    tick = np.concatenate([one.tick for one in found])
    number = np.array([int.from_bytes(p[2:4], "little") for _, p in here.packets("DESK-1")])
    assert np.all(np.diff(tick) > 0)
    gap = int(np.argmax(np.diff(number)))
    apart = (tick[4 * (gap + 1)] - tick[4 * gap]) / 20_000
    assert apart > 20
    assert abs(number[gap + 1] - number[gap] - apart) <= 1


def test_after_a_power_cycle_it_is_set_up_again_and_begins_anew(program: Path) -> None:
    here, sensor = play(program, '[[fault]]\nkind = "reboot"\nat_s = 2.0\naway_s = 1.0\n')
    assert here.states("DESK-1").count(S.STREAMING) == 2
    numbers = [int.from_bytes(p[2:4], "little") for _, p in here.packets("DESK-1")]
    assert numbers.count(0) == 2
    assert {p[1] for _, p in here.packets("DESK-1")} == {4}
    assert sensor.connections == 2


def test_the_least_mtu(program: Path) -> None:
    here, _ = play(program, "", 3.0, mtu=23)
    packets = here.packets("DESK-1")
    assert {len(p) for _, p in packets} == {20}
    assert len(packets) == pytest.approx(550, abs=30)
    assert here.notes("DESK-1")[-2].facts["samples_per_packet"] == 1
    blocks(here, "DESK-1")


@pytest.mark.parametrize(
    ("fault", "how_much"),
    [(PART_SILENT, 20), (RADIO_BUSY, 300), (LOOP_LATE, 150), (RADIO_BUSY, 4000), (LOOP_LATE, 3000)],
)
def test_troubles_inside_the_sensor_cost_no_wrong_sample(program: Path, fault: int, how_much: int) -> None:
    """Whatever fails in it, packets that come are whole, and every sample's time is a multiple of the period."""

    async def run(sensor: DesktopSensor) -> World:
        async with world([sensor]) as here:
            await here.connect(1)
            await here.virtual.play(1 * SECOND_NS)
            sensor.process.fault(fault, how_much)
            for part in range(5, 40):
                await here.virtual.play(part * SECOND_NS // 4)
                await asyncio.sleep(0.01)
        return here

    with Process(program) as process:
        here = asyncio.run(run(DesktopSensor("DESK-1", process)))
    found = blocks(here, "DESK-1")
    tick = np.concatenate([one.tick for one in found])
    assert np.all(np.diff(tick) > 0)
    flags = np.concatenate([one.flags for one in found])
    still = np.concatenate([one.acc_m_s2 for one in found])[(flags & int(Flag.INVALID)) == 0]
    np.testing.assert_allclose(np.linalg.norm(still, axis=1), 9.80665, atol=0.05)
    assert here.states("DESK-1")[-2] is S.STREAMING


def test_a_part_that_does_not_start_is_told_in_plain_words(program: Path) -> None:
    async def run(sensor: DesktopSensor) -> None:
        async with world([sensor]) as here:
            await here.radio.open(await here.radio.scan(5.0, expect=1))
            sensor.process.fault(PART_DEAD, 9)
            with pytest.raises(RadioError, match=r"the sensor refused .unlikely error; GATT error 0x0E"):
                await here.radio.start()

    with Process(program) as process:
        asyncio.run(run(DesktopSensor("DESK-1", process)))


def test_it_shows_its_light_when_asked(program: Path) -> None:
    async def run(sensor: DesktopSensor) -> None:
        async with world([sensor]) as here:
            (found,) = await here.radio.scan(5.0, expect=1)
            assert found.announced == "DESK-1"
            await here.radio.blink(found, 2)
            await here.virtual.play(3 * SECOND_NS)

    with Process(program) as process:
        sensor = DesktopSensor("DESK-1", process)
        asyncio.run(run(sensor))
        assert sensor.lights == [1, 0] * 4
        assert process.read(1)[1] == profile.status_bytes(profile.Status(False, profile.SensorSettings(100, 1)))
