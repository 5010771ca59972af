"""A small film, written by hand: plain pictures, and sound when there is any."""

from __future__ import annotations

import struct
from pathlib import Path

import numpy as np
import numpy.typing as npt

WIDTH, HEIGHT, FPS = 32, 24, 25


def write_avi(path: Path, length_s: float, sound: npt.NDArray[np.float64] | None, rate_hz: int) -> str:
    """`sound` (N,) of one channel, or None for a film without any. Returns the path."""
    pictures = round(length_s * FPS)
    frame = bytes(3 * WIDTH * HEIGHT)
    streams, movie = [_video(pictures)], b""
    pcm = b"" if sound is None else (sound * 32767).astype("<i2").tobytes()
    if sound is not None:
        streams.append(_sound(len(sound), rate_hz))
    for number in range(pictures):
        movie += _chunk(b"00db", frame)
        if pcm:
            first, last = (2 * (one * rate_hz // FPS) for one in (number, number + 1))
            movie += _chunk(b"01wb", pcm[first:last])
    head = struct.pack("<14I", 1_000_000 // FPS, 0, 0, 0, pictures, 0, len(streams), 0, WIDTH, HEIGHT, 0, 0, 0, 0)
    body = _list(b"hdrl", _chunk(b"avih", head) + b"".join(streams)) + _list(b"movi", movie)
    path.write_bytes(_chunk(b"RIFF", b"AVI " + body))
    return str(path)


def _video(pictures: int) -> bytes:
    times = (0, 0, 0, 1, FPS, 0, pictures, 0, 0xFFFFFFFF, 0, 0, 0)
    kind = struct.pack("<4s4s12I", b"vids", b"DIB ", *times)
    shape = struct.pack("<IiiHHIIiiII", 40, WIDTH, HEIGHT, 1, 24, 0, 3 * WIDTH * HEIGHT, 0, 0, 0, 0)
    return _list(b"strl", _chunk(b"strh", kind) + _chunk(b"strf", shape))


def _sound(samples: int, rate_hz: int) -> bytes:
    times = (0, 0, 0, 1, rate_hz, 0, samples, 0, 0xFFFFFFFF, 2, 0, 0)
    kind = struct.pack("<4s4s12I", b"auds", bytes(4), *times)
    shape = struct.pack("<HHIIHH", 1, 1, rate_hz, 2 * rate_hz, 2, 16)
    return _list(b"strl", _chunk(b"strh", kind) + _chunk(b"strf", shape))


def _chunk(name: bytes, data: bytes) -> bytes:
    return name + struct.pack("<I", len(data)) + data + bytes(len(data) % 2)


def _list(name: bytes, data: bytes) -> bytes:
    return _chunk(b"LIST", name + data)
