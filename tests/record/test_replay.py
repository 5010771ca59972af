"""Reading: whole, torn, damaged, foreign. Never an item that was not written, never another exception."""

from __future__ import annotations

import os
import struct
import tracemalloc
import zlib
from pathlib import Path

import numpy as np
import pytest
from mcap.writer import CompressionType, Writer

from imufeedback.errors import BadFile, NoRecording
from imufeedback.record import codec
from imufeedback.record.journal import JournalWriter
from imufeedback.record.replay import read_items
from imufeedback.records import Command, Item, LinkNote, LinkState, RawPacket, Tick, same

ITEMS: list[Item] = [
    Command(0, "begin", {"hand": "right"}),
    *(RawPacket(f"SYN-{k % 3}", k * 1000, bytes([k] * 20)) for k in range(4)),
    LinkNote("SYN-1", 7000, LinkState.LOST, "gone"),
    Tick(8000),
    Command(9000, "end"),
]


@pytest.fixture(name="whole", scope="module")
def make_whole(tmp_path_factory) -> bytes:
    with JournalWriter(tmp_path_factory.mktemp("whole") / "a.mcap", title="Probe") as journal:
        for item in ITEMS:
            journal.write(item)
    return journal.path.read_bytes()


def starts(data: bytes) -> list[int]:
    """Offsets of the message records, found by walking over the frames."""
    out, at = [], 8
    while at < len(data) - 8:
        opcode, length = struct.unpack_from("<BQ", data, at)
        if opcode == 5:
            out.append(at)
        at += 9 + length
    return out


def read(path: Path, data: bytes) -> tuple[list[Item], list[str], bool]:
    path.write_bytes(data)
    recording = read_items(path)
    items = list(recording)
    return items, recording.notes, recording.complete


def is_subsequence(part: list[Item], whole: list[Item]) -> bool:
    rest = iter(whole)
    return all(any(same(item, other) for other in rest) for item in part)


def test_whole(whole, tmp_path):
    assert read(tmp_path / "a.mcap", whole) == (ITEMS, [], True)


def test_a_recording_can_be_read_twice(whole, tmp_path):
    (tmp_path / "a.mcap").write_bytes(whole[:-1])
    recording = read_items(tmp_path / "a.mcap")
    assert list(recording) == list(recording) == ITEMS
    assert len(recording.notes) == 1, "notes are those of one reading"


def test_h98_h102_cut_at_every_byte(whole, tmp_path):
    """Exactly the messages that are whole come back, with a note; or, before there is anything, one line."""
    path = tmp_path / "a.mcap"
    ends = [*(at for at in starts(whole)[1:]), starts(whole)[-1] + 9 + len(last_message(whole))]
    refused: dict[int, str] = {}
    path.write_bytes(whole)
    for length in reversed(range(len(whole))):
        os.truncate(path, length)
        expected = ITEMS[: sum(end <= length for end in ends)]
        try:
            recording = read_items(path)
            items, notes, complete = list(recording), recording.notes, recording.complete
        except NoRecording as error:
            refused[length] = str(error)
            assert not expected, f"cut at {length}"
            continue
        assert items == expected, f"cut at {length}"
        assert notes, f"cut at {length}"
        assert not complete
    assert all(len(line.splitlines()) == 1 for line in refused.values())
    assert max(refused) < starts(whole)[0]


def last_message(data: bytes) -> bytes:
    at = starts(data)[-1]
    (length,) = struct.unpack_from("<Q", data, at + 1)
    return data[at + 9 : at + 9 + length]


def test_a_torn_tail_costs_one_message_and_says_where(whole, tmp_path):
    last = starts(whole)[-1]
    items, notes, _ = read(tmp_path / "a.mcap", whole[: last + 20])
    assert items == ITEMS[:-1]
    assert notes == [f"the recording breaks off at byte {last}; all before that is there"]


