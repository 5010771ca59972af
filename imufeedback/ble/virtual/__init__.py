"""Virtual sensors on a virtual radio, reached through the same client code as real ones."""

from imufeedback.ble.virtual.radio import VirtualRadio
from imufeedback.ble.virtual.sensor import VirtualSensor

__all__ = ["VirtualRadio", "VirtualSensor"]
