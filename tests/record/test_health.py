"""Checking and recovering: words for what is there, and a copy that reads."""

from __future__ import annotations

import os
import struct
from dataclasses import replace
from pathlib import Path

import pytest
from mcap.reader import make_reader

from imufeedback.commands import Begin, recorded
from imufeedback.errors import BadFile, CannotWrite, NoRecording
from imufeedback.record import codec
from imufeedback.record.health import clock, examine
from imufeedback.record.journal import JournalWriter
from imufeedback.record.recover import recover
from imufeedback.record.replay import read_items
from imufeedback.record.window import open_window
from imufeedback.records import Item, LinkNote, LinkState, RawPacket, Segment, same
from imufeedback.settings import Player, Sensor, Settings

SETTINGS = Settings(
    sensors=(
        Sensor("A", Segment.PELVIS, "house"),
        Sensor("B", Segment.LEFT_THIGH, "house"),
        Sensor("C", Segment.RIGHT_THIGH, "house"),
    ),
    layouts={"house": ""},
    rule_set="",
    player=Player(name="Ida Probe"),
)
BEGIN = recorded(0, Begin.of(SETTINGS))


def record(path: Path, items: list[Item]) -> Path:
    with JournalWriter(path, title="Probe") as journal:
        for item in items:
            journal.write(item)
    return journal.path


def packets(sensor: str, until_s: int) -> list[RawPacket]:
    return [RawPacket(sensor, k * 100_000_000, bytes([k % 250] * 30)) for k in range(10 * until_s)]


def session(path: Path) -> Path:
    """A minute in which B stops after 6 s and C never sends."""
    items = sorted([*packets("A", 60), *packets("B", 6)], key=lambda item: item.host_ns)
    return record(path, [BEGIN, *items])


def test_h105_a_sensor_that_stops_is_told_with_its_coverage(tmp_path):
    health = examine(session(tmp_path / "a.mcap"))
    shares = [one.coverage(0, health.last_ns) for one in health.sensors.values()]
    assert shares == pytest.approx([1.0, 0.1, 0.0])
    text = "\n".join(health.words())
    assert "sensor A: 600 packets, in 100 % of the time" in text
    assert "sensor B: 60 packets, in 10 % of the time, the last 0 min 54 s before the end" in text
    assert "! sensor C: nothing came from it" in text
    assert "Ida Probe" in text
    assert "whole: 661 items over 1 min 00 s" in text


def test_a_silence_in_the_middle_is_told(tmp_path):
    quiet = [one for one in packets("A", 60) if not 10e9 < one.host_ns < 30e9]
    assert "silent for up to 20 s" in "\n".join(examine(record(tmp_path / "a.mcap", [BEGIN, *quiet])).words())


def test_a_recording_without_its_set_up_says_so(tmp_path):
    health = examine(record(tmp_path / "a.mcap", packets("A", 1)))
    assert not health.can_be_judged
    assert any("no angles" in line for line in health.words())


def test_what_is_no_recording_is_no_success(tmp_path):
    (tmp_path / "a.mcap").write_bytes(b"hello")
    with pytest.raises(NoRecording):
        examine(tmp_path / "a.mcap")


def test_durations_in_words():
    assert [clock(s) for s in (0, 59.4, 61, 3600 * 8)] == ["0 min 00 s", "0 min 59 s", "1 min 01 s", "8 h 00 min"]


def damaged(path: Path) -> Path:
    """The session with a hole in the middle and a torn end."""
    data = bytearray(session(path).read_bytes())
    data[20_000:20_050] = b"x" * 50
    path.write_bytes(data[:40_000])
    return path


def test_h98_recovery_copies_what_can_be_read_and_keeps_the_original(tmp_path):
    path = damaged(tmp_path / "a.mcap")
    before = path.read_bytes()
    done = recover(path)
    assert path.read_bytes() == before
    assert done.copy.path == tmp_path / "a-recovered.mcap"
    assert same(list(read_items(done.copy.path)), list(read_items(path)))
    text = "\n".join(done.copy.words())
    assert "recovered copy of a.mcap: damaged at byte" in text
    assert "breaks off" in text
    assert "item(s) are missing" in text
    assert not done.copy.complete


def test_a_recovered_copy_is_a_closed_file_for_any_reader(tmp_path):
    with open(recover(damaged(tmp_path / "a.mcap")).copy.path, "rb") as file:
        messages = list(make_reader(file, validate_crcs=True).iter_messages(log_time_order=False))
    assert len(messages) == examine(tmp_path / "a.mcap").items


