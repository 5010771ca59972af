"""From virtual sensors through bleak to packets: what is sent is what arrives, whatever the radio does."""

from __future__ import annotations

import asyncio

import numpy as np
import pytest
from bleak import BleakClient
from bleak.exc import BleakError
from packet_streams import HOUSE, LOSSLESS, decode
from virtual_world import QUICK, World, payloads, sensor, world

from imufeedback.ble import profile
from imufeedback.ble.clock import ManualClock, MonotonicClock
from imufeedback.ble.handshake import WrongSensor
from imufeedback.ble.limits import TimeLimits
from imufeedback.ble.virtual import VirtualSensor
from imufeedback.errors import RadioError, UsageError
from imufeedback.records import LinkNote, LinkState, RawPacket

S = LinkState


def test_everything_arrives_as_sent_in_order_with_exact_stamps() -> None:
    sent = {f"SYN-{k}": payloads(60, seed=k, offset_ns=k * 1_000_000) for k in range(3)}

    async def run() -> World:
        async with world([sensor(serial, data) for serial, data in sent.items()]) as here:
            await here.connect(3)
            ticks: list[int] = []
            await here.virtual.play(1_300_000_000, on_tick=ticks.append)
            assert len(ticks) == 180
            assert here.clock.now_ns() == 1_300_000_000
        return here

    here = asyncio.run(run())
    for serial, data in sent.items():
        assert here.packets(serial) == data
    stamps = [i.host_ns for i in here.items if isinstance(i, RawPacket)]
    assert stamps == sorted(stamps)


def test_notes_tell_the_states_and_the_facts() -> None:
    async def run() -> World:
        async with world([sensor("SYN-0001", payloads(5, 1))]) as here:
            await here.connect(1)
            await here.virtual.play(100_000_000)
        return here

    here = asyncio.run(run())
    assert here.states("SYN-0001") == [S.CONNECTED, S.STREAMING, S.CLOSED]
    facts = here.notes("SYN-0001")[0].facts
    assert facts["serial"] == "SYN-0001"
    assert facts["firmware"] == "1.0.0"
    assert facts["battery_percent"] == 87
    assert facts["mtu"] == 247
    assert facts["layout"] == "house/1"
    assert facts["samples_per_packet"] == 4
    first = here.items[0]
    assert isinstance(first, LinkNote)
    assert first.state is S.CONNECTING  # before the serial is read, under the address


def test_h20_two_equal_sensors_are_never_mixed() -> None:
    left, right = payloads(50, seed=1), payloads(50, seed=2)

    async def run() -> World:
        async with world([sensor("LEFT-1", left), sensor("RIGHT-1", right)]) as here:
            await here.connect(2)
            await here.virtual.play(2_000_000_000)
        return here

    here = asyncio.run(run())
    assert here.packets("LEFT-1") == left
    assert here.packets("RIGHT-1") == right


def test_h07_nothing_is_sent_before_all_subscriptions_stand_and_the_first_packet_arrives() -> None:
    sent = payloads(3, seed=1)

    async def run() -> tuple[World, VirtualSensor]:
        one, two = sensor("SYN-1", sent), sensor("SYN-2", sent)
        async with world([one, two]) as here:
            await here.radio.open(await here.radio.scan(5.0, expect=2))
            assert one.commands == [profile.SensorSettings(200, 4)]
            assert not one.streaming
            await here.radio.start()
            assert one.commands[-1] == profile.Start()
            await here.virtual.play(100_000_000)
        return here, one

    here, one = asyncio.run(run())
    assert one.unsent == 0
    assert here.packets("SYN-1") == sent
    states = [i.state for i in here.items if isinstance(i, LinkNote)]
    assert states.index(S.STREAMING) > max(k for k, s in enumerate(states) if s is S.CONNECTED)


def test_h18_h04_after_a_power_cycle_the_same_settings_and_every_packet_once() -> None:
    sent = payloads(200, seed=1)

    async def run() -> tuple[World, VirtualSensor]:
        one = sensor("SYN-1", sent)
        async with world([one]) as here:
            await here.connect(1)
            await here.virtual.play(1_000_000_000)
            await one.power_off()
            await here.until(lambda: S.LOST in here.states("SYN-1"))
            await one.advertise()
            await here.until(lambda: here.radio.links[0].streaming)
            assert one.settings == profile.SensorSettings(200, 4)
            await here.virtual.play(2_000_000_000)
            assert one.unsent == 0
        return here, one

    here, one = asyncio.run(run())
    assert here.packets("SYN-1") == sent[:100]
    states = here.states("SYN-1")
    assert states[:3] == [S.CONNECTED, S.STREAMING, S.LOST]
    assert states[-3:] == [S.CONNECTED, S.STREAMING, S.CLOSED]
    setup = [profile.SensorSettings(200, 4), profile.Start()]
    assert one.commands == [*setup, *setup, profile.Stop()]
    assert not here.faults


