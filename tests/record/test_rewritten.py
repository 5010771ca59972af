"""Recordings that another MCAP tool has written anew, and items that stand out of their order: nothing is lost."""

from __future__ import annotations

import random
import struct
from pathlib import Path

import pytest
from mcap.reader import make_reader
from mcap.writer import CompressionType, Writer

from imufeedback.errors import NoRecording
from imufeedback.record import codec, scan
from imufeedback.record.health import examine
from imufeedback.record.journal import JournalWriter
from imufeedback.record.recover import recover
from imufeedback.record.replay import read_items
from imufeedback.record.window import open_window
from imufeedback.records import Command, Item, LinkNote, LinkState, RawPacket, Tick

MS = 1_000_000
ITEMS: list[Item] = [
    Command(0, "begin", {"hand": "right"}),
    LinkNote("A", 3 * MS, LinkState.STREAMING),
    *(RawPacket("AB"[k % 2], (20 * k - 7 * (k % 3)) * MS, bytes([k % 256]) * 40) for k in range(400)),
    Tick(7_990 * MS),
]
"""Times go back by a few milliseconds now and then, as those of several threads do."""


@pytest.fixture(name="original", scope="module")
def make_original(tmp_path_factory) -> Path:
    return journal(tmp_path_factory.mktemp("original") / "a.mcap", ITEMS)


def journal(path: Path, items: list[Item]) -> Path:
    with JournalWriter(path, title="Probe") as out:
        for item in items:
            out.write(item)
    return out.path


def rewritten(
    source: Path,
    path: Path,
    compression: CompressionType,
    *,
    chunked: bool = True,
    log_order: bool = True,
    numbers: bool = True,
    profile: str = codec.PROFILE,
    facts: bool = True,
) -> Path:
    """What a tool makes of a recording that knows nothing of it: channels in the order of meeting, messages by time."""
    with open(source, "rb") as file, open(path, "wb") as out:
        reader = make_reader(file)
        writer = Writer(out, chunk_size=4096, compression=compression, use_chunking=chunked)
        writer.start(profile, "some tool 1.0")
        known: dict[int, int] = {}
        for schema, channel, message in reader.iter_messages(log_time_order=log_order):
            if channel.id not in known:
                assert schema is not None
                made = writer.register_schema(schema.name, schema.encoding, schema.data)
                known[channel.id] = writer.register_channel(channel.topic, channel.message_encoding, made)
            number = message.sequence if numbers else 0
            writer.add_message(known[channel.id], message.log_time, message.data, message.publish_time, number)
        for one in reader.iter_metadata() if facts else ():
            writer.add_metadata(one.name, one.metadata)
        writer.finish()
    return path


@pytest.mark.parametrize("compression", list(CompressionType))
@pytest.mark.parametrize("profile", [codec.PROFILE, ""])
def test_chunks_are_read_whole_and_told(original, tmp_path, compression, profile):
    path = rewritten(original, tmp_path / "b.mcap", compression, profile=profile)
    with open(path, "rb") as file:
        summary = make_reader(file).get_summary()
        assert summary is not None
        assert summary.statistics.chunk_count > 5
    recording = read_items(path)
    assert list(recording) == ITEMS
    assert recording.complete
    assert recording.title == "Probe"
    assert "chunks" in recording.notes[0]
    assert "out of their order" in recording.notes[1]
    window = open_window(path)
    assert window.begin == ITEMS[0]
    assert window.duration_s == pytest.approx(7.99)
    assert list(window.items(0, 100)) == ITEMS


def test_other_numbers_of_channels_without_chunks(original, tmp_path):
    path = rewritten(original, tmp_path / "b.mcap", CompressionType.NONE, chunked=False)
    recording = read_items(path)
    assert list(recording) == ITEMS
    assert recording.complete
    assert list(open_window(path).items(0, 100)) == ITEMS


@pytest.mark.parametrize("chunked", [True, False])
def test_a_plain_recording_can_be_made_of_it_again(original, tmp_path, chunked):
    path = rewritten(original, tmp_path / "b.mcap", CompressionType.ZSTD, chunked=chunked)
    copy = recover(path).copy
    assert copy.complete
    assert list(read_items(copy.path)) == ITEMS
    with open(copy.path, "rb") as file:
        topics = {channel.topic for _, channel, _ in make_reader(file).iter_messages(log_time_order=False)}
    assert topics == {"/command", "/link", "/packet", "/tick"}


@pytest.mark.parametrize("chunked", [True, False])
@pytest.mark.parametrize("profile", [codec.PROFILE, ""])
def test_without_numbers_it_is_named_in_one_line(original, tmp_path, chunked, profile):
    path = rewritten(
        original, tmp_path / "b.mcap", CompressionType.LZ4, chunked=chunked, numbers=False, profile=profile, facts=False
    )
    with pytest.raises(NoRecording, match=r"another tool .* left out the numbers") as caught:
        read_items(path)
    assert "\n" not in str(caught.value)


