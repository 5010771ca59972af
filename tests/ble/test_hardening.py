"""Radios that refuse, hang, lie and stand still: with made-up back ends, because no machine here has them.

Windows and macOS were not run: what guards against their habits is tested with errors and clients made here.
"""

from __future__ import annotations

import asyncio
import gc
import itertools
import re
import sys
import time
from contextlib import suppress
from dataclasses import replace
from typing import Any

import pytest
from bleak import BleakClient
from bleak.exc import (
    BleakBluetoothNotAvailableError,
    BleakBluetoothNotAvailableReason,
    BleakDBusError,
    BleakDeviceNotFoundError,
    BleakError,
    BleakGATTProtocolError,
)
from virtual_world import QUICK, World, payloads, sensor, world

from imufeedback.ble import link as link_module
from imufeedback.ble import patient
from imufeedback.ble.advice import advice, is_about_the_adapter, words
from imufeedback.ble.clock import ManualClock, MonotonicClock
from imufeedback.ble.limits import TimeLimits, within
from imufeedback.errors import RadioError, UsageError
from imufeedback.records import LinkState

S = LinkState
Why = BleakBluetoothNotAvailableReason


# ── advice ───────────────────────────────────────────────────────────────────────────────────────────────────────


@pytest.mark.parametrize(
    ("error", "platform", "says"),
    [
        (BleakBluetoothNotAvailableError("x", Why.DENIED_BY_USER), "darwin", "System Settings"),
        (BleakBluetoothNotAvailableError("x", Why.DENIED_BY_SYSTEM), "win32", "Radios"),
        (BleakBluetoothNotAvailableError("x", Why.POWERED_OFF), "darwin", "menu bar"),
        (BleakBluetoothNotAvailableError("x", Why.POWERED_OFF), "linux", "bluetoothctl power on"),
        (BleakBluetoothNotAvailableError("x", Why.NO_BLUETOOTH), "linux", "adapter"),
        (BleakBluetoothNotAvailableError("x", Why.UNKNOWN), "freebsd", "adapter"),
        (BleakDBusError("org.bluez.Error.NotReady", ["Resource Not Ready"]), "linux", "bluetoothctl power on"),
        (BleakDBusError("org.bluez.Error.InProgress", ["Operation already in progress"]), "linux", "another program"),
        (BleakDBusError("org.freedesktop.DBus.Error.AccessDenied", ["rejected"]), "linux", "group bluetooth"),
        (FileNotFoundError(2, "No such file or directory"), "linux", "systemctl status bluetooth"),
        (BleakError("Thread is configured for Windows GUI but callbacks are not working."), "win32", "package"),
        (BleakError("something else"), "linux", "switch Bluetooth on"),
    ],
)
def test_h22_every_refusal_has_its_next_step(error: BaseException, platform: str, says: str) -> None:
    assert says in advice(error, platform)
    assert "\n" not in advice(error, platform)


def test_h22_the_adapter_is_told_from_a_sensor() -> None:
    assert is_about_the_adapter(BleakBluetoothNotAvailableError("x", Why.DENIED_BY_USER))
    assert not is_about_the_adapter(BleakDBusError("org.bluez.Error.InProgress", []))
    assert not is_about_the_adapter(TimeoutError("no answer within 8 s"))
    assert not is_about_the_adapter(BleakError("the stack started again"))  # no "sta" in it


def test_h22_without_permission_a_readable_line_and_no_connection(monkeypatch: pytest.MonkeyPatch) -> None:
    class Denied(BleakClient):
        async def connect(self, **kwargs: Any) -> None:
            raise BleakBluetoothNotAvailableError("denied", Why.DENIED_BY_USER)

    async def run() -> str:
        async with world([sensor("SYN-1", [])], limits=TimeLimits(first_tries=1)) as here:
            found = await here.radio.scan(5.0, expect=1)
            monkeypatch.setattr(link_module, "BleakClient", Denied)
            with pytest.raises(RadioError) as caught:
                await here.radio.open(found)
            return str(caught.value)

    line = asyncio.run(run())
    assert "\n" not in line
    assert "sensor C0:00" in line