def test_bits_flipped_in_every_byte(whole, tmp_path):
    """No flip gives an item that was not written; a flip that loses items says so; a flip costs at most one item.

    Every bit of the second message, one bit of every other byte.
    """
    path = tmp_path / "a.mcap"
    path.write_bytes(whole)
    first, second, third, *_ = starts(whole)
    for at in range(len(whole)):
        for bit in range(8) if second <= at < third else ((at * 3) % 8,):
            patch(path, at, whole[at] ^ 1 << bit)
            try:
                recording = read_items(path)
                items, notes, complete = list(recording), recording.notes, recording.complete
            except BadFile as error:
                pytest.fail(f"bit {bit} of byte {at}: {error}")
            assert is_subsequence(items, ITEMS), f"bit {bit} of byte {at}"
            if len(items) < len(ITEMS):
                assert notes, f"bit {bit} of byte {at}"
                assert not complete
            if at >= first:
                assert len(items) >= len(ITEMS) - 1, f"bit {bit} of byte {at}"
        patch(path, at, whole[at])
    assert path.read_bytes() == whole


def patch(path: Path, at: int, value: int) -> None:
    """Change one byte in place: much faster than writing the file anew."""
    with open(path, "r+b") as file:
        file.seek(at)
        file.write(bytes([value]))


def test_damage_in_the_middle_is_passed_over(whole, tmp_path):
    third = starts(whole)[3]
    data = bytearray(whole)
    data[third : third + 30] = bytes(30)
    items, notes, complete = read(tmp_path / "a.mcap", bytes(data))
    assert items == ITEMS[:3] + ITEMS[4:]
    assert notes == [f"damaged at byte {third}; passed over", "1 item(s) are missing"]
    assert not complete


def test_damaged_facts_are_not_shown_as_true(whole, tmp_path):
    at = whole.index(b"Probe")
    (tmp_path / "a.mcap").write_bytes(whole.replace(b"Probe", b"Prone", 1))
    recording = read_items(tmp_path / "a.mcap")
    assert at < starts(whole)[0]
    assert recording.title == ""
    assert recording.started is None
    assert list(recording) == ITEMS
    assert any("facts about the session" in note for note in recording.notes)


def test_zeros_at_the_end(whole, tmp_path):
    """What some file systems leave after a power loss."""
    cut = starts(whole)[5]
    items, notes, _ = read(tmp_path / "a.mcap", whole[:cut] + bytes(5000))
    assert items == ITEMS[:5]
    assert len(notes) == 2


def test_a_stretch_that_stands_there_twice_is_used_once(whole, tmp_path):
    second, fourth = starts(whole)[1], starts(whole)[3]
    items, notes, complete = read(tmp_path / "a.mcap", whole[:fourth] + whole[second:fourth] + whole[fourth:])
    assert items == ITEMS
    assert any("twice" in note for note in notes)
    assert not complete


def test_h102_a_length_of_a_terabyte_asks_for_no_memory(whole, tmp_path):
    at = starts(whole)[4]
    data = bytearray(whole)
    data[at + 1 : at + 9] = (1 << 40).to_bytes(8, "little")
    tracemalloc.start()
    try:
        items, notes, _ = read(tmp_path / "a.mcap", bytes(data))
        _, peak = tracemalloc.get_traced_memory()
    finally:
        tracemalloc.stop()
    assert items == ITEMS[:4] + ITEMS[5:]
    assert notes
    assert peak < 20e6


def test_h118_memory_does_not_grow_with_the_file(tmp_path):
    with JournalWriter(tmp_path / "a.mcap") as journal:
        for k in range(20_000):
            journal.write(RawPacket("a", k, bytes(200)))
    tracemalloc.start()
    try:
        count = sum(1 for _ in read_items(journal.path))
        _, peak = tracemalloc.get_traced_memory()
    finally:
        tracemalloc.stop()
    assert count == 20_000
    assert journal.path.stat().st_size > 4e6
    assert peak < 3e6


def test_a_hostile_file_ends(whole, tmp_path):
    """Thousands of places that look like messages and are none."""
    items, notes, _ = read(tmp_path / "a.mcap", whole[: starts(whole)[2]] + b"\x05\x00\x00\x08\0\0\0\0\0" * 20_000)
    assert items == ITEMS[:2]
    assert notes


def test_random_bytes_behind_the_magic(whole, tmp_path):
    rng = np.random.default_rng(5)
    for _ in range(50):
        data = whole[: starts(whole)[1]] + rng.bytes(3000)
        items, notes, complete = read(tmp_path / "a.mcap", data)
        assert items == ITEMS[:1]
        assert notes
        assert not complete


