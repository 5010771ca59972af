"""A peripheral that speaks the GATT profile and sends payloads that somebody else made."""

from __future__ import annotations

from collections.abc import Callable, Iterator
from functools import partial
from typing import Any

from bumble import att, gatt
from bumble.core import UUID, AdvertisingData
from bumble.device import Connection, Device
from bumble.link import LocalLink

from imufeedback.ble import profile
from imufeedback.ble.virtual.stack import make_device
from imufeedback.packets import Layout

FACTORY = profile.Settings(rate_hz=100, samples_per_packet=1)
"""Settings after power-up: not what is wanted, so that a client that forgets to send its own is found out."""
ADVERTISING_MS = 20.0
"""Shortest allowed advertising interval: Bluetooth Core Specification, Vol 6, Part B, 4.4.2.2.1."""
_CAN = gatt.Characteristic.Properties


def _value(text: Callable[[], str]) -> gatt.CharacteristicValue[bytes]:
    return gatt.CharacteristicValue(read=lambda _connection: text().encode())


class VirtualSensor:
    """One virtual sensor. Its `payloads` are (deliver_ns, payload): when, from the radio's origin, and what to notify.

    What falls due while no client has subscribed and sent START is not sent: sensors keep no history.
    """

    def __init__(
        self,
        name: str,
        serial: str,
        payloads: Iterator[tuple[int, bytes]],
        layout: Layout,
        *,
        battery_percent: int = 87,
        firmware: str = "1.0.0",
        model: str = "virtual",
    ) -> None:
        self.name = name
        self.serial = serial
        self.payloads = payloads
        self.battery_percent = battery_percent
        self.streaming = False
        self.settings = FACTORY
        self.commands: list[profile.ControlCommand] = []
        """Commands received, oldest first."""
        self.on_gone: Callable[[], None] = lambda: None
        """Called when the link to this sensor ends."""
        self.unsent = 0
        """Payloads that fell due while nobody listened."""
        self._layout = layout
        self._firmware = firmware
        self._model = model
        self._subscribed = False
        self._connection: Connection | None = None
        self._device: Device | None = None
        self._motion = gatt.Characteristic[bytes](profile.MOTION, _CAN.NOTIFY, gatt.Characteristic.READABLE)

    @property
    def connected(self) -> bool:
        return self._connection is not None

    @property
    def listening(self) -> bool:
        """Whether a client has subscribed and sent START."""
        return self._subscribed and self.streaming and self._connection is not None

    # ── the radio's side ──

    async def power_on(self, link: LocalLink, address: str) -> None:
        """Appear on the link under a random static address, and advertise."""
        device = make_device(self.name, address, link)
        device.add_services(self._services())
        device.on(Device.EVENT_CONNECTION, self._on_connection)
        self._motion.on(gatt.Characteristic.EVENT_SUBSCRIPTION, self._on_subscription)
        self._device = device
        await device.power_on()
        await self.advertise()

    async def advertise(self) -> None:
        """Be found, now and whenever a link has ended."""
        assert self._device is not None
        await self._device.start_advertising(
            advertising_data=self._advertisement(),
            advertising_interval_min=ADVERTISING_MS,
            advertising_interval_max=ADVERTISING_MS,
            auto_restart=True,
        )

    async def power_off(self) -> None:
        """Drop the link and fall silent; settings and streaming are forgotten, as in a real sensor."""
        assert self._device is not None
        await self._device.stop_advertising()
        if self._connection is not None:
            await self._connection.disconnect()
        self.streaming = False
        self.settings = FACTORY

    async def notify(self, payload: bytes) -> None:
        """Send one notification; as every server does, cut to the MTU less 3."""
        assert self._device is not None
        assert self._connection is not None
        await self._device.gatt_server.notify_subscriber(self._connection, self._motion, payload)

    # ── the profile ──

    def _services(self) -> list[gatt.Service]:
        read, write = _CAN.READ, _CAN.WRITE
        readable = gatt.Characteristic.READABLE
        control = gatt.Characteristic[bytes](
            profile.CONTROL,
            read | write,
            readable | gatt.Characteristic.WRITEABLE,
            gatt.CharacteristicValue(read=self._status, write=self._on_command),
        )
        version = self._layout.version.value if self._layout.version else 0
        layout = profile.layout_bytes(self._layout.name, version)
        facts: dict[UUID, Callable[[], str]] = {
            gatt.GATT_MODEL_NUMBER_STRING_CHARACTERISTIC: lambda: self._model,
            gatt.GATT_SERIAL_NUMBER_STRING_CHARACTERISTIC: lambda: self.serial,
            gatt.GATT_FIRMWARE_REVISION_STRING_CHARACTERISTIC: lambda: self._firmware,
        }
        battery = gatt.CharacteristicValue(read=lambda _: bytes([self.battery_percent]))
        return [
            gatt.Service(
                profile.SERVICE,
                [self._motion, control, gatt.Characteristic(profile.LAYOUT, read, readable, layout)],
            ),
            gatt.Service(
                gatt.GATT_BATTERY_SERVICE,
                [gatt.Characteristic(gatt.GATT_BATTERY_LEVEL_CHARACTERISTIC, read, readable, battery)],
            ),
            gatt.Service(
                gatt.GATT_DEVICE_INFORMATION_SERVICE,
                [gatt.Characteristic(uuid, read, readable, _value(text)) for uuid, text in facts.items()],
            ),
        ]

    def _advertisement(self) -> bytes:
        general = AdvertisingData.Flags.LE_GENERAL_DISCOVERABLE_MODE | AdvertisingData.Flags.BR_EDR_NOT_SUPPORTED
        return bytes(
            AdvertisingData(
                [
                    (AdvertisingData.FLAGS, bytes([general])),
                    (AdvertisingData.COMPLETE_LIST_OF_128_BIT_SERVICE_CLASS_UUIDS, bytes(UUID(profile.SERVICE))),
                    (AdvertisingData.SHORTENED_LOCAL_NAME, self.name.encode()[:8]),
                ]
            )
        )

    def _status(self, _connection: Any) -> bytes:
        return profile.status_bytes(profile.Status(self.streaming, self.settings))

    def _on_command(self, _connection: Any, data: bytes) -> None:
        try:
            command = profile.parse_command(data)
        except profile.BadCommand as error:
            raise att.ATT_Error(error.code) from error
        self.commands.append(command)
        match command:
            case profile.Start():
                self.streaming = True
            case profile.Stop():
                self.streaming = False
            case profile.Settings():
                self.settings = command
            case profile.Blink():
                pass  # there is no lamp; that it was asked for stands in `commands`

    # ── events of the stack ──

    def _on_connection(self, connection: Connection) -> None:
        self._connection = connection
        connection.on(Connection.EVENT_DISCONNECTION, partial(self._on_disconnection, connection))

    def _on_disconnection(self, connection: Connection, _reason: int) -> None:
        if connection is self._connection:
            self._connection = None
            self._subscribed = False
            self.streaming = False
            self.on_gone()

    def _on_subscription(self, _bearer: Any, notify: bool, _indicate: bool) -> None:
        self._subscribed = notify
