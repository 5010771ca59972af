"""bleak backends over a bumble central: bleak's own client and scanner work on the virtual radio unchanged."""

from __future__ import annotations

import asyncio
from collections.abc import Callable, Coroutine
from typing import Any, ClassVar, TypeVar

from bleak.args import SizedBuffer
from bleak.assigned_numbers import gatt_char_props_to_strs
from bleak.backends.characteristic import BleakGATTCharacteristic
from bleak.backends.client import BaseBleakClient, NotifyCallback
from bleak.backends.descriptor import BleakGATTDescriptor
from bleak.backends.device import BLEDevice
from bleak.backends.scanner import AdvertisementData, AdvertisementDataCallback, BaseBleakScanner
from bleak.backends.service import BleakGATTService, BleakGATTServiceCollection
from bleak.exc import BleakError, BleakGATTProtocolError
from bleak.uuids import normalize_uuid_str
from bumble.att import ATT_Error
from bumble.core import UUID, AdvertisingData, BaseBumbleError
from bumble.device import Advertisement, Connection, Device, Peer
from bumble.gatt_client import CharacteristicProxy
from bumble.hci import Address, HCI_LE_Create_Connection_Cancel_Command
from bumble.link import LocalLink

from imufeedback.ble.backends import Backends
from imufeedback.ble.virtual.stack import make_device

T = TypeVar("T")

REQUESTED_MTU = 247
"""ATT MTU that fills one link-layer packet with data length extension (251 - 4): common choice of today's phones."""


class Central:
    """The computer's side of the virtual radio."""

    def __init__(self, link: LocalLink, address: str, on_delivered: Callable[[str, bytes], None], mtu: int) -> None:
        self.device = make_device("central", address, link)
        self.on_delivered = on_delivered
        self.mtu = mtu
        self.close_s = 0.0
        """What ending a link takes."""
        self.told_mtu: int | None = None
        """What is said of the MTU, whatever was agreed; None: the truth."""
        self.is_untold: Callable[[str], bool] = lambda _address: False
        """Whether the end of the link to an address is kept from the client, as some systems do."""

    def backends(self) -> Backends:
        """bleak backends of this central."""
        return Backends(
            client=type("VirtualClient", (_Client,), {"central": self}),
            scanner=type("VirtualScanner", (_Scanner,), {"central": self}),
        )


async def _ask(work: Coroutine[Any, Any, T]) -> T:
    """Wait for the virtual radio; what goes wrong there comes out as bleak's own error."""
    try:
        return await work
    except ATT_Error as error:
        raise BleakGATTProtocolError(error.error_code) from error
    except BaseBumbleError as error:
        raise BleakError(str(error) or type(error).__name__) from error
    except asyncio.CancelledError as error:
        task = asyncio.current_task()
        if task is not None and task.cancelling():
            raise
        # The stack cancels what waits for an answer when the link breaks; nobody has cancelled this task.
        raise BleakError("disconnected") from error


async def _discover(peer: Peer) -> None:
    await peer.discover_services()
    for service in peer.services:
        for characteristic in await peer.discover_characteristics(service=service):
            await peer.discover_descriptors(characteristic)


