"""Sensors for the guest's own Bluetooth: a bumble controller behind /dev/vhci, which the kernel takes for its hci0, and
the product's virtual sensors on the same link. A socket takes one line a command and gives one line of JSON.

`air.py SENSORS`: bench, golfer, firmware, or the name of a layout.
"""

from __future__ import annotations

import asyncio
import json
import logging
import os
import sys
import time
from collections.abc import Callable
from pathlib import Path
from typing import Any

sys.path.insert(0, str(Path(__file__).parents[1] / "helpers"))

from bumble import hci, ll
from bumble.controller import Controller
from bumble.core import PhysicalTransport
from bumble.hci import Address
from bumble.link import LocalLink
from bumble.transport import open_transport

from imufeedback import resources
from imufeedback.ble.clock import MonotonicClock
from imufeedback.ble.virtual import VirtualRadio, VirtualSensor, bench
from imufeedback.ble.virtual.sensor import FACTORY
from imufeedback.ble.virtual.stack import _Controller
from imufeedback.packets import parse_layout

SUPERVISION_S = 0.42
"""What BlueZ asks for: 42 times 10 ms (`LE_DEFAULT_SUPERVISION_TIMEOUT`, net/bluetooth/hci_core.c)."""
ADVERTISING_MS = 60.0
ONE_WAY_S = 0.015
"""Half a connection interval of 30 ms. Answers that come at once meet a race that no radio shows: BlueZ then answers
bleak's request to connect before it tells that the device is connected, and bleak takes it for gone."""
SEED = 1
PAUSE_S = 0.4
"""A sensor that has sent nothing for longer begins again."""
_Kind = hci.HCI_LE_Extended_Advertising_Report_Event.EventType
_Feature = hci.LeFeatureMask


class KernelSide(_Controller):
    """The controller of the computer. A kernel asks for more than a client in this process."""

    le_features = (
        _Feature.LE_ENCRYPTION
        | _Feature.CONNECTION_PARAMETERS_REQUEST_PROCEDURE
        | _Feature.PERIPHERAL_INITIATED_FEATURE_EXCHANGE
        | _Feature.LE_PING
        | _Feature.LE_DATA_PACKET_LENGTH_EXTENSION
        | _Feature.LE_2M_PHY
    )
    le_acl_data_packet_length = acl_data_packet_length = 251
    supported_max_tx_octets = supported_max_rx_octets = 251

    def send_hci_packet(self, packet: hci.HCI_Packet) -> None:
        """Reports are those of legacy advertising (Bluetooth Core Specification, Vol 4, Part E, 7.7.65.13), as a
        sensor's are: to those alone a kernel adds the scan response before it tells of them."""
        if isinstance(packet, hci.HCI_LE_Extended_Advertising_Report_Event):
            for one in packet.reports:
                one.event_type |= _Kind.SCANNABLE_ADVERTISING | _Kind.LEGACY_ADVERTISING_PDU_USED
                one.primary_phy, one.secondary_phy = hci.Phy.LE_1M, 0
            packet = hci.HCI_LE_Extended_Advertising_Report_Event(packet.reports)
        super().send_hci_packet(packet)

    def on_hci_reset_command(self, command: Any) -> Any:
        """A reset ends every link (Bluetooth Core Specification, Vol 4, Part E, 7.3.2); bumble's keeps them."""
        for connection in list(self.le_connections.values()):
            connection.send_ll_control_pdu(ll.TerminateInd(hci.HCI_ErrorCode.CONNECTION_TIMEOUT_ERROR))
        self.le_connections.clear()
        self.pending_le_connection = None
        self.le_scan_enable = False
        return super().on_hci_reset_command(command)


class Link(LocalLink):
    """The air. bumble's takes the random address for the sender's; a kernel connects with its public one."""

    def __init__(self) -> None:
        super().__init__()  # type: ignore[no-untyped-call]
        self.out_of_reach: set[str] = set()

    def send_acl_data(
        self, sender_controller: Controller, destination_address: Address, transport: PhysicalTransport, data: bytes
    ) -> None:
        connection = sender_controller.le_connections.get(destination_address)
        receiver = self.find_le_controller(destination_address)
        if connection is None or receiver is None:
            return
        if self.out_of_reach & {str(destination_address), str(connection.self_address)}:
            return
        asyncio.get_running_loop().call_later(
            ONE_WAY_S, receiver.on_link_acl_data, connection.self_address, transport, data
        )


class Air(VirtualRadio):
    """The virtual radio, its central exchanged for the kernel."""

    async def open(self) -> None:
        logging.getLogger("bumble").setLevel(logging.ERROR)
        self.link = Link()
        transport = await open_transport("vhci")
        self.kernel = KernelSide(
            "kernel",
            host_source=transport.source,
            host_sink=transport.sink,
            link=self.link,
            public_address="5E:11:22:33:44:01",
        )
        for k, one in enumerate(self._sensors, start=1):
            await one.power_on(self.link, f"C0:00:00:00:00:{k:02X}")


class Seen:
    """What one sensor has sent, and when it began again."""

    def __init__(self, sensor: VirtualSensor) -> None:
        self.sensor = sensor
        self.packets = 0
        self.sizes: dict[int, int] = {}
        self.last = self.again = 0.0
        self.mute = False
        self._notify = sensor.notify
        sensor.notify = self.notify  # type: ignore[method-assign]

    async def notify(self, payload: bytes) -> None:
        now = time.monotonic()
        if self.mute:
            return
        if now - self.last > PAUSE_S:
            self.again = now
        self.last = now
        self.packets += 1
        self.sizes[len(payload)] = self.sizes.get(len(payload), 0) + 1
        await self._notify(payload)

    def told(self) -> dict[str, Any]:
        one, connection = self.sensor, self.sensor._connection
        return {
            "serial": one.serial,
            "address": one.address,
            "connected": one.connected,
            "listening": one.listening,
            "connections": one.connections,
            "rate_hz": one.settings.rate_hz,
            "samples": one.settings.samples_per_packet,
            "mtu": connection.att_mtu if connection else None,
            "packets": self.packets,
            "sizes": self.sizes,
            "again": self.again,
            "blinks": one.blinks,
        }