def test_recovering_again_overwrites_nothing(tmp_path):
    path = damaged(tmp_path / "a.mcap")
    made = [recover(path).copy.path.name for _ in range(3)]
    assert made == ["a-recovered.mcap", "a-recovered-2.mcap", "a-recovered-3.mcap"]


def test_h117_recovery_keeps_channels_of_a_newer_version(tmp_path):
    path = session(tmp_path / "a.mcap")
    data = path.read_bytes()
    # a whole message on channel 9 in place of the third: sealed as the format says
    content = struct.pack("<HIQQ", 9, 2, 5, 5)
    body = codec.seal(9, 2, 5, b"future")
    at = _message_at(data, 2)
    _, length = struct.unpack_from("<BQ", data, at)
    new = struct.pack("<BQ", 5, len(content) + len(body)) + content + body
    path.write_bytes(data[:at] + new + data[at + 9 + length :])
    copy = recover(path).copy.path.read_bytes()
    assert new in copy


def _message_at(data: bytes, number: int) -> int:
    at, seen = 8, -1
    while True:
        opcode, length = struct.unpack_from("<BQ", data, at)
        seen += opcode == 5
        if seen == number and opcode == 5:
            return at
        at += 9 + length


def test_nothing_readable_is_no_success(tmp_path):
    path = session(tmp_path / "a.mcap")
    path.write_bytes(path.read_bytes()[:1500])
    with pytest.raises(BadFile):
        recover(path)
    assert [one.name for one in tmp_path.iterdir()] == ["a.mcap"]


def test_a_copy_that_does_not_fit_on_the_disk_leaves_nothing(tmp_path, monkeypatch):
    path = damaged(tmp_path / "a.mcap")

    def full(number: int) -> None:
        raise OSError(28, "No space left on device")

    monkeypatch.setattr(os, "fsync", full)
    with pytest.raises(CannotWrite, match="No space left"):
        recover(path)
    assert [one.name for one in tmp_path.iterdir()] == ["a.mcap"]


def test_a_renamed_folder_does_not_end_the_recording(tmp_path):
    (tmp_path / "before").mkdir()
    journal = JournalWriter(tmp_path / "before" / "a.mcap", sync_every_s=0.01)
    journal.write(BEGIN)
    (tmp_path / "before").rename(tmp_path / "after")
    for k in range(50):
        journal.write(RawPacket("A", k, b"x"))
    journal.close()
    assert journal.error is None
    assert examine(tmp_path / "after" / "a.mcap").items == 51


def test_h118_any_stretch_without_reading_the_rest(tmp_path):
    items = sorted([*packets("A", 300), *packets("B", 300)], key=lambda item: item.host_ns)
    window = open_window(record(tmp_path / "a.mcap", [BEGIN, *items]))
    assert window.begin is not None
    assert window.begin.verb == "begin"
    assert window.duration_s == pytest.approx(299.9)
    for from_s, to_s in ((0.0, 1.0), (133.3, 134.0), (299.0, 400.0)):
        wanted = [one for one in items if from_s <= one.host_ns * 1e-9 <= to_s]
        assert [one for one in window.items(from_s, to_s) if isinstance(one, RawPacket)] == wanted


def test_a_window_of_a_damaged_file(tmp_path):
    path = damaged(tmp_path / "a.mcap")
    everything = list(read_items(path))
    window = open_window(path)
    assert same(list(window.items(0, window.duration_s)), everything)


def test_a_link_that_streams_without_packets_is_a_sensor(tmp_path):
    health = examine(record(tmp_path / "a.mcap", [BEGIN, LinkNote("D", 5, LinkState.STREAMING)]))
    assert "D" in health.sensors


@pytest.mark.parametrize("wild_ns", [2**63 - 1, -(2**63) + 1, 10**15])
@pytest.mark.parametrize("at", [0, 1, 150, 300])
def test_one_wild_time_makes_no_recording_longer(tmp_path: Path, wild_ns: int, at: int) -> None:
    items: list[Item] = [BEGIN, *packets("A", 30)]
    items[at] = replace(items[at], host_ns=wild_ns)
    path = record(tmp_path / "a.mcap", items)
    health = examine(path)
    assert health.duration_s == pytest.approx(29.9, abs=0.2)
    assert health.items == 301
    assert health.wild == (at > 0)
    assert any("cannot be true" in line for line in health.words()) == (at > 0)
    assert open_window(path).duration_s == pytest.approx(29.9, abs=0.2)
