"""bleak's client on Linux, which waits until the system has said that a device is connected.

BlueZ answers a request to connect, and tells everybody that the device is connected, in no fixed order: on a busy or a
small computer the answer comes first. bleak 3.1 then takes the device for gone ("failed to discover services, device
disconnected"), ends the link, which takes 2 s, and may meet the same the next time. Seen with BlueZ 5.66.
"""

from __future__ import annotations

import asyncio
import sys
from typing import Any

from bleak.backends.client import BaseBleakClient
from bleak.backends.service import BleakGATTServiceCollection

TOLD_S, LOOK_S = 1.0, 0.02
"""So long it may take until the system has said so. Chosen: it was below 0.3 s wherever it came at all."""


def system_client() -> type[BaseBleakClient] | None:
    """What to pass to bleak as its client; None where its own is right."""
    if sys.platform != "linux":
        return None
    from bleak.backends.bluezdbus.client import BleakClientBlueZDBus
    from bleak.backends.bluezdbus.manager import get_global_bluez_manager

    class PatientClient(BleakClientBlueZDBus):
        async def _get_services(
            self, dangerous_use_bleak_cache: bool = False, **kwargs: Any
        ) -> BleakGATTServiceCollection:
            manager, path = await get_global_bluez_manager(), self._device_path
            for _ in range(round(TOLD_S / LOOK_S)):
                if path is None or manager.is_connected(path):
                    break
                await asyncio.sleep(LOOK_S)
            return await super()._get_services(dangerous_use_bleak_cache, **kwargs)

    return PatientClient