def test_without_the_facts_about_the_session_it_is_read_and_told(original, tmp_path):
    recording = read_items(rewritten(original, tmp_path / "b.mcap", CompressionType.ZSTD, facts=False))
    assert list(recording) == ITEMS
    assert not recording.complete
    assert any("facts about the session" in note for note in recording.notes)


def test_damaged_chunks_cost_what_is_in_them_and_no_traceback(original, tmp_path):
    data = rewritten(original, tmp_path / "b.mcap", CompressionType.ZSTD).read_bytes()
    rng = random.Random(5)
    path = tmp_path / "c.mcap"
    for _ in range(300):
        spoilt = bytearray(data)
        for _ in range(rng.choice((1, 3))):
            spoilt[rng.randrange(len(data))] ^= 1 << rng.randrange(8)
        path.write_bytes(spoilt[: rng.choice((len(data), rng.randrange(8, len(data))))])
        try:
            recording = read_items(path)
            items = list(recording)
        except NoRecording:
            continue
        at = iter(ITEMS)
        assert all(item in at for item in items), "in order, and none that was not written"
        assert items == ITEMS or recording.notes


def test_a_chunk_that_unpacks_to_gigabytes_asks_for_no_memory(original, tmp_path):
    import zstandard

    packed = zstandard.compress(bytes(1 << 27))
    head = struct.pack("<QQQI", 0, 0, 1 << 20, 0) + struct.pack("<I", 4) + b"zstd" + struct.pack("<Q", len(packed))
    chunk = head + packed
    data = original.read_bytes()
    first = data.index(struct.pack("<B", 5), data.index(b"/tick"))
    path = tmp_path / "b.mcap"
    path.write_bytes(data[:first] + struct.pack("<BQ", 6, len(chunk)) + chunk + data[first:])
    recording = read_items(path)
    assert list(recording) == ITEMS
    assert any("damaged" in note for note in recording.notes)


# ── the order of a file ──────────────────────────────────────────────────────────────────────────────────────────


def frames(path: Path) -> tuple[list[scan.Frame], list[scan.Frame], list[scan.Frame]]:
    """Records before the messages, the messages, and those behind them."""
    with open(path, "rb") as file:
        every = list(scan.Scanner(file))
    at = [k for k, one in enumerate(every) if one[0] == 5]
    return every[: at[0]], every[at[0] : at[-1] + 1], every[at[-1] + 1 :]


def put_together(path: Path, every: list[scan.Frame]) -> Path:
    body = b"".join(struct.pack("<BQ", opcode, len(content)) + content for opcode, content in every)
    path.write_bytes(scan.MAGIC + body + scan.MAGIC)
    return path


@pytest.mark.parametrize("how", ["shuffled", "reversed", "last first"])
def test_messages_out_of_their_order_are_all_read_in_order(original, tmp_path, how):
    before, messages, after = frames(original)
    if how == "shuffled":
        random.Random(1).shuffle(messages)
    elif how == "reversed":
        messages.reverse()
    else:
        messages.insert(0, messages.pop())
    path = put_together(tmp_path / "b.mcap", before + messages + after)
    recording = read_items(path)
    assert list(recording) == ITEMS
    assert recording.complete
    assert len(recording.notes) == 1
    assert "out of their order" in recording.notes[0]
    copy = recover(path).copy
    assert list(read_items(copy.path)) == ITEMS
    assert copy.notes == []


def test_lost_twice_and_out_of_order_at_once(original, tmp_path):
    before, messages, after = frames(original)
    lost = messages.pop(100)
    messages[10:20] = reversed(messages[10:20])
    path = put_together(tmp_path / "b.mcap", before + messages[:50] + messages[40:] + after)
    recording = read_items(path)
    assert list(recording) == [one for k, one in enumerate(ITEMS) if k != codec.number(lost[1])]
    told = " ".join(recording.notes)
    assert "1 item(s) are missing" in told
    assert "10 item(s) stand in the file twice" in told
    assert "9 item(s) stood out of their order" in told
    assert not recording.complete


def test_times_that_go_back_are_told_and_nothing_is_left_out(tmp_path):
    items = [ITEMS[0], *(RawPacket("A", 20 * k * MS, b"x") for k in (*range(500, 900), *range(500)))]
    path = journal(tmp_path / "a.mcap", items)
    recording = read_items(path)
    assert list(recording) == items
    assert recording.complete, "all of it is there"
    assert recording.notes == ["the time of 500 item(s) lies before that of earlier ones, by up to 18.0 s"]
    assert examine(path).items == len(items)


def test_times_that_differ_by_a_thread_are_not_told(original):
    recording = read_items(original)
    assert list(recording) == ITEMS
    assert recording.notes == []
