"""What is read from and told to a sensor between connecting and streaming; the same at every connection."""

from __future__ import annotations

from collections.abc import Mapping

from bleak import BleakClient

from imufeedback.ble import profile
from imufeedback.ble.limits import within
from imufeedback.errors import RadioError
from imufeedback.packets.layout import Gatt, Layout
from imufeedback.records import Json

_TEXTS = {
    "serial": profile.SERIAL_NUMBER,
    "firmware": profile.FIRMWARE_REVISION,
    "model": profile.MODEL_NUMBER,
}


STALE = (
    "If it was flashed anew, the system may remember its old services: remove it from the system's list of Bluetooth "
    "devices (Linux: bluetoothctl remove ADDRESS), then search again"
)


class WrongSensor(RadioError):
    """What answers is not the sensor, or not the packets, that this link is for: trying again cannot help."""


class Handshake:
    """The conversation with one connected sensor. `where` names it in errors; every request is limited in time.

    Methods raise bleak's errors and TimeoutError when the radio fails, WrongSensor when the sensor cannot be used.
    """

    def __init__(self, client: BleakClient, layout: Layout, gatt: Gatt, request_s: float, where: str) -> None:
        self._client = client
        self._layout = layout
        self._gatt = gatt
        self._request_s = request_s
        self._where = where

    async def facts(self) -> dict[str, Json]:
        """Serial, firmware and model as text, battery_percent, layout, mtu; without what the sensor does not offer."""
        facts: dict[str, Json] = {}
        for fact, uuid in _TEXTS.items():
            data = await self._read(uuid)
            if data is not None:
                facts[fact] = _text(data)
        facts |= await self.vitals()
        if self._gatt.layout is not None:
            data = await self._read(self._gatt.layout)
            facts["layout"] = None if data is None else _text(data)
        facts["mtu"] = self._mtu()
        return facts

    async def vitals(self) -> dict[str, Json]:
        """What changes while streaming: battery_percent, temperature_c; without what the sensor does not offer."""
        facts: dict[str, Json] = {}
        battery = await self._read(profile.BATTERY_LEVEL)
        if battery:
            facts["battery_percent"] = battery[0]
        temperature = await self._read(profile.TEMPERATURE)
        if temperature is not None and len(temperature) >= 2:
            facts["temperature_c"] = int.from_bytes(temperature[:2], "little", signed=True) / 100
        return facts

    async def _read(self, uuid: str) -> bytes | None:
        """A characteristic's value; None when the sensor has none of that kind."""
        characteristic = self._client.services.get_characteristic(uuid)
        if characteristic is None:
            return None
        return bytes(await within(self._request_s, self._client.read_gatt_char(characteristic)))

    def _mtu(self) -> int:
        # Not `client.mtu_size`: one system says 23 there whatever was agreed.
        characteristic = self._client.services.get_characteristic(self._gatt.notify)
        if characteristic is None:
            raise self._wrong(
                f"no characteristic {self._gatt.notify}",
                f"choose the layout of this sensor; {self._layout.name} is not it. {STALE}",
            )
        return characteristic.max_write_without_response_size + profile.NOTIFICATION_OVERHEAD

    def check_layout(self, facts: Mapping[str, Json]) -> None:
        """Refuse a sensor that says it sends other packets than those that will be decoded."""
        version = self._layout.version
        expected = f"{self._layout.name}/{version.value if version else 0}"
        if "layout" in facts and facts["layout"] != expected:
            raise self._wrong(
                f"sends packets of layout {facts['layout']}, expected {expected}",
                "update the sensor, or choose its layout",
            )

    async def configure(self, mtu: int) -> dict[str, Json]:
        """Send the settings and read them back: a sensor returns to its factory's at every power-up.

        A sensor with a profile of its own has none that are known here; only that its packets fit is checked. An MTU of
        23 may be what was agreed, or what a system says that does not know: packets that come cut tell (`shrink`).
        """
        if self._gatt.control is None or self._gatt.start is not None:
            if mtu > profile.LEAST_MTU:
                self._check_room(mtu)
            return {}
        wanted = self._settings(mtu if mtu > profile.LEAST_MTU else profile.MOST_MTU)
        return await self._set(wanted)

    async def shrink(self) -> dict[str, Json]:
        """The MTU really is the least one: ask for packets that fit. Raises WrongSensor when none does."""
        if self._gatt.control is None or self._gatt.start is not None:
            self._check_room(profile.LEAST_MTU)
            return {}
        return await self._set(self._settings(profile.LEAST_MTU))

    async def _set(self, wanted: profile.SensorSettings) -> dict[str, Json]:
        assert self._gatt.control is not None
        await self.command(wanted)
        data = await self._read(self._gatt.control)
        try:
            kept: object = profile.parse_status(data or b"").settings
        except ValueError as error:
            kept = f"unreadable settings ({error})"
        if kept != wanted:
            raise self._wrong(f"keeps {kept}, asked for {wanted}", "update the sensor")
        return {"rate_hz": wanted.rate_hz, "samples_per_packet": wanted.samples_per_packet}

    def _settings(self, mtu: int) -> profile.SensorSettings:
        room = self._layout.max_samples(mtu - profile.NOTIFICATION_OVERHEAD)
        if room < 1:
            raise self._wrong(
                f"an MTU of {mtu} holds no sample of layout {self._layout.name}", "use another Bluetooth adapter"
            )
        return profile.SensorSettings(round(self._layout.rate_hz), min(room, self._layout.samples_per_packet))

    def _check_room(self, mtu: int) -> None:
        need = self._layout.packet_bytes(self._layout.samples_per_packet)
        if need > mtu - profile.NOTIFICATION_OVERHEAD:
            raise self._wrong(
                f"an MTU of {mtu} cuts the packets of layout {self._layout.name}, which have {need} bytes",
                "use another Bluetooth adapter, or let the sensor send fewer samples a packet",
            )

    async def command(self, command: profile.ControlCommand) -> None:
        """Write a command and wait for its answer; nothing, when the sensor does not know it."""
        data = self._bytes_of(command)
        if self._gatt.control is not None and data:
            await within(self._request_s, self._client.write_gatt_char(self._gatt.control, data, response=True))

    def _bytes_of(self, command: profile.ControlCommand) -> bytes:
        gatt = self._gatt
        if gatt.start is None:
            return profile.command_bytes(command)
        match command:
            case profile.Start():
                return bytes.fromhex(gatt.start)
            case profile.Stop():
                return bytes.fromhex(gatt.stop or "")
            case profile.Blink():
                return bytes.fromhex(gatt.blink or "")
            case profile.SensorSettings():
                return b""

    def _wrong(self, what: str, hint: str) -> WrongSensor:
        return WrongSensor(what, where=self._where, hint=hint)


def _text(data: bytes) -> str:
    """Text of a characteristic, without what cannot be printed; some firmware pads it with zeros."""
    return "".join(filter(str.isprintable, data.decode("utf-8", "replace"))).strip()
