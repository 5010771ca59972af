"""What is inside a chunk: this program writes none, other MCAP tools pack a recording's records into them."""

from __future__ import annotations

import struct
import zlib
from collections.abc import Iterator
from io import BytesIO

from mcap.data_stream import ReadDataStream
from mcap.exceptions import McapError
from mcap.opcode import Opcode
from mcap.records import Chunk

CHUNK_MAX = 1 << 25
"""Longest chunk in bytes, packed and unpacked; tools make them of 1 to 8 MiB. Chosen, for the sake of memory."""
_INSIDE = (Opcode.SCHEMA, Opcode.CHANNEL, Opcode.MESSAGE)
_SHORTEST = 14
"""Bytes of a schema without name and text, the shortest record that says anything."""
_FRAME = struct.Struct("<BQ")


class DamagedChunkError(ValueError):
    """It cannot be unpacked, or what comes out is not what its checksum says."""


def unpacked(content: bytes) -> Iterator[tuple[int, bytes]]:
    """Opcodes and contents of the schemas, channels and messages in a chunk record's content. Raises
    DamagedChunkError, for what does not even begin well before anything is handed out."""
    try:
        chunk: Chunk = Chunk.read(ReadDataStream(BytesIO(content)))
        if chunk.uncompressed_size > CHUNK_MAX:
            raise DamagedChunkError("its size cannot be true")
        data = _data(chunk)
    except (struct.error, ValueError, RuntimeError, EOFError, MemoryError, McapError) as error:
        raise DamagedChunkError(str(error)) from None
    if len(data) != chunk.uncompressed_size or chunk.uncompressed_crc not in (0, zlib.crc32(data)):
        raise DamagedChunkError("its checksum does not fit")
    return _frames(data)


def _data(chunk: Chunk) -> bytes:
    """At most `CHUNK_MAX` bytes, whatever the packed ones claim."""
    if chunk.compression == "zstd":
        import zstandard

        try:
            packer = zstandard.ZstdDecompressor(max_window_size=CHUNK_MAX)
            return packer.stream_reader(BytesIO(chunk.data)).read(chunk.uncompressed_size + 1)
        except zstandard.ZstdError as error:
            raise DamagedChunkError(str(error)) from None
    if chunk.compression == "lz4":
        from lz4.frame import LZ4FrameDecompressor  # type: ignore[import-untyped]

        out: bytes = LZ4FrameDecompressor().decompress(chunk.data, max_length=chunk.uncompressed_size + 1)
        return out
    if chunk.compression:
        raise DamagedChunkError(f"packed with {chunk.compression!r}, which is not known")
    return bytes(chunk.data)


def _frames(data: bytes) -> Iterator[tuple[int, bytes]]:
    at = 0
    while at + _FRAME.size <= len(data):
        opcode, length = _FRAME.unpack_from(data, at)
        at += _FRAME.size
        if length > len(data) - at:
            raise DamagedChunkError("a record in it goes beyond its end")
        if opcode in _INSIDE and length >= _SHORTEST:
            yield opcode, data[at : at + length]
        at += length