# ── connecting that hangs, or fails again and again ──────────────────────────────────────────────────────────────


def misbehaving(monkeypatch: pytest.MonkeyPatch, serial: str, **methods: Any) -> None:
    """Replace methods of the client of one sensor, by its advertised name, once all are connected."""

    class Client(BleakClient):
        def __init__(self, device: Any, *args: Any, **kwargs: Any) -> None:
            super().__init__(device, *args, **kwargs)
            if device.name == serial:
                for name, method in methods.items():
                    setattr(self, name, method)

    monkeypatch.setattr(link_module, "BleakClient", Client)


def test_h23_a_connect_that_never_returns_ends_in_time(monkeypatch: pytest.MonkeyPatch) -> None:
    """With the limits as shipped less than 15 s for one attempt; here shortened. The other sensor goes on."""
    assert TimeLimits().connect_s < 15
    kept = payloads(200, 2)

    async def never(**kwargs: Any) -> None:
        await asyncio.Event().wait()

    async def run() -> tuple[World, float]:
        one, two = sensor("SYN-1", payloads(200, 1)), sensor("SYN-2", kept)
        limits = TimeLimits(connect_s=0.3, reconnect_s=0.1, backoff_s=(0.0,), first_tries=1)
        async with world([one, two], limits=limits) as here:
            await here.connect(2)
            misbehaving(monkeypatch, "SYN-1", connect=never)
            await here.virtual.play(1_000_000_000)
            await one.vanish(forget=False, told=True)
            await here.virtual.play(4_000_000_000)
            await here.until(lambda: S.SEARCHING in here.states("SYN-1"))
            begun = time.monotonic()
            await here.radio.close()  # the cancel button
            return here, time.monotonic() - begun

    here, took = asyncio.run(run())
    assert any("no answer within" in note.detail for note in here.notes("SYN-1"))
    assert here.packets("SYN-2") == kept
    assert took < 4.0


def test_h15_in_progress_again_and_again(monkeypatch: pytest.MonkeyPatch) -> None:
    """Twenty refusals: the pauses grow, one attempt at a time, advice after some, and the other sensor untouched."""
    attempts: list[int] = []
    inside = [0, 0]
    kept = payloads(4000, 2)

    async def run() -> World:
        one, two = sensor("SYN-1", payloads(4000, 1)), sensor("SYN-2", kept)
        clock = ManualClock()
        async with world([one, two], clock, limits=TimeLimits(request_s=2.0)) as here:
            await here.connect(2)

            async def refuse(**kwargs: Any) -> None:
                inside[0] += 1
                inside[1] = max(inside)
                attempts.append(clock.now_ns())
                await asyncio.sleep(0)
                inside[0] -= 1
                raise BleakDBusError("org.bluez.Error.InProgress", ["Operation already in progress"])

            misbehaving(monkeypatch, "SYN-1", connect=refuse)
            await here.virtual.play(1_000_000_000)
            await one.vanish(forget=False, told=True)
            await here.virtual.play(80_000_000_000)
        return here

    here = asyncio.run(run())
    pauses = [(b - a) * 1e-9 for a, b in itertools.pairwise(attempts)]
    assert inside[1] == 1
    assert len(attempts) >= 10
    assert all(b >= a - 0.1 for a, b in itertools.pairwise(pauses))
    assert pauses[-1] == pytest.approx(8.0, abs=0.2)
    notes = [note.detail for note in here.notes("SYN-1") if note.state is S.SEARCHING]
    assert "re-plug the adapter" not in notes[0]
    assert "re-plug the adapter" in notes[4]
    assert here.packets("SYN-2") == kept
    assert set(here.states("SYN-2")) == {S.CONNECTED, S.STREAMING, S.CLOSED}


