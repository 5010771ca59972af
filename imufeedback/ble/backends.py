"""Which Bluetooth is used: the system's, or the virtual one; and how it can fail."""

from __future__ import annotations

from dataclasses import dataclass, field

from bleak.backends.client import BaseBleakClient
from bleak.backends.scanner import BaseBleakScanner
from bleak.exc import BleakError

from imufeedback.ble.patient import system_client

FAILURES = (BleakError, TimeoutError, OSError, EOFError)
"""What bleak and the systems below it raise when the radio or the sensor does not do its part."""


@dataclass(frozen=True, slots=True)
class Backends:
    """Passed to bleak by its public ``backend=`` argument; None is the system's own Bluetooth."""

    client: type[BaseBleakClient] | None = field(default_factory=system_client)
    scanner: type[BaseBleakScanner] | None = None
