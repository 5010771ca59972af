"""Items to bytes and back, with the checksum: the byte tables of FORMAT.md."""

from __future__ import annotations

import struct
import zlib
from collections.abc import Mapping
from dataclasses import dataclass
from functools import lru_cache
from typing import Any

import msgspec
import numpy as np

from imufeedback.records import Command, Item, LinkNote, RawPacket, Tick

PROFILE = "imufeedback"
METADATA_NAME = "imufeedback"
ENCODING = "x-imufeedback"
"""Of schemas and messages, as MCAP names it."""
FORMAT_VERSION = 1
RECORD_MAX = 1 << 20
"""Longest record content in bytes, both ways. A notification has at most 512 bytes; a command may carry a layout."""

_TIME_MAX_NS = 1 << 63
_PREFIX = struct.Struct("<HIQQ")  # channel id, sequence, log time, publish time: the head of an MCAP message record
_CRC = struct.Struct("<I")
_TICK = struct.Struct("<q")
_PACKET = struct.Struct("<qH")
_NAME_AT = _PREFIX.size + _PACKET.size
"""Where a packet's sensor stands in its message."""
_WHOLE_CRC = 0x2144DF1C
"""What zlib's crc32 gives of anything with its own checksum behind it, little endian: that of no bytes and four zeros
(the "magic" remainder of RFC 1662, appendix C, complemented)."""


class UnknownItemError(ValueError):
    """A whole message that this version cannot read: a channel, a state or a field of a newer one."""


@dataclass(frozen=True, slots=True)
class ItemKind:
    """One kind of item: its channel in the file and the text of its schema."""

    channel: int
    topic: str
    item: type
    schema: str


KINDS = (
    ItemKind(1, "/packet", RawPacket, "host_ns i64, length u16, sensor id UTF-8 [length], payload [rest], crc32 u32"),
    ItemKind(
        2, "/link", LinkNote, "MessagePack map {sensor str, host_ns int, state str, detail str, facts map}, crc32 u32"
    ),
    ItemKind(3, "/command", Command, "MessagePack map {host_ns int, verb str, args map}, crc32 u32"),
    ItemKind(4, "/tick", Tick, "host_ns i64, crc32 u32"),
)
"""In the order in which they are registered in the file, which gives them their ids."""

SCHEMA_NOTE = (
    "; all little endian; crc32 (zlib) covers the MCAP message record from its channel id to the byte before the crc"
)


def _plain(value: Any) -> Any:
    if isinstance(value, np.generic):
        return value.item()
    if isinstance(value, np.ndarray):
        return value.tolist()
    raise TypeError(f"a {type(value).__name__} cannot be written to a recording")


_pack = msgspec.msgpack.Encoder(enc_hook=_plain).encode
_name = lru_cache(maxsize=256)(bytes.decode)
"""Of a sensor; the same few again and again."""
_link = msgspec.msgpack.Decoder(LinkNote).decode
_command = msgspec.msgpack.Decoder(Command).decode


def encode(item: Item) -> tuple[int, bytes]:
    """Channel and body of an item.

    Raises TypeError for arguments that are no JSON, ValueError for too long ones and a time that no clock shows,
    OverflowError and RecursionError for numbers and nestings beyond what the format holds.
    """
    if not -_TIME_MAX_NS <= getattr(item, "host_ns", 0) < _TIME_MAX_NS:
        raise ValueError(f"the time {item.host_ns:.3g} ns is beyond what a recording holds")
    match item:
        case RawPacket(sensor=sensor, host_ns=host_ns, payload=payload):
            name = sensor.encode()
            out = 1, _PACKET.pack(host_ns, len(name)) + name + payload
        case LinkNote():
            out = 2, _pack(item)
        case Command():
            out = 3, _pack(item)
        case Tick(host_ns=host_ns):
            out = 4, _TICK.pack(host_ns)
        case _:
            raise TypeError(f"a {type(item).__name__} is no input of the pipeline")
    if len(out[1]) + _PREFIX.size + _CRC.size > RECORD_MAX:
        raise ValueError(f"a {type(item).__name__} of {len(out[1])} bytes is too long for a recording")
    return out


def decode(content: bytes) -> Item:
    """Item of a message record's content that `fits`. Raises UnknownItemError for what this version cannot read."""
    channel = content[0] + (content[1] << 8)
    try:
        if channel == 1:
            host_ns, length = _PACKET.unpack_from(content, _PREFIX.size)
            start = _NAME_AT + length
            if start + _CRC.size > len(content):
                raise ValueError(f"no sensor's name of {length} bytes is in it")
            return RawPacket(_name(content[_NAME_AT:start]), host_ns, content[start : -_CRC.size])
        body = content[_PREFIX.size : -_CRC.size]
        if channel == 2:
            return _link(body)
        if channel == 3:
            return _command(body)
        if channel == 4:
            return Tick(*_TICK.unpack(body))
    except (struct.error, ValueError, OverflowError, RecursionError, msgspec.MsgspecError) as error:
        raise UnknownItemError(f"channel {channel}: {error}") from None
    raise UnknownItemError(f"channel {channel}")


def seal(channel: int, sequence: int, log_ns: int, body: bytes) -> bytes:
    """The message's data: the body with the checksum that covers the whole message record."""
    return body + _CRC.pack(zlib.crc32(body, zlib.crc32(_PREFIX.pack(channel, sequence, log_ns, log_ns))))


def fits(content: bytes) -> bool:
    """Whether a message record's content is one of ours, whole."""
    return len(content) >= _PREFIX.size + _CRC.size and zlib.crc32(content) == _WHOLE_CRC


def number(content: bytes) -> int:
    """Sequence number of a message record's content."""
    sequence: int = _PREFIX.unpack_from(content)[1]
    return sequence


def renumbered(content: bytes, channel: int) -> bytes:
    """A message record's content with another channel number."""
    return channel.to_bytes(2, "little") + content[2:]


def metadata_crc(pairs: Mapping[str, str]) -> str:
    """Checksum of the metadata, without its own key."""
    text = "".join(f"{key}\0{value}\0" for key, value in sorted(pairs.items()) if key != "crc32")
    return f"{zlib.crc32(text.encode()):08x}"