def test_h14_a_disconnect_of_two_minutes_does_not_hold_up_the_end(monkeypatch: pytest.MonkeyPatch) -> None:
    async def slow() -> None:
        await asyncio.sleep(120)

    async def run() -> tuple[World, float]:
        misbehaving(monkeypatch, "SYN-1", disconnect=slow)
        async with world([sensor("SYN-1", payloads(50, 1))], limits=TimeLimits()) as here:
            await here.connect(1)
            await here.virtual.play(1_000_000_000)
            begun = time.monotonic()
            await here.radio.close()
            took = time.monotonic() - begun
            monkeypatch.undo()
            return here, took

    here, took = asyncio.run(run())
    assert took < 4.0
    assert here.states("SYN-1")[-1] is S.CLOSED
    assert len(here.packets("SYN-1")) == 50


# ── this program is the one that is late ─────────────────────────────────────────────────────────────────────────


def test_h11_a_program_that_stands_still_is_told_and_no_link_is_blamed() -> None:
    """The loop is blocked for 1.2 s (silence counts from 0.8 s) while a sensor streams in real time."""
    sent = payloads(200, 1)

    async def run() -> World:
        async with world([sensor("SYN-1", sent)], MonotonicClock(), limits=TimeLimits()) as here:
            await here.connect(1)
            asyncio.get_running_loop().call_later(0.4, time.sleep, 1.2)
            await here.virtual.play(2_500_000_000, realtime=True)
        return here

    here = asyncio.run(run())
    assert S.SILENT not in here.states("SYN-1")
    assert any("busy for 1." in note.detail for note in here.notes("SYN-1"))
    assert [data for _, data in here.packets("SYN-1")] == [data for _, data in sent[: len(here.packets("SYN-1"))]]
    assert len(here.packets("SYN-1")) >= 124


def test_h36_changes_of_the_time_of_day_touch_nothing(monkeypatch: pytest.MonkeyPatch) -> None:
    """The wall clock jumps by -90 s and by +3600 s; stamps, watch and links follow the monotonic clock."""
    real = time.time
    jump = [0.0]
    monkeypatch.setattr(time, "time", lambda: real() + jump[0])

    async def run() -> World:
        async with world([sensor("SYN-1", payloads(60, 1))], MonotonicClock(), limits=TimeLimits()) as here:
            await here.connect(1)
            loop = asyncio.get_running_loop()
            loop.call_later(0.3, jump.__setitem__, 0, -90.0)
            loop.call_later(0.7, jump.__setitem__, 0, 3600.0)
            await here.virtual.play(1_200_000_000, realtime=True)
        return here

    here = asyncio.run(run())
    stamps = [ns for ns, _ in here.packets("SYN-1")]
    assert len(stamps) == 60
    assert stamps == sorted(stamps)
    assert stamps[-1] - stamps[0] == pytest.approx(59 * 20_000_000, abs=150_000_000)
    assert here.states("SYN-1") == [S.CONNECTED, S.STREAMING, S.CLOSED]


# ── the rest of the link's manners ───────────────────────────────────────────────────────────────────────────────


def test_no_scan_while_sensors_stream_unless_asked() -> None:
    async def run() -> None:
        async with world([sensor("SYN-1", payloads(5, 1))]) as here:
            await here.connect(1)
            with pytest.raises(UsageError, match="disturbs"):
                await here.radio.scan(0.1)
            assert await here.radio.scan(0.05, while_streaming=True) == []

    asyncio.run(run())


def test_the_battery_is_read_anew_while_streaming() -> None:
    async def run() -> list[object]:
        one = sensor("SYN-1", payloads(500, 1))
        async with world([one], limits=TimeLimits(vitals_s=3.0, request_s=2.0)) as here:
            await here.connect(1)
            one.battery_percent = 42
            await here.virtual.play(5_000_000_000)
            await asyncio.sleep(0.01)
            return [note.facts.get("battery_percent") for note in here.notes("SYN-1")]

    told = asyncio.run(run())
    assert told[0] == 87
    assert 42 in told