def test_a_silent_link_is_noticed_within_a_second_and_connected_anew() -> None:
    sent = payloads(10, seed=1)

    async def run() -> World:
        clock = ManualClock()
        async with world([sensor("SYN-1", sent)], clock) as here:
            await here.connect(1)
            await here.virtual.play(200_000_000)
            last_ns = here.packets("SYN-1")[-1][0]
            while S.SILENT not in here.states("SYN-1"):
                clock.advance(0.05)
                await asyncio.sleep(0)
                await asyncio.sleep(0)
                assert clock.now_ns() - last_ns <= 1_000_000_000
            await here.until(lambda: here.radio.links[0].streaming)
        return here

    states = asyncio.run(run()).states("SYN-1")
    assert states == [S.CONNECTED, S.STREAMING, S.SILENT, S.CONNECTING, S.CONNECTED, S.STREAMING, S.CLOSED]


def test_one_sensor_lost_leaves_the_other_untouched() -> None:
    kept = payloads(100, seed=2)

    async def run() -> World:
        one, two = sensor("SYN-1", payloads(100, seed=1)), sensor("SYN-2", kept)
        async with world([one, two]) as here:
            await here.connect(2)
            await here.virtual.play(1_000_000_000)
            await one.power_off()
            await here.virtual.play(2_000_000_000)
            assert one.unsent == 50
        return here

    here = asyncio.run(run())
    assert here.packets("SYN-2") == kept
    assert here.states("SYN-2") == [S.CONNECTED, S.STREAMING, S.CLOSED]


def test_h09_packets_that_come_cut_tell_that_the_mtu_is_small_and_smaller_ones_are_asked_for() -> None:
    """A system may say 23 and not know it: only what comes shows what fits."""

    async def run() -> tuple[World, VirtualSensor]:
        one = sensor("SYN-1", payloads(50, seed=1))
        async with world([one], mtu=23) as here:
            await here.connect(1)
            assert one.settings.samples_per_packet == 4
            await here.virtual.play(100_000_000)
            await here.until(lambda: one.settings.samples_per_packet == 1)
            await here.until(lambda: any("short packets" in note.detail for note in here.notes("SYN-1")))
            await here.virtual.play(1_000_000_000)
        return here, one

    here, _ = asyncio.run(run())
    assert here.notes("SYN-1")[0].facts["mtu"] == 23
    got = here.packets("SYN-1")
    assert {len(data) for _, data in got} == {20}
    blocks, rejected, _ = decode([RawPacket("a", ns, data) for ns, data in got])
    assert 1 <= len(rejected) <= 5  # the first ones, which were cut
    ticks = np.concatenate([block.tick for block in blocks])
    assert len(ticks) == 4 * (50 - len(rejected))
    assert (np.diff(ticks) == 5000).all()


def test_an_mtu_that_the_system_does_not_know_costs_nothing() -> None:
    """Scan, then connect at once: 23 is said, 247 was agreed (seen on a real stack)."""
    sent = payloads(20, seed=1)

    async def run() -> tuple[World, VirtualSensor]:
        one = sensor("SYN-1", sent)
        async with world([one], told_mtu=23) as here:
            await here.connect(1)
            assert one.settings.samples_per_packet == 4
            await here.virtual.play(1_000_000_000)
            assert one.settings.samples_per_packet == 4
        return here, one

    here, _ = asyncio.run(run())
    assert here.notes("SYN-1")[0].facts["mtu"] == 23
    assert here.packets("SYN-1") == sent


def test_a_system_that_takes_two_seconds_to_end_a_link_has_lost_nothing() -> None:
    async def run() -> World:
        async with world([sensor("SYN-1", payloads(50, 1))], close_s=2.0, limits=TimeLimits()) as here:
            await here.connect(1)
            await here.virtual.play(1_000_000_000)
        return here

    here = asyncio.run(run())
    assert here.states("SYN-1") == [S.CONNECTED, S.STREAMING, S.CLOSED]
    assert here.notes("SYN-1")[-1].detail == ""


