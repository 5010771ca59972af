"""What a person can do when Bluetooth refuses, by system and by what it said.

Only Linux has been run; the words for Windows and macOS follow bleak's errors and the systems' own names, and their
tests use made-up errors.
"""

from __future__ import annotations

import sys

from bleak.exc import BleakBluetoothNotAvailableError, BleakBluetoothNotAvailableReason

_Why = BleakBluetoothNotAvailableReason
_DENIED = (_Why.DENIED_BY_USER, _Why.DENIED_BY_SYSTEM, _Why.DENIED_BY_UNKNOWN)
_PERMISSION = {
    "darwin": (
        "allow it in System Settings, Privacy & Security, Bluetooth: for the program you started this from "
        "(Terminal, for "
        "one), then start that program again"
    ),
    "win32": "switch on Settings, Privacy & security, Radios, and 'Let desktop apps control radios'",
    "linux": "your user may not use Bluetooth: log in at the machine itself, or join the group bluetooth",
}
_OFF = {
    "darwin": "switch Bluetooth on in the menu bar",
    "win32": "switch Bluetooth on in Settings, Bluetooth & devices",
    "linux": "switch it on: bluetoothctl power on (and rfkill unblock bluetooth)",
}
_NONE = {
    "linux": "plug in a Bluetooth adapter and see that the service runs: systemctl status bluetooth",
}
_BUSY = {
    "linux": (
        "another program, or another imufeedback, is using the adapter: close it; if it stays, bluetoothctl "
        "disconnect, or "
        "unplug the adapter for a moment"
    ),
}
BUSY_ANYWHERE = (
    "close other programs and phones that use the sensor; switch the sensor off and on, or re-plug the adapter"
)
_WORDS: tuple[tuple[tuple[str, ...], str], ...] = (
    (("inprogress", "in progress", "already connected", "busy", "le-connection-abort"), "busy"),
    (("notready", "not ready", "powered off", "turned off", "poweredoff"), "off"),
    (("notauthorized", "not authorized", "accessdenied", "access denied", "permission"), "denied"),
    (("no such file or directory", "serviceunknown", "no bluetooth adapter", "no powered"), "none"),
    (("windows gui", "sta", "apartment"), "apartment"),
)
APARTMENT = (
    "another package has set this thread up for windows: start imufeedback by itself, and report which package "
    "it was if "
    "that helps"
)
ELSE = "switch Bluetooth on, and allow this program to use it"


def advice(error: BaseException, platform: str = sys.platform) -> str:
    """What to try, in words for this system, after an error from below."""
    kind = _kind(error)
    match kind:
        case "denied":
            return _PERMISSION.get(platform, "allow this program to use Bluetooth in the system's settings")
        case "off":
            return _OFF.get(platform, "switch Bluetooth on")
        case "none":
            return _NONE.get(platform, "this computer has no Bluetooth that can be used: plug in an adapter")
        case "busy":
            return _BUSY.get(platform, BUSY_ANYWHERE)
        case "apartment":
            return APARTMENT
    return ELSE


def is_about_the_adapter(error: BaseException) -> bool:
    """Whether the whole radio is concerned, not one sensor: trying another sensor cannot help."""
    return _kind(error) in ("denied", "off", "none", "apartment")


def _kind(error: BaseException) -> str:
    if isinstance(error, BleakBluetoothNotAvailableError):
        if error.reason in _DENIED:
            return "denied"
        return "off" if error.reason is _Why.POWERED_OFF else "none"
    text = str(error).lower()
    for words, kind in _WORDS:
        if any(_has(text, word) for word in words):
            return kind
    return ""


def _has(text: str, word: str) -> bool:
    return f" {word} " in f" {text} ".replace(".", " ").replace(",", " ") if len(word) <= 4 else word in text
