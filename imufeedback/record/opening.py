"""What a file says of itself before its items are read: whose it is, when it began, who wrote it."""

from __future__ import annotations

from dataclasses import dataclass, field

from mcap.opcode import Opcode

from imufeedback.record import codec, scan


def by_another_tool(head: bytes) -> bool:
    """Whether a chunk comes before any message, or another program gives its name as the writer's."""
    at = len(scan.MAGIC)
    while at + 9 <= len(head) and head.startswith(scan.MAGIC):
        opcode, length = head[at], int.from_bytes(head[at + 1 : at + 9], "little")
        if opcode in (Opcode.MESSAGE, Opcode.CHUNK):
            return opcode == Opcode.CHUNK
        at += 9
        header = scan.header(head[at : at + length]) if opcode == Opcode.HEADER else None
        if header is not None and not header.library.startswith(codec.PROFILE):
            return True
        at += length
    return False


@dataclass(slots=True)
class Opening:
    """What has to be known of a file before its items are read."""

    profile: str | None = None
    details: dict[str, str] = field(default_factory=dict)
    library: str = ""
    """The program that wrote the file."""
    messages: int = 0
    """Of those that were looked at, how many are ours."""
    chunked: bool = False
    foreign: bool = False
    """The first chunk with messages holds none of ours."""
    ours_once: bool = False
    """It has channels of a recording."""
    unnumbered: bool = False
    """It was a recording, and its messages have lost their numbers, without which their checksums do not fit."""
    notes: list[str] = field(default_factory=list)

    @property
    def rewritten(self) -> bool:
        return self.chunked or bool(self.profile is not None and not self.library.startswith(codec.PROFILE))

    @staticmethod
    def read(scanner: scan.Scanner) -> Opening:
        out = Opening()
        for opcode, content in scanner:
            if opcode == Opcode.HEADER and (header := scan.header(content)) is not None:
                out.profile, out.library = header.profile, header.library
            elif opcode == Opcode.METADATA:
                out._take(content)
            elif opcode == Opcode.MESSAGE:
                out.messages += 1
            elif opcode == Opcode.CHANNEL and (channel := scan.channel(content)) is not None:
                out.ours_once |= channel.message_encoding == codec.ENCODING
            if out._seen_enough(scanner):
                break
        out.chunked = scanner.chunks > 0
        out.foreign = scanner.foreign > 0 and not scanner.own
        out.unnumbered = (
            out.rewritten and out.ours_once and out.messages < 2 and bool(scanner.foreign + len(scanner.damaged_at))
        )
        if not out.details:
            out.notes.append("the facts about the session (start, title, version) are damaged or missing")
        return out

    def _seen_enough(self, scanner: scan.Scanner) -> bool:
        if not (scanner.chunks or self.rewritten):
            return self.messages > 0
        if scanner.chunks > 1 and scanner.foreign > scanner.own:
            return True
        return self.messages > 1 and bool(self.details)  # of unnumbered ones the first fits: its number is 0

    def _take(self, content: bytes) -> None:
        found = scan.metadata(content)
        if found is None or found.name != codec.METADATA_NAME:
            return
        if found.metadata.get("crc32") == codec.metadata_crc(found.metadata):
            self.details = {key: value for key, value in found.metadata.items() if key != "crc32"}
