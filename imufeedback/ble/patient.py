"""bleak's client on Linux, which asks the system itself whether a device is connected.

On a busy or a small computer BlueZ (5.66) may hear of the new channel before it hears of the new link. It then answers
that the device is connected, and never tells it to those who listen. bleak 3.1 believes what it was told, takes the
device for gone ("failed to discover services, device disconnected"), and ends the link, which takes 2 s.
"""

from __future__ import annotations

import sys
from typing import Any

from bleak.backends.client import BaseBleakClient
from bleak.backends.service import BleakGATTServiceCollection


def system_client() -> type[BaseBleakClient] | None:
    """What to pass to bleak as its client; None where its own is right."""
    if sys.platform != "linux":
        return None
    from bleak.backends.bluezdbus import defs
    from bleak.backends.bluezdbus.client import BleakClientBlueZDBus
    from bleak.backends.bluezdbus.manager import get_global_bluez_manager
    from dbus_fast import Message, MessageType

    class PatientClient(BleakClientBlueZDBus):
        async def _get_services(
            self, dangerous_use_bleak_cache: bool = False, **kwargs: Any
        ) -> BleakGATTServiceCollection:
            manager, path = await get_global_bluez_manager(), self._device_path
            if path is not None and self._bus is not None and not manager.is_connected(path):
                asked = Message(
                    destination=defs.BLUEZ_SERVICE,
                    path=path,
                    interface=defs.PROPERTIES_INTERFACE,
                    member="Get",
                    signature="ss",
                    body=[defs.DEVICE_INTERFACE, "Connected"],
                )
                reply = await self._bus.call(asked)
                device: Any = manager._properties.get(path, {}).get(defs.DEVICE_INTERFACE)
                if reply is not None and reply.message_type is MessageType.METHOD_RETURN and device is not None:
                    device["Connected"] = reply.body[0].value
            return await super()._get_services(dangerous_use_bleak_cache, **kwargs)

    return PatientClient
