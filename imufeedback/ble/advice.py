"""What a person can do when Bluetooth refuses, by system and by what it said.

Only Linux has been run; the words for Windows and macOS follow bleak's errors and the systems' own names, and their
tests use made-up errors.
"""

from __future__ import annotations

import re
import sys

from bleak.exc import (
    BleakBluetoothNotAvailableError,
    BleakBluetoothNotAvailableReason,
    BleakCharacteristicNotFoundError,
    BleakDBusError,
    BleakDeviceNotFoundError,
    BleakGATTProtocolError,
)

from imufeedback.ble import profile

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
NOT_HEARD = "switch it on, and bring it close"
FORGOTTEN = {
    "linux": "search again; if it stays, bluetoothctl remove ADDRESS makes the system find it anew",
}
_WORDS: tuple[tuple[tuple[str, ...], str], ...] = (
    (("serviceunknown", "namehasnoowner", "noreply", "name has no owner", "not activatable", "spawn."), "stopped"),
    (("unknownobject", "doesnotexist", "does not exist"), "forgotten"),
    (("inprogress", "in progress", "already connected", "busy", "le-connection-abort"), "busy"),
    (("notready", "not ready", "powered off", "turned off", "poweredoff"), "off"),
    (("notauthorized", "not authorized", "accessdenied", "access denied", "permission"), "denied"),
    (("no such file or directory", "no bluetooth adapter", "no powered"), "none"),
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
        case "none" | "stopped":
            return _NONE.get(platform, "this computer has no Bluetooth that can be used: plug in an adapter")
        case "busy":
            return _BUSY.get(platform, BUSY_ANYWHERE)
        case "apartment":
            return APARTMENT
        case "forgotten":
            return FORGOTTEN.get(platform, "search again")
    return ELSE


def is_about_the_adapter(error: BaseException) -> bool:
    """Whether the whole radio is concerned, not one sensor: trying another sensor cannot help."""
    return _kind(error) in ("denied", "off", "none", "stopped", "apartment")


def is_forgotten(error: BaseException) -> bool:
    """Whether the system does not know the sensor under this address any more."""
    return _kind(error) == "forgotten"


_PLAIN = {
    "denied": "Bluetooth may not be used",
    "off": "Bluetooth is switched off",
    "none": "there is no Bluetooth adapter",
    "stopped": "the system's Bluetooth service has stopped",
    "busy": "the adapter or the sensor is busy",
    "forgotten": "the system does not know the sensor any more",
}
_CAUSES = (
    (("not connected", "notconnected", "disconnected", "broken pipe", "connection reset"), "the link broke"),
    (("abort", "host is down", "refused", "page timeout", "failed to be established"), "it did not answer"),
    (("timeout", "timed out"), "no answer in time"),
    (("authentication", "authenticationfailed", "encryption"), "it asks to be paired, which the profile does not need"),
    (("not supported", "notsupported"), "the system cannot do that"),
    (("failed",), "the system could not do it"),
)
_NAMES = re.compile(r"\[?\b(?:org|com)\.[\w.]+\]?|\bBleak\w+|/org/\S+|\bdev(?:_[0-9A-F]{2}){6}\b")
"""Names of the layers below that mean nothing to a person."""
_GATT = {
    profile.UNKNOWN_COMMAND: "it does not know the command",
    profile.BAD_VALUE: "it does not take the value",
}


def words(error: BaseException) -> str:
    """What happened, in plain words: no names of the systems below reach a screen."""
    if isinstance(error, BleakGATTProtocolError):
        code = int(error.args[0])
        return f"the sensor refused ({_GATT.get(code, _text_of(error))}; GATT error 0x{code:02X})"
    if isinstance(error, BleakCharacteristicNotFoundError):
        return f"it has no characteristic {error.char_specifier}"
    if plain := _PLAIN.get(_kind(error)):
        return plain
    if isinstance(error, BleakDBusError):
        text = f"{error.dbus_error} {error.dbus_error_details or ''}".lower()
        found = next((plain for marks, plain in _CAUSES if any(one in text for one in marks)), "")
        return found or _text_of(error) or "the system could not do it"
    return _text_of(error) or _OTHER.get(type(error), "the radio failed, and said no reason")


_OTHER: dict[type[BaseException], str] = {
    TimeoutError: "no answer in time",
    EOFError: "the system's Bluetooth service has stopped",
}


def _text_of(error: BaseException) -> str:
    text = str(error)
    if isinstance(error, BleakGATTProtocolError):
        text = str(error.args[1]).removeprefix("GATT Protocol Error: ").lower()
    elif isinstance(error, OSError) and error.strerror:
        text = error.strerror
    return " ".join(_NAMES.sub("", text).split()).strip(" :,-")


def _kind(error: BaseException) -> str:
    if isinstance(error, BleakBluetoothNotAvailableError):
        if error.reason in _DENIED:
            return "denied"
        return "off" if error.reason is _Why.POWERED_OFF else "none"
    if isinstance(error, BleakDeviceNotFoundError):
        return "forgotten"
    if isinstance(error, EOFError):
        return "stopped"  # the connection to the system's bus was closed
    text = str(error).lower()
    for marks, kind in _WORDS:
        if any(_has(text, mark) for mark in marks):
            return kind
    if "device '" in text and "not found" in text:
        return "forgotten"
    return ""


def _has(text: str, word: str) -> bool:
    return f" {word} " in f" {text} ".replace(".", " ").replace(",", " ") if len(word) <= 4 else word in text
