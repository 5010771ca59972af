"""A peripheral that speaks the GATT profile and sends payloads that somebody else made."""

from __future__ import annotations

from collections.abc import Callable, Iterator
from functools import partial
from typing import Any

from bumble import att, gatt
from bumble.core import UUID, AdvertisingData
from bumble.device import Connection, Device
from bumble.hci import Address
from bumble.link import LocalLink

from imufeedback.ble import profile
from imufeedback.ble.virtual.split import split
from imufeedback.ble.virtual.stack import SIGNAL_DBM, make_device
from imufeedback.packets import Layout
from imufeedback.packets.layout import Gatt

FACTORY = profile.SensorSettings(rate_hz=100, samples_per_packet=1)
"""Settings after power-up: not what is wanted, so that a client that forgets to send its own is found out."""
OWN = Gatt(profile.SERVICE, profile.MOTION, profile.CONTROL, profile.LAYOUT)
"""The project's own profile, for layouts that name no UUIDs."""
ADVERTISING_MS = 20.0
"""Shortest allowed advertising interval: Bluetooth Core Specification, Vol 6, Part B, 4.4.2.2.1."""
_CAN = gatt.Characteristic.Properties
_READABLE = gatt.Characteristic.READABLE


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
        place: str = "",
        temperature_c: float | None = None,
        announces: bool = True,
        answers: bool = True,
        signal_dbm: int = SIGNAL_DBM,
        advertising_ms: float = ADVERTISING_MS,
    ) -> None:
        """`place` is another name that a fault script may call it by; `announces` its serial number while it
        advertises; one that does not answer is heard, and cannot be connected.

        Raises UsageError for a layout without UUIDs.
        """
        self.name = name
        self.place = place or name
        self.address = ""
        """Where it is on the link, once it is powered."""
        self.untold = False
        """The link is gone, and the client is not to know."""
        self.blinks = 0
        """How often it was asked to be seen."""
        self.connections = 0
        """How often a client connected."""
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
        self.delivered = 0
        """Payloads that reached the client's side of the radio."""
        self._layout = layout
        self._firmware = firmware
        self._model = model
        self._temperature_c = temperature_c
        self.announces, self._answers = announces, answers
        self._signal_dbm, self._advertising_ms = signal_dbm, advertising_ms
        self._subscribed = False
        self._connection: Connection | None = None
        self._device: Device | None = None
        self._link: LocalLink | None = None
        self._gatt = layout.gatt or OWN
        self._motion = gatt.Characteristic[bytes](self._gatt.notify, _CAN.NOTIFY, gatt.Characteristic.READABLE)

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
        device = make_device(self.name, address, link, self._signal_dbm, answers=self._answers)
        self.address, self._link = address, link
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
            scan_response_data=self._scan_response(),
            advertising_interval_min=self._advertising_ms,
            advertising_interval_max=self._advertising_ms,
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

    async def vanish(self, *, forget: bool, told: bool) -> None:
        """Be out of reach: the link breaks, with or without the client being told; `forget` is a loss of power."""
        self.untold = not told
        assert self._device is not None
        await self._device.stop_advertising()
        if self._connection is not None:
            await self._connection.disconnect()
        if forget:
            self.settings = FACTORY
        self.streaming = False

    async def move(self) -> None:
        """Another address from now on, as some sensors take at every power-up."""
        assert self._device is not None
        assert self._link is not None
        await self._device.power_off()
        gone = self._link.find_le_controller(Address(self.address))
        if gone is not None:
            self._link.remove_controller(gone)
        self._connection = None
        await self.power_on(self._link, f"D{self.address[1:]}")

    async def come_back(self) -> None:
        """Be in reach again."""
        if self._connection is None:
            await self.advertise()

    def obeying(self, payload: bytes) -> Iterator[bytes]:
        """The payload in packets of as many samples as the settings say."""
        most = self.settings.samples_per_packet
        if self._gatt.control is None or self._gatt.start is not None or most >= self._layout.samples_per_packet:
            yield payload
        else:
            yield from split(self._layout, payload, most)

    async def notify(self, payload: bytes) -> None:
        """Send one notification; as every server does, cut to the MTU less 3."""
        assert self._device is not None
        assert self._connection is not None
        await self._device.gatt_server.notify_subscriber(self._connection, self._motion, payload)

    # ── the profile ──

    def _services(self) -> list[gatt.Service]:
        facts: dict[UUID, Callable[[], str]] = {
            gatt.GATT_MODEL_NUMBER_STRING_CHARACTERISTIC: lambda: self._model,
            gatt.GATT_SERIAL_NUMBER_STRING_CHARACTERISTIC: lambda: self.serial,
            gatt.GATT_FIRMWARE_REVISION_STRING_CHARACTERISTIC: lambda: self._firmware,
        }
        battery = gatt.CharacteristicValue(read=lambda _: bytes([self.battery_percent]))
        return [
            gatt.Service(self._gatt.service, [self._motion, *self._own_characteristics()]),
            gatt.Service(
                gatt.GATT_BATTERY_SERVICE,
                [gatt.Characteristic(gatt.GATT_BATTERY_LEVEL_CHARACTERISTIC, _CAN.READ, _READABLE, battery)],
            ),
            gatt.Service(
                gatt.GATT_DEVICE_INFORMATION_SERVICE,
                [gatt.Characteristic(uuid, _CAN.READ, _READABLE, _value(text)) for uuid, text in facts.items()],
            ),
        ]

    def _own_characteristics(self) -> list[gatt.Characteristic[Any]]:
        """What the motion service has beside the packets."""
        out: list[gatt.Characteristic[Any]] = []
        if self._gatt.control is not None:
            access = gatt.CharacteristicValue(read=self._status, write=self._on_command)
            can = _CAN.READ | _CAN.WRITE
            out.append(gatt.Characteristic(self._gatt.control, can, _READABLE | gatt.Characteristic.WRITEABLE, access))
        if self._gatt.layout is not None:
            version = self._layout.version.value if self._layout.version else 0
            name = profile.layout_bytes(self._layout.name, version)
            out.append(gatt.Characteristic(self._gatt.layout, _CAN.READ, _READABLE, name))
        if self._temperature_c is not None:
            value = round(self._temperature_c * 100).to_bytes(2, "little", signed=True)
            out.append(gatt.Characteristic(profile.TEMPERATURE, _CAN.READ, _READABLE, value))
        return out

    def _advertisement(self) -> bytes:
        general = AdvertisingData.Flags.LE_GENERAL_DISCOVERABLE_MODE | AdvertisingData.Flags.BR_EDR_NOT_SUPPORTED
        return bytes(
            AdvertisingData(
                [
                    (AdvertisingData.FLAGS, bytes([general])),
                    (AdvertisingData.COMPLETE_LIST_OF_128_BIT_SERVICE_CLASS_UUIDS, bytes(UUID(self._gatt.service))),
                    (AdvertisingData.SHORTENED_LOCAL_NAME, self.name.encode()[:8]),
                ]
            )
        )

    def _scan_response(self) -> bytes:
        if not self.announces or self._gatt.service != profile.SERVICE:
            return b""
        data = bytes(UUID(profile.SERVICE)) + profile.announcement(self.serial)
        return bytes(AdvertisingData([(AdvertisingData.SERVICE_DATA_128_BIT_UUID, data)]))

    def _status(self, _connection: Any) -> bytes:
        return profile.status_bytes(profile.Status(self.streaming, self.settings))

    def _on_command(self, _connection: Any, data: bytes) -> None:
        if self._gatt.start is not None:
            self._on_foreign_command(data)
            return
        try:
            command = self._checked(profile.parse_command(data))
        except profile.BadCommand as error:
            raise att.ATT_Error(error.code) from error
        self.commands.append(command)
        match command:
            case profile.Start():
                self.streaming = True
            case profile.Stop():
                self.streaming = False
            case profile.SensorSettings():
                self.settings = command
            case profile.Blink():
                self.blinks += 1

    def _checked(self, command: profile.ControlCommand) -> profile.ControlCommand:
        """Its payloads are made already: it can send fewer samples a packet, and no other rate."""
        if isinstance(command, profile.SensorSettings) and command.rate_hz != round(self._layout.rate_hz):
            raise profile.BadCommand(profile.BAD_VALUE, f"{command.rate_hz} Hz is not what this sensor does")
        return command

    def _on_foreign_command(self, data: bytes) -> None:
        known = {bytes.fromhex(text): key for key in ("start", "stop", "blink") if (text := getattr(self._gatt, key))}
        match known.get(data):
            case "start":
                self.streaming = True
            case "stop":
                self.streaming = False
            case "blink":
                self.blinks += 1
            case _:
                raise att.ATT_Error(profile.UNKNOWN_COMMAND)

    # ── events of the stack ──

    def _on_connection(self, connection: Connection) -> None:
        self._connection = connection
        self.connections += 1
        self.untold = False
        connection.on(Connection.EVENT_DISCONNECTION, partial(self._on_disconnection, connection))

    def _on_disconnection(self, connection: Connection, _reason: int) -> None:
        if connection is self._connection:
            self._connection = None
            self._subscribed = False
            self.streaming = False
            self.on_gone()

    def _on_subscription(self, _bearer: Any, notify: bool, _indicate: bool) -> None:
        self._subscribed = notify
        if self._gatt.control is None:
            self.streaming = notify
