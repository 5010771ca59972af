"""The system's sound devices, through miniaudio."""

from __future__ import annotations

import ctypes
import sys
from collections.abc import Generator
from typing import Any, Protocol

import miniaudio

from imufeedback.audio.outputs import Output
from imufeedback.errors import SoundError

RATE_HZ = 48_000
BUFFER_MS = 10
"""Device period. Measured with PulseAudio: 15 ms from trigger to speaker."""
APP_NAME = "imufeedback"


class Device(Protocol):
    """What is needed of miniaudio's `PlaybackDevice`."""

    backend: str

    def start(self, callback_generator: Generator[memoryview, int, None]) -> None: ...

    def close(self) -> None: ...


def open_device() -> Device:
    """The default output, mono float32. Raises SoundError when there is none."""
    hush_alsa()
    try:
        device = miniaudio.PlaybackDevice(
            output_format=miniaudio.SampleFormat.FLOAT32,
            nchannels=1,
            sample_rate=RATE_HZ,
            buffersize_msec=BUFFER_MS,
            app_name=APP_NAME,
        )
    except miniaudio.MiniaudioError as error:
        what = f"no sound device ({words(error)})"
        raise SoundError(what, where="sound", hint="connect a speaker") from None
    if device.backend.casefold() == "null":  # what the library falls back to when nothing else is there
        device.close()
        raise SoundError("no sound device", where="sound", hint="connect a speaker")
    opened: Device = device
    return opened


class Lister:
    """Asks the system which outputs and inputs there are, again and again, through one connection."""

    def __init__(self) -> None:
        self._devices: Any = None

    def outputs(self) -> list[tuple[Output, Any]]:
        """Every output, and what miniaudio opens it by; empty when the system does not answer."""
        return self._list("playback")

    def inputs(self) -> list[tuple[Output, Any]]:
        """The same for inputs."""
        return self._list("capture")

    def default_output(self) -> Output | None:
        """The output that sound goes to when nobody chooses; None when the system does not tell."""
        return next((one for one, _ in self.outputs() if one.default), None)

    def _list(self, what: str) -> list[tuple[Output, Any]]:
        hush_alsa()
        try:
            if self._devices is None:
                self._devices = miniaudio.Devices()
            if self._devices.backend.casefold() == "null":
                self._devices = None
                return []
            return _listed(self._devices, what)
        except miniaudio.MiniaudioError:
            self._devices = None  # the sound server went away: connect anew next time
            return []


def _listed(devices: Any, what: str) -> list[tuple[Output, Any]]:
    ffi, lib = miniaudio.ffi, miniaudio.lib
    infos, count = ffi.new("ma_device_info**"), ffi.new("ma_uint32*")
    empty = (ffi.NULL, ffi.NULL)
    wanted = (infos, count, *empty) if what == "playback" else (*empty, infos, count)
    result = lib.ma_context_get_devices(devices._context, *wanted)
    if result != lib.MA_SUCCESS:
        raise miniaudio.MiniaudioError("cannot list the devices", result)
    found = []
    for k in range(count[0]):
        info = infos[0][k]
        key = ffi.new("ma_device_id *", info.id)
        raw = bytes(ffi.buffer(key)).rstrip(b"\0")
        found.append((Output(ffi.string(info.name).decode("utf-8", "replace"), raw, bool(info.isDefault)), key))
    return found


_AlsaHandler = ctypes.CFUNCTYPE(None, ctypes.c_char_p, ctypes.c_int, ctypes.c_char_p, ctypes.c_int, ctypes.c_char_p)


def _say_nothing(file: bytes, line: int, function: bytes, code: int, text: bytes) -> None:
    """Takes ALSA's messages; what they lead to is told in one line by `open_device`."""


_QUIET = _AlsaHandler(_say_nothing)  # ALSA keeps the pointer, so it must live as long as the process


def hush_alsa() -> None:
    """ALSA prints dozens of lines to stderr when there is no card; keep the terminal for what a person can use."""
    if not sys.platform.startswith("linux"):
        return
    try:
        ctypes.CDLL("libasound.so.2").snd_lib_error_set_handler(_QUIET)
    except (OSError, AttributeError):
        return  # no ALSA here, so nothing to keep quiet


def words(error: miniaudio.MiniaudioError) -> str:
    """The library's message and number as words."""
    first, *rest = error.args[0] if error.args and isinstance(error.args[0], tuple) else error.args
    return f"{first}, code {rest[0]}" if rest else str(first)