@pytest.mark.parametrize(
    ("data", "words"),
    [
        (b"", "empty"),
        (b"time_s,gyr_x\n1,2\n", "no recording"),
        (b"\x00" * 100_000, "no recording"),
        (b"\x89MCAP0\r\n", "nothing readable"),
        (b"\x89MC", "no recording"),
    ],
)
def test_no_recording(tmp_path, data, words):
    path = tmp_path / "a.mcap"
    path.write_bytes(data)
    with pytest.raises(NoRecording, match=words) as caught:
        read_items(path)
    line = str(caught.value)
    assert "\n" not in line
    assert "a.mcap" in line
    assert "–" in line, "says what to try"


def test_no_file_and_a_folder(tmp_path):
    with pytest.raises(NoRecording, match="no such file"):
        read_items(tmp_path / "none.mcap")
    with pytest.raises(NoRecording, match="folder"):
        read_items(tmp_path)
    with pytest.raises(NoRecording, match="no such file"):
        read_items("a\0b")


@pytest.mark.parametrize("chunked", [True, False])
def test_an_mcap_file_of_something_else(tmp_path, chunked):
    path = tmp_path / "other.mcap"
    with open(path, "wb") as file:
        writer = Writer(file, use_chunking=chunked, compression=CompressionType.NONE)
        writer.start("weather")
        channel = writer.register_channel("/t", "json", writer.register_schema("t", "jsonschema", b"{}"))
        for k in range(100):
            writer.add_message(channel, k, b'{"t": 1}', k)
        writer.finish()
    with pytest.raises(NoRecording, match=r"something else.*weather"):
        read_items(path)


def own_file(path: Path, version: str, channels: int, messages: list[tuple[int, bytes]]) -> Path:
    """A file written with the mcap library and the codec alone."""
    pairs = {"format_version": version, "title": "T", "extra": "kept"}
    with open(path, "wb") as file:
        writer = Writer(file, use_chunking=False)
        writer.start(codec.PROFILE)
        writer.add_metadata(codec.METADATA_NAME, {**pairs, "crc32": codec.metadata_crc(pairs)})
        for k in range(channels):
            writer.register_channel(f"/{k}", "x", writer.register_schema(f"{k}", "x", b"x"))
        for sequence, (channel, body) in enumerate(messages):
            writer.add_message(channel, 0, codec.seal(channel, sequence, 0, body), 0, sequence)
        writer.finish()
    return path


def test_h117_a_newer_format_is_refused_politely(tmp_path):
    with pytest.raises(NoRecording, match=r"format 999.*reads up to 1.*update"):
        read_items(own_file(tmp_path / "a.mcap", "999", 4, []))
    with pytest.raises(NoRecording, match="format"):
        read_items(own_file(tmp_path / "b.mcap", "new", 4, []))


def test_h117_an_unknown_channel_or_state_is_passed_over_with_a_note(tmp_path):
    note = codec.encode(LinkNote("a", 1, LinkState.LOST))[1].replace(b"lost", b"flew")
    path = own_file(tmp_path / "a.mcap", "1", 5, [(4, codec.encode(Tick(7))[1]), (5, b"new kind"), (2, note)])
    recording = read_items(path)
    assert list(recording) == [Tick(7)]
    assert recording.notes == ["2 item(s) of a newer version were passed over"]
    assert recording.details["extra"] == "kept"


def test_h117_a_link_note_with_a_field_fewer_opens(tmp_path):
    body = b"\x83\xa6sensor\xa1a\xa7host_ns\x07\xa5state\xa4lost"
    recording = read_items(own_file(tmp_path / "a.mcap", "1", 4, [(2, body)]))
    assert list(recording) == [LinkNote("a", 7, LinkState.LOST)]


def test_metadata_crc_by_hand():
    """zlib's CRC-32 of the example, computed over the joined text: the published check value of CRC-32 is cbf43926."""
    assert zlib.crc32(b"123456789") == 0xCBF43926
    joined = bytes.fromhex("61 00 31 00 62 00 32 00")
    assert codec.metadata_crc({"b": "2", "a": "1", "crc32": "x"}) == f"{zlib.crc32(joined):08x}"