def test_h13_a_dead_link_that_looks_alive_is_given_up_and_made_anew() -> None:
    """The sensor is gone, nobody was told, the flag says connected: noticed within 1 s, and streaming again after."""

    async def run() -> World:
        one = sensor("SYN-1", payloads(600, 1))
        clock = ManualClock()
        async with world([one, sensor("SYN-2", payloads(600, 2))], clock, limits=QUICK) as here:
            await here.connect(2)
            await here.virtual.play(3_000_000_000)
            await one.vanish(forget=False, told=False)
            link = next(link for link in here.radio.links if link.sensor == "SYN-1")
            assert link.streaming  # it does not know
            await here.virtual.play(4_100_000_000)
            silent = next(note for note in here.notes("SYN-1") if note.state is S.SILENT)
            assert silent.host_ns - here.packets("SYN-1")[-1][0] <= 1_000_000_000
            await one.come_back()
            await here.until(lambda: link.streaming)
            before = len(here.packets("SYN-1"))
            await here.virtual.play(6_000_000_000)
            assert len(here.packets("SYN-1")) >= before + 90
            assert len(here.packets("SYN-2")) == 300
        return here

    asyncio.run(run())


def test_bluetooth_that_is_away_is_told_as_that_and_its_return_is_noticed(monkeypatch: pytest.MonkeyPatch) -> None:
    """Switched off, the system forgets its devices: connecting says "not found", and only a scan says why."""

    async def run() -> World:
        one = sensor("SYN-1", payloads(600, 1))
        async with world([one], limits=replace(QUICK, adapter_s=0.0)) as here:
            await here.connect(1)

            async def not_found(*_: Any, **__: Any) -> None:
                raise BleakError("device 'dev_C0_00_00_00_00_01' not found")

            async def switched_off(*_: Any, **__: Any) -> None:
                raise BleakBluetoothNotAvailableError("No powered Bluetooth adapters found.", Why.POWERED_OFF)

            link = here.radio.links[0]
            with monkeypatch.context() as away:
                away.setattr(link._backend, "connect", not_found)
                away.setattr(here.radio._backends.scanner, "start", switched_off)
                await one.vanish(forget=True, told=True)
                await here.until(lambda: here.states("SYN-1").count(S.SEARCHING) > 12)
            told = {note.detail for note in here.notes("SYN-1") if note.state is S.SEARCHING}
            assert told == {
                "Bluetooth is switched off; switch it on: bluetoothctl power on (and rfkill unblock bluetooth)"
            }
            await one.come_back()
            await here.until(lambda: link.streaming)
        return here

    asyncio.run(run())


def test_one_that_announces_nothing_is_heard_anew_where_it_was() -> None:
    async def run() -> None:
        one = sensor("SYN-1", [])
        one.announces = False
        async with world([one]) as here:
            await here.radio.scan(5.0, expect=1)
            found = await here.radio._look("SYN-1", one.address)
            assert found is not None
            assert found.address == one.address
            assert await here.radio._look("SYN-1", "C0:00:00:00:00:77") is None

    asyncio.run(run())


def test_work_that_is_left_behind_is_not_told_as_destroyed(caplog: pytest.LogCaptureFixture) -> None:
    async def stubborn() -> None:
        with suppress(asyncio.CancelledError):
            await asyncio.get_running_loop().create_future()
        await asyncio.get_running_loop().create_future()

    async def run() -> None:
        with pytest.raises(TimeoutError):
            await within(0.01, stubborn())
        gc.collect()

    asyncio.run(run())
    gc.collect()
    assert "destroyed" not in caplog.text