def golfer() -> tuple[list[VirtualSensor], float]:
    """Three reps, the second with a stall."""
    from imufeedback.live.golfer import TAIL_S
    from imufeedback.records import Hand
    from imufeedback.synth.flaws import Flaw
    from imufeedback.synth.player import Pace
    from imufeedback.synth.presets import PRESETS
    from imufeedback.synth.script import make_script
    from imufeedback.synth.sensors import WORN
    from imufeedback.synth.stream import sensor_streams

    layout = parse_layout(resources.text("layouts", "light"), "light")
    script = make_script(hand=Hand.RIGHT, pace=Pace.SLOW, flaw=(Flaw.NONE, Flaw.STALL, Flaw.NONE), reps=3, seed=SEED)
    streams = sensor_streams(script, layout, WORN, model=PRESETS["typical"].without(lost_rotation=True))
    made = [VirtualSensor(f"virtual {one.segment}", one.serial, iter(one), layout) for one in streams]
    return made, script.duration_s + TAIL_S


def firmware() -> list[VirtualSensor]:
    from desktop_sensor import DesktopSensor, Process

    return [DesktopSensor("DESK-1", Process(Path(os.environ["FIRMWARE"])), seconds=3600.0, step_us=20_000)]


class Stage:
    """The air and what the test may do to it."""

    def __init__(self, kind: str) -> None:
        self.waits = kind == "golfer"
        self.seconds = 1e9
        if kind == "golfer":
            self.sensors, self.seconds = golfer()
        elif kind == "firmware":
            self.sensors = firmware()
        else:
            name = "house" if kind == "bench" else kind
            self.sensors = bench.sensors(parse_layout(resources.text("layouts", name), name), 3600.0)
        for one in self.sensors:
            one._advertising_ms = ADVERTISING_MS
        self.seen = [Seen(one) for one in self.sensors]
        self.air = Air(self.sensors, MonotonicClock())
        self.tasks: list[asyncio.Task[Any]] = []
        self.commands: dict[str, Callable[..., Any]] = {
            "told": self.told,
            "drop": self.drop,
            "lose": self.lose,
            "back": self.back,
            "mute": self.mute,
            "unmute": self.unmute,
            "move": self.move,
        }

    async def play(self) -> None:
        if self.waits:
            while not all(one.listening for one in self.sensors):
                await asyncio.sleep(0.02)
        self.air.begin()
        await self.air.play(round(self.seconds * 1e9), realtime=True)

    def told(self) -> dict[str, Any]:
        kernel = self.air.kernel
        return {"sensors": [one.told() for one in self.seen], "links": len(kernel.le_connections)}

    async def drop(self, k: str) -> None:
        """The sensor ends the link, and is out of reach until it is back; it has forgotten its settings."""
        await self.sensors[int(k)].vanish(forget=True, told=True)

    async def lose(self, k: str) -> None:
        """Out of reach without a word: the link ends on both sides when its supervision time has run out."""
        one = self.sensors[int(k)]
        assert one._device is not None
        await one._device.stop_advertising()
        self.air.link.out_of_reach.add(one.address)
        self.tasks.append(asyncio.create_task(self._run_out(one)))

    async def _run_out(self, one: VirtualSensor) -> None:
        await asyncio.sleep(SUPERVISION_S)
        its_own = self.air.link.find_le_controller(Address(one.address))
        for controller in (self.air.kernel, its_own):
            for address, connection in list(controller.le_connections.items()) if controller else []:
                if controller is its_own or str(address).partition("/")[0] == one.address:
                    controller.on_le_disconnected(connection, hci.HCI_ErrorCode.CONNECTION_TIMEOUT_ERROR)
        one.settings, one.streaming = FACTORY, False

    async def back(self, k: str) -> None:
        one = self.sensors[int(k)]
        self.air.link.out_of_reach.discard(one.address)
        await one.come_back()

    def mute(self, k: str) -> None:
        """The link stays, and nothing comes: its program hangs."""
        self.seen[int(k)].mute = True

    def unmute(self, k: str) -> None:
        self.seen[int(k)].mute = False

    async def move(self, k: str) -> None:
        """Another address after a power cycle."""
        one = self.sensors[int(k)]
        await one.vanish(forget=True, told=True)
        await one.move()

    async def serve(self, reader: asyncio.StreamReader, writer: asyncio.StreamWriter) -> None:
        verb, *words = (await reader.readline()).decode().split()
        answer = self.commands[verb](*words)
        if asyncio.iscoroutine(answer):
            answer = await answer
        writer.write(json.dumps((answer or {}) | {"now": time.monotonic()}).encode() + b"\n")
        await writer.drain()
        writer.close()


async def main(kind: str) -> None:
    stage = Stage(kind)
    os.sched_setscheduler(0, os.SCHED_RR, os.sched_param(10))  # the air does not wait for the computer
    await stage.air.open()
    await asyncio.start_unix_server(stage.serve, "/run/air")
    sys.stdout.write("on the air\n")
    await stage.play()
    await asyncio.Event().wait()


asyncio.run(main(sys.argv[1]))