def test_a_link_that_is_half_closed_is_waited_for_before_the_next_attempt() -> None:
    """After silence the system still has the old link; the first attempt after its end is the one that works."""

    async def run() -> World:
        one = sensor("SYN-1", payloads(400, 1))
        async with world([one], close_s=0.5, limits=TimeLimits()) as here:
            await here.connect(1)
            await here.virtual.play(1_000_000_000)
            await one.vanish(forget=True, told=False)
            await one.come_back()
            await here.virtual.play(2_000_000_000)
            await here.until(lambda: here.states("SYN-1").count(S.STREAMING) == 2)
        return here

    here = asyncio.run(run())
    states = here.states("SYN-1")
    assert states == [S.CONNECTED, S.STREAMING, S.SILENT, S.CONNECTING, S.CONNECTED, S.STREAMING, S.CLOSED]


def test_a_sensor_that_comes_back_under_another_address_is_found_by_its_serial_number() -> None:
    async def run() -> tuple[World, VirtualSensor, float]:
        one, two = sensor("SYN-1", payloads(3000, 1)), sensor("SYN-2", payloads(3000, 2))
        clock = MonotonicClock()
        async with world([one, two], clock, limits=TimeLimits()) as here:
            await here.connect(2)
            old = one.address
            playing = asyncio.create_task(here.virtual.play(30_000_000_000, realtime=True))
            await asyncio.sleep(0.5)
            await one.vanish(forget=True, told=True)
            await one.move()
            assert one.address != old
            begun = clock.now_ns()
            async with asyncio.timeout(40):
                while here.states("SYN-1").count(S.STREAMING) < 2:
                    await asyncio.sleep(0.02)
            took = (clock.now_ns() - begun) * 1e-9
            playing.cancel()
        return here, one, took

    here, one, took = asyncio.run(run())
    assert any(one.address in note.detail for note in here.notes("SYN-1"))
    assert here.states("SYN-2") == [S.CONNECTED, S.STREAMING, S.CLOSED]
    assert took < 20.0  # about 5 s on an idle machine: what load adds is not judged here


def test_h19_another_sensor_at_the_same_address_is_refused() -> None:
    async def run() -> World:
        one = sensor("SYN-1", payloads(100, seed=1))
        async with world([one]) as here:
            await here.connect(1)
            await here.virtual.play(500_000_000)
            await one.power_off()
            one.serial = "SYN-9"
            await one.advertise()
            await here.until(lambda: any("another sensor" in note.detail for note in here.notes("SYN-1")))
            await here.virtual.play(1_000_000_000)
        return here

    here = asyncio.run(run())
    assert here.packets("SYN-9") == []
    assert len(here.packets("SYN-1")) == 25


def test_two_sensors_with_one_serial_are_refused() -> None:
    async def run() -> None:
        twins = [VirtualSensor(name, "SAME", iter(()), HOUSE) for name in ("A", "B")]
        async with world(twins) as here:
            with pytest.raises(RadioError, match="serial number SAME"):
                await here.connect(2)
            assert not any(twin.connected for twin in twins)

    asyncio.run(run())


def test_a_sensor_with_other_packets_is_refused() -> None:
    async def run() -> None:
        async with world([sensor("SYN-1", [], LOSSLESS)]) as here:
            with pytest.raises(WrongSensor, match="layout lossless/1, expected house/1"):
                await here.connect(1)

    asyncio.run(run())


def test_a_sensor_out_of_reach_is_an_error_after_a_few_tries() -> None:
    limits = TimeLimits(connect_s=0.05, backoff_s=(0.0,), first_tries=3)

    async def run() -> World:
        one = sensor("SYN-1", [])
        async with world([one], MonotonicClock(), limits=limits) as here:
            found = await here.radio.scan(5.0, expect=1)
            await one.power_off()
            with pytest.raises(RadioError, match="cannot be reached") as caught:
                await here.radio.open(found)
            assert "charge it" in str(caught.value)
        return here

    states = [i.state for i in asyncio.run(run()).items if isinstance(i, LinkNote)]
    assert states.count(S.CONNECTING) == 3
    assert states.count(S.SEARCHING) == 2


def test_closing_while_a_sensor_is_gone_takes_a_bounded_time() -> None:
    async def run() -> float:
        one = sensor("SYN-1", payloads(10, seed=1))
        async with world([one], limits=TimeLimits(connect_s=60.0, close_s=0.5)) as here:
            await here.connect(1)
            await one.power_off()
            await here.until(lambda: S.CONNECTING in here.states("SYN-1"))
            begun = asyncio.get_running_loop().time()
            await here.radio.close()
            return asyncio.get_running_loop().time() - begun

    assert asyncio.run(run()) < 1.5


