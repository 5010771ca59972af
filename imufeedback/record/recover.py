"""What can be read of a damaged or unfinished recording, copied to a new file. The original is never touched.

Messages are copied as they are, with their own sequence numbers: a hole in the original is a hole in the copy, and a
reader of the copy is told of it. Channels of newer versions are kept.
"""

from __future__ import annotations

import os
import struct
from collections.abc import Iterator
from dataclasses import dataclass
from pathlib import Path
from typing import IO

from mcap.opcode import Opcode
from mcap.writer import LIBRARY_IDENTIFIER

from imufeedback import __version__
from imufeedback.errors import BadFile, CannotWrite
from imufeedback.record import codec, scan, unfinished
from imufeedback.record.files import cannot_write, create_new, shown, sync_folder
from imufeedback.record.health import Health, examine
from imufeedback.record.in_order import InOrder
from imufeedback.record.replay import Recording, read_items

SUFFIX = "-recovered"
_KEPT = frozenset((Opcode.SCHEMA, Opcode.CHANNEL))


@dataclass(frozen=True, slots=True)
class Recovered:
    """What came of it."""

    source: Health
    copy: Health


def recover(path: str | os.PathLike[str], out: str | os.PathLike[str] | None = None) -> Recovered:
    """Copy everything readable of a recording to a new file beside it, or to `out`; nothing is overwritten.

    The copy is read back and compared before this returns. Raises NoRecording or BadFile when there is nothing to
    copy, CannotWrite when the copy cannot be written.
    """
    before = examine(path)
    if not before.items:
        raise BadFile("not one whole item is in it", where=str(path), hint="there is nothing to recover")
    source = Path(path)
    target = source.with_name(f"{source.stem}{SUFFIX}{source.suffix}") if out is None else Path(out)
    number, made = create_new(target)
    unfinished.begin(made)
    try:
        with os.fdopen(number, "wb", buffering=1 << 20) as file:
            _copy(read_items(path), before, file)
            file.flush()
            os.fsync(file.fileno())
    except BaseException as error:
        unfinished.remove(made)
        if isinstance(error, OSError):
            raise cannot_write(made, error) from None
        raise
    unfinished.keep(made)
    sync_folder(made.parent)
    after = examine(made)
    if (after.items, after.first_ns, after.last_ns) != (before.items, before.first_ns, before.last_ns):
        raise CannotWrite(
            "the copy does not read like the original", where=str(made), hint="the disk may be failing: use another"
        )
    return Recovered(before, after)


def _copy(recording: Recording, before: Health, file: IO[bytes]) -> None:
    file.write(scan.MAGIC)
    file.write(_record(Opcode.HEADER, _text(codec.PROFILE) + _text(f"imufeedback {__version__}; {LIBRARY_IDENTIFIER}")))
    pairs = {
        "format_version": str(codec.FORMAT_VERSION),
        **recording.details,
        "recovered_from": shown(recording.path.name),
        "recovered_with": __version__,
        "recovery_notes": "\n".join(before.notes),
    }
    pairs["crc32"] = codec.metadata_crc(pairs)
    together = b"".join(_text(key) + _text(value) for key, value in pairs.items())
    file.write(_record(Opcode.METADATA, _text(codec.METADATA_NAME) + struct.pack("<I", len(together)) + together))
    for opcode, content in _frames(recording):
        file.write(_record(opcode, content))
    file.write(_record(Opcode.DATA_END, struct.pack("<I", 0)))
    file.write(_record(Opcode.FOOTER, struct.pack("<QQI", 0, 0, 0)) + scan.MAGIC)


def _frames(recording: Recording) -> Iterator[scan.Frame]:
    """Schemas, channels and messages in their order; those that stand there twice only once."""
    seen: set[scan.Frame] = set()
    if recording.rewritten:  # its channels have other numbers than its messages now
        yield from _channels()
    with open(recording.path, "rb") as file:
        for opcode, contents in InOrder(scan.Scanner(file)):
            frames = [(opcode, content) for content in contents]
            if opcode == Opcode.MESSAGE:
                yield from frames
            elif opcode in _KEPT and not recording.rewritten and seen.isdisjoint(frames):
                seen.update(frames)
                yield from frames


def _channels() -> Iterator[scan.Frame]:
    """What a journal has in front of its messages."""
    for kind in codec.KINDS:
        number = struct.pack("<H", kind.channel)
        text = f"{kind.schema}{codec.SCHEMA_NOTE}"
        yield Opcode.SCHEMA, number + _text(kind.item.__name__) + _text(codec.ENCODING) + _text(text)
        yield Opcode.CHANNEL, number + number + _text(kind.topic) + _text(codec.ENCODING) + struct.pack("<I", 0)


def _record(opcode: int, content: bytes) -> bytes:
    return struct.pack("<BQ", opcode, len(content)) + content


def _text(text: str) -> bytes:
    data = text.encode()
    return struct.pack("<I", len(data)) + data
