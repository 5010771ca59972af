"""Virtual sensors on a virtual radio, reached through the same client code as real ones."""

from imufeedback.ble.virtual.disturb import disturbed
from imufeedback.ble.virtual.faults import FaultScript, parse_faults
from imufeedback.ble.virtual.mishaps import mishaps
from imufeedback.ble.virtual.radio import VirtualRadio
from imufeedback.ble.virtual.sensor import VirtualSensor

__all__ = ["FaultScript", "VirtualRadio", "VirtualSensor", "disturbed", "mishaps", "parse_faults"]