def test_an_error_in_the_links_own_task_is_told() -> None:
    async def run() -> list[BaseException]:
        one = sensor("SYN-1", payloads(100, seed=1))
        async with world([one]) as here:

            def on_item(item: RawPacket | LinkNote) -> None:
                here.items.append(item)
                if isinstance(item, LinkNote) and item.state is S.CONNECTING and S.LOST in here.states("SYN-1"):
                    raise ZeroDivisionError("made on purpose")

            here.radio._on_item = on_item
            await here.connect(1)
            await one.power_off()
            await here.until(lambda: bool(here.faults))
            assert "the link itself failed" in here.notes("SYN-1")[-1].detail
            return here.faults

    (fault,) = asyncio.run(run())
    assert isinstance(fault, ZeroDivisionError)


def test_blink_reaches_the_right_sensor() -> None:
    async def run() -> None:
        one, two = sensor("SYN-1", []), sensor("SYN-2", [])
        async with world([one, two]) as here:
            await here.connect(2)
            await next(link for link in here.radio.links if link.sensor == "SYN-2").blink(3)
        assert profile.Blink(3) in two.commands
        assert profile.Blink(3) not in one.commands

    asyncio.run(run())


def test_an_unknown_command_is_answered_with_an_error() -> None:
    async def run() -> None:
        async with world([sensor("SYN-1", [])]) as here:
            (found,) = await here.radio.scan(5.0, expect=1)
            async with BleakClient(found.device, backend=here.virtual.backends.client) as client:
                with pytest.raises(BleakError):
                    await client.write_gatt_char(profile.CONTROL, b"\x7f", response=True)
                assert await client.read_gatt_char(profile.CONTROL) == bytes.fromhex("00640001")

    asyncio.run(run())


def test_real_time_is_paced() -> None:
    sent = payloads(5, seed=1)

    async def run() -> World:
        async with world([sensor("SYN-1", sent)], MonotonicClock()) as here:
            await here.connect(1)
            origin = here.clock.now_ns()
            here.virtual.begin(origin)
            await here.virtual.play(120_000_000, realtime=True)
            assert 120_000_000 <= here.clock.now_ns() - origin < 1_000_000_000
            for (due, _), (host_ns, _) in zip(sent, here.packets("SYN-1"), strict=True):
                assert host_ns - origin >= due
        return here

    assert [data for _, data in asyncio.run(run()).packets("SYN-1")] == [data for _, data in sent]


def test_the_systems_clock_cannot_be_moved() -> None:
    async def run() -> None:
        async with world([sensor("SYN-1", payloads(1, 1))], MonotonicClock(), limits=QUICK) as here:
            with pytest.raises(UsageError, match="ManualClock"):
                await here.virtual.play(1)

    asyncio.run(run())


def test_two_lost_sensors_come_back_though_one_stays_away_for_a_while() -> None:
    limits = TimeLimits(connect_s=0.1, backoff_s=(0.0,))

    async def run() -> World:
        one, two = sensor("SYN-1", payloads(100, seed=1)), sensor("SYN-2", payloads(100, seed=2))
        async with world([one, two], limits=limits) as here:
            await here.connect(2)
            await here.virtual.play(500_000_000)
            await one.power_off()
            await two.power_off()
            await here.until(lambda: here.states("SYN-1").count(S.CONNECTING) >= 2)
            await two.advertise()
            await here.until(lambda: S.STREAMING in here.states("SYN-2")[3:])
            await one.advertise()
            await here.until(lambda: all(link.streaming for link in here.radio.links))
            await here.virtual.play(1_000_000_000)
        return here

    here = asyncio.run(run())
    for seed in (1, 2):
        assert here.packets(f"SYN-{seed}") == payloads(50, seed=seed)
    assert not here.faults


@pytest.mark.parametrize("dies", [True, False])
def test_a_program_that_stood_still_knows_a_dead_sensor_from_late_data(dies: bool) -> None:
    """What a living sensor sent meanwhile comes at once; a dead one has nothing waiting, and is told as silent."""

    async def run() -> World:
        clock = ManualClock()
        sent = [*payloads(10, seed=1), *([] if dies else payloads(100, seed=2, offset_ns=2_200_000_000))]
        async with world([sensor("SYN-1", sent)], clock) as here:
            await here.connect(1)
            await here.virtual.play(200_000_000)
            for _ in range(20):
                await asyncio.sleep(0)  # the watch begins a step
            clock.advance(2.0)
            until_ns = clock.now_ns() + 500_000_000
            while clock.now_ns() < until_ns:
                await here.virtual.play(clock.now_ns() - here.items[0].host_ns + 20_000_000)
                for _ in range(5):
                    await asyncio.sleep(0)
        return here

    here = asyncio.run(run())
    told = [note for note in here.notes("SYN-1") if "busy" in note.detail]
    assert (S.SILENT in here.states("SYN-1")) is dies
    assert len(told) == (not dies)