@pytest.mark.skipif(sys.platform != "linux", reason="bleak's client for BlueZ")
@pytest.mark.parametrize("connected", [True, False])
def test_a_system_that_does_not_tell_of_a_link_is_asked(monkeypatch: pytest.MonkeyPatch, connected: bool) -> None:
    from bleak.backends.bluezdbus import client as bluez
    from bleak.backends.bluezdbus import manager as of_bluez
    from dbus_fast import Message, MessageType, Variant

    told: dict[str, Any] = {"/a/path": {"org.bluez.Device1": {"Connected": False}}}
    asked: list[Message] = []
    seen: list[bool] = []

    class Manager:
        _properties = told

        def is_connected(self, path: str) -> bool:
            return bool(told[path]["org.bluez.Device1"]["Connected"])

    class Bus:
        async def call(self, message: Message) -> Message:
            asked.append(message)
            return Message(
                message_type=MessageType.METHOD_RETURN, reply_serial=1, signature="v", body=[Variant("b", connected)]
            )

    async def manager() -> Manager:
        return Manager()

    async def services(self: Any, *_: Any, **__: Any) -> None:
        seen.append(Manager().is_connected("/a/path"))

    monkeypatch.setattr(of_bluez, "get_global_bluez_manager", manager)
    monkeypatch.setattr(bluez.BleakClientBlueZDBus, "_get_services", services)  # fails when bleak calls it otherwise
    client = patient.system_client()
    assert client is not None
    made: Any = client("C0:00:00:00:00:01", disconnected_callback=None, timeout=1.0, bluez={})  # type: ignore[call-arg]
    made._device_path, made._bus = "/a/path", Bus()
    asyncio.run(made._get_services())
    assert seen == [connected]
    assert [one.body for one in asked] == [["org.bluez.Device1", "Connected"]]


# ── plain words ──────────────────────────────────────────────────────────────────────────────────────────────────


@pytest.mark.parametrize(
    ("error", "says", "then"),
    [
        (BleakDBusError("org.bluez.Error.NotReady", ["Resource Not Ready"]), "switched off", "power on"),
        (BleakBluetoothNotAvailableError("x", Why.NO_BLUETOOTH), "no Bluetooth adapter", "plug in"),
        (
            BleakDBusError("org.freedesktop.DBus.Error.Spawn.ChildExited", ["Launch helper exited with code 1"]),
            "service has stopped",
            "systemctl status bluetooth",
        ),
        (BleakBluetoothNotAvailableError("x", Why.POWERED_OFF), "switched off", "power on"),
        (
            BleakDBusError("org.freedesktop.DBus.Error.ServiceUnknown", ["The name org.bluez was not provided"]),
            "service has stopped",
            "systemctl status bluetooth",
        ),
        (
            BleakDBusError("org.freedesktop.DBus.Error.NoReply", ["recipient disconnected"]),
            "stopped",
            "systemctl",
        ),
        (EOFError(), "service has stopped", "systemctl"),
        (
            BleakDBusError("org.freedesktop.DBus.Error.UnknownObject", ['Method "Connect" with signature "" ...']),
            "does not know the sensor",
            "search again",
        ),
        (
            BleakDeviceNotFoundError("AA:BB", "AA:BB was not found."),
            "does not know",
            "search again",
        ),
        (BleakError("device 'dev_C0_00_00_00_00_01' not found"), "does not know", "search again"),
        (BleakDBusError("org.bluez.Error.Failed", ["le-connection-abort-by-local"]), "busy", "close it"),
        (BleakDBusError("org.bluez.Error.Failed", ["Software caused connection abort"]), "did not answer", ""),
        (BleakDBusError("org.bluez.Error.Failed", ["Not connected"]), "the link broke", ""),
        (BleakDBusError("org.bluez.Error.Strange", []), "could not do it", ""),
        (BleakGATTProtocolError(0x80), "does not know the command", ""),
        (BleakGATTProtocolError(0x81), "does not take the value", ""),
        (BleakGATTProtocolError(0x0E), "unlikely error", ""),
        (BleakGATTProtocolError(0xFB), "GATT error 0xFB", ""),
        (TimeoutError(), "no answer in time", ""),
        (TimeoutError("no answer within 3 s"), "within 3 s", ""),
        (BleakError("failed to discover services, device disconnected"), "disconnected", ""),
        (ConnectionResetError(104, "Connection reset by peer"), "reset", ""),
    ],
)
def test_no_raw_name_of_a_library_reaches_a_person(error: BaseException, says: str, then: str) -> None:
    line = f"{words(error)} – {advice(error, 'linux')}"
    assert says in line
    assert then in line
    assert not re.search(r"org\.|Bleak|/org/|dev_|\[|DBus|Errno", line)
    assert "\n" not in line