class _Client(BaseBleakClient):
    central: ClassVar[Central]

    def __init__(self, address_or_ble_device: BLEDevice | str, **kwargs: Any) -> None:
        super().__init__(
            address_or_ble_device,
            disconnected_callback=kwargs["disconnected_callback"],
            timeout=kwargs["timeout"],
        )
        self._name = address_or_ble_device.name if isinstance(address_or_ble_device, BLEDevice) else None
        self._connection: Connection | None = None
        self._peer: Peer | None = None
        self._dead = False

    @property
    def name(self) -> str:
        return self._name or self.address

    @property
    def mtu_size(self) -> int:
        return self._open.connection.att_mtu

    @property
    def is_connected(self) -> bool:
        return self._connection is not None

    @property
    def _open(self) -> Peer:
        if self._peer is None:
            raise BleakError("not connected")
        return self._peer

    async def connect(self, pair: bool, **kwargs: Any) -> None:
        connection = await _ask(self._connect())
        self._connection = connection
        self._peer = Peer(connection)
        connection.on(Connection.EVENT_DISCONNECTION, self._on_disconnection)
        await _ask(self._peer.request_mtu(self.central.mtu))
        await _ask(_discover(self._peer))
        self.services = self._collect(self._peer)

    async def _connect(self) -> Connection:
        device = self.central.device
        try:
            return await device.connect(Address(self.address), timeout=self._timeout)
        except asyncio.CancelledError:
            # bumble leaves the attempt pending in the controller, and every later one would be refused.
            await device.send_sync_command(HCI_LE_Create_Connection_Cancel_Command())
            raise

    async def disconnect(self) -> None:
        connection = self._connection
        if connection is not None:
            # Asked for, so that it is no drop: bleak calls back for unexpected ends only.
            self._connection = None
            await asyncio.sleep(self.central.close_s)
            if not self._dead:
                await _ask(connection.disconnect())
        self._peer = None

    def _on_disconnection(self, _reason: int) -> None:
        if self._connection is not None and self.central.is_untold(self.address):
            self._dead = True
            return
        expected = self._connection is None
        self._connection = self._peer = None
        if not expected and self._disconnected_callback is not None:
            self._disconnected_callback()

    def _collect(self, peer: Peer) -> BleakGATTServiceCollection:
        """What the virtual radio discovered, in bleak's own words."""
        collection = BleakGATTServiceCollection()
        for service in peer.services:
            here = BleakGATTService(service, service.handle, _uuid(service.uuid))
            collection.add_service(here)
            for one in service.characteristics:
                properties = list(gatt_char_props_to_strs(one.properties))
                collection.add_characteristic(
                    BleakGATTCharacteristic(one, one.handle, _uuid(one.uuid), properties, self._write_size, here)
                )
                for descriptor in one.descriptors:
                    collection.add_descriptor(
                        BleakGATTDescriptor(
                            descriptor,
                            descriptor.handle,
                            _uuid(descriptor.type),
                            collection.characteristics[one.handle],
                        )
                    )
        return collection

    def _write_size(self) -> int:
        return (self.central.told_mtu or self.mtu_size) - 3

    async def pair(self, *args: Any, **kwargs: Any) -> None:
        raise NotImplementedError("the profile needs no pairing")

    async def unpair(self) -> None:
        raise NotImplementedError("the profile needs no pairing")

    async def read_gatt_char(
        self, characteristic: BleakGATTCharacteristic, *, use_cached: bool = False, **kwargs: Any
    ) -> bytearray:
        return bytearray(await _ask(self._open.read_value(characteristic.obj)))

    async def read_gatt_descriptor(
        self, descriptor: BleakGATTDescriptor, *, use_cached: bool = False, **kwargs: Any
    ) -> bytearray:
        return bytearray(await _ask(self._open.read_value(descriptor.obj)))

    async def write_gatt_char(self, characteristic: BleakGATTCharacteristic, data: SizedBuffer, response: bool) -> None:
        await _ask(self._open.write_value(characteristic.obj, bytes(data), with_response=response))

    async def write_gatt_descriptor(self, descriptor: BleakGATTDescriptor, data: SizedBuffer) -> None:
        await _ask(self._open.write_value(descriptor.obj, bytes(data), with_response=True))

    async def start_notify(
        self, characteristic: BleakGATTCharacteristic, callback: NotifyCallback, **kwargs: Any
    ) -> None:
        def on_value(value: bytes) -> None:
            callback(bytearray(value))
            self.central.on_delivered(self.address, value)

        proxy: CharacteristicProxy[bytes] = characteristic.obj
        await _ask(self._open.subscribe(proxy, on_value))

    async def stop_notify(self, characteristic: BleakGATTCharacteristic) -> None:
        await _ask(self._open.unsubscribe(characteristic.obj))


class _Scanner(BaseBleakScanner):
    central: ClassVar[Central]

    def __init__(
        self,
        detection_callback: AdvertisementDataCallback | None,
        service_uuids: list[str] | None,
        *args: Any,
        **kwargs: Any,
    ) -> None:
        super().__init__(detection_callback, service_uuids)

    async def start(self) -> None:
        self.seen_devices = {}
        self.central.device.on(Device.EVENT_ADVERTISEMENT, self._on_advertisement)
        await _ask(self.central.device.start_scanning())

    async def stop(self) -> None:
        await _ask(self.central.device.stop_scanning())
        self.central.device.remove_listener(Device.EVENT_ADVERTISEMENT, self._on_advertisement)

    def _on_advertisement(self, heard: Advertisement) -> None:
        name = _local_name(heard.data)
        data = AdvertisementData(
            local_name=name,
            manufacturer_data={},
            service_data=_service_data(heard.data),
            service_uuids=_service_uuids(heard.data),
            tx_power=None,
            rssi=heard.rssi,
            platform_data=(),
        )
        if self.is_allowed_uuid(data.service_uuids):
            address = str(heard.address)
            device = self.create_or_update_device(address, address, name, heard, data)
            self.call_detection_callbacks(device, data)


def _uuid(uuid: UUID) -> str:
    return normalize_uuid_str(uuid.to_hex_str("-"))


def _local_name(data: AdvertisingData) -> str | None:
    for kind in (AdvertisingData.COMPLETE_LOCAL_NAME, AdvertisingData.SHORTENED_LOCAL_NAME):
        value = data.get(kind, raw=True)
        if isinstance(value, bytes):
            return value.decode("utf-8", "replace")
    return None


def _service_data(data: AdvertisingData) -> dict[str, bytes]:
    raw = data.get(AdvertisingData.SERVICE_DATA_128_BIT_UUID, raw=True)
    if not isinstance(raw, bytes) or len(raw) < 16:
        return {}
    return {_uuid(UUID.from_bytes(raw[:16])): raw[16:]}


def _service_uuids(data: AdvertisingData) -> list[str]:
    raw = data.get(AdvertisingData.COMPLETE_LIST_OF_128_BIT_SERVICE_CLASS_UUIDS, raw=True)
    if not isinstance(raw, bytes):
        return []
    return [_uuid(UUID.from_bytes(raw[k : k + 16])) for k in range(0, len(raw) - 15, 16)]
