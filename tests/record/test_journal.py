"""Writing: nothing lost to a kill, nothing overwritten, nothing raised into the caller."""

from __future__ import annotations

import os
import signal
import struct
import subprocess
import sys
import threading
import time
import zlib
from datetime import UTC, datetime, timedelta, timezone
from importlib import resources
from pathlib import Path

import numpy as np
import pytest
from mcap.reader import make_reader

from imufeedback.errors import CannotWrite, UsageError
from imufeedback.record import codec
from imufeedback.record.files import safe_stem
from imufeedback.record.journal import IN_TURN, WRITE_EVERY_S, JournalWriter
from imufeedback.record.replay import read_items
from imufeedback.records import Command, Item, LinkNote, LinkState, RawPacket, Tick, same

ITEMS: list[Item] = [
    Command(1_000, "begin", {"hand": "right", "floor": float("nan"), "rates": [200.0, 0.1 + 0.2], "none": None}),
    LinkNote("SYN-0001", 2_000, LinkState.STREAMING, "né à 日本", {"mtu": 247, "battery_percent": 88}),
    RawPacket("SYN-0001", 3_000, bytes(range(56))),
    Tick(4_000),
    RawPacket("Ö", -5, b""),
    Command(2**62, "end"),
]


def write(path: Path, items: list[Item], **more: object) -> JournalWriter:
    with JournalWriter(path, **more) as journal:
        for item in items:
            journal.write(item)
    return journal


def test_items_come_back_exactly(tmp_path):
    journal = write(tmp_path / "a.mcap", ITEMS, title="Probe")
    recording = read_items(journal.path)
    assert same(list(recording), ITEMS)
    assert (recording.notes, recording.complete, recording.title) == ([], True, "Probe")
    assert journal.error is None
    assert journal.fill.written == len(ITEMS)
    assert journal.fill.dropped == 0


def test_numpy_values_in_arguments_become_plain_ones(tmp_path):
    journal = write(tmp_path / "a.mcap", [Command(0, "x", {"a": np.float64(0.5), "b": np.arange(3)})])
    assert same(list(read_items(journal.path)), [Command(0, "x", {"a": 0.5, "b": [0, 1, 2]})])


def test_any_mcap_reader_can_read_it(tmp_path):
    """Checked with the mcap library's own seeking reader, which knows nothing of us."""
    journal = write(tmp_path / "a.mcap", ITEMS)
    with open(journal.path, "rb") as file:
        reader = make_reader(file, validate_crcs=True)
        assert reader.get_header().profile == "imufeedback"
        summary = reader.get_summary()
        assert summary.statistics.message_count == len(ITEMS)
        assert summary.statistics.chunk_count == 0
        assert {one.topic for one in summary.channels.values()} == {"/packet", "/link", "/command", "/tick"}
        topics = [channel.topic for _, channel, _ in reader.iter_messages(log_time_order=False)]
    assert topics == ["/command", "/link", "/packet", "/tick", "/packet", "/command"]


def test_the_example_in_the_format_document(tmp_path):
    """FORMAT.md's bytes, written by hand from the MCAP specification, stand in the file."""
    journal = write(tmp_path / "a.mcap", [Tick(1_000_000_000)])
    content = bytes.fromhex("0400 00000000 00CA9A3B00000000 00CA9A3B00000000 00CA9A3B00000000")
    message = bytes.fromhex("05 2200000000000000") + content + zlib.crc32(content).to_bytes(4, "little")
    document = resources.files("imufeedback.record").joinpath("FORMAT.md").read_text(encoding="utf-8")
    lines = document.split("from the opcode to the CRC:")[1].split("## ")[0].strip().splitlines()
    assert bytes.fromhex("".join(line.strip().split("   ")[0] for line in lines)) == message
    assert journal.path.read_bytes().count(message) == 1


def test_h112_start_keeps_its_zone(tmp_path):
    for hours in (2, 5.75, -3.5):  # Berlin in summer, Kathmandu, St John's
        started = datetime(2025, 7, 1, 10, 0, 0, 123456, tzinfo=timezone(timedelta(hours=hours)))
        recording = read_items(write(tmp_path / f"{hours}.mcap", [], started=started).path)
        assert recording.started == started
        assert recording.started.strftime("%H:%M") == "10:00"


def test_a_start_without_zone_is_refused(tmp_path):
    with pytest.raises(UsageError, match="zone"):
        JournalWriter(tmp_path / "a.mcap", started=datetime(2025, 7, 1))
    assert list(tmp_path.iterdir()) == []


def test_h107_nothing_is_overwritten(tmp_path):
    """Five in one second, then the clock set back one hour: ten files, each with its own content."""
    wanted = tmp_path / "2025-10-26.mcap"
    for k in range(10):
        started = datetime(2025, 10, 26, 2 - k // 5, tzinfo=UTC)
        write(wanted, [Tick(k)], started=started)
    files = sorted(tmp_path.iterdir())
    assert len(files) == 10
    assert sorted(next(iter(read_items(one))).host_ns for one in files) == list(range(10))
    assert wanted.with_name("2025-10-26-10.mcap") in files


def test_h107_two_at_once_get_two_files(tmp_path):
    made: list[Path] = []
    gate = threading.Barrier(8)

    def start() -> None:
        gate.wait()
        made.append(write(tmp_path / "a.mcap", [Tick(1)]).path)

    threads = [threading.Thread(target=start) for _ in range(8)]
    for one in threads:
        one.start()
    for one in threads:
        one.join()
    assert len(set(made)) == 8
    assert all(list(read_items(one)) == [Tick(1)] for one in made)


NAMES = (
    "Übung 日本 ñ",
    "Øyvind: 1/2?",
    "CON",
    "e\u0301te\u0301",
    "trailing. ",
    "x" * 400,
    "日" * 200,
    "../up",
    "a\0b",
    "",
    ".",
)


@pytest.mark.parametrize("name", NAMES)
def test_h109_names_in_every_script(tmp_path, name):
    folder = tmp_path / "Übung 日本"
    folder.mkdir()
    journal = write(folder / f"{safe_stem(name)}.mcap", [Tick(1)], title=name)
    assert journal.path.parent == folder
    assert journal.path.stat().st_size > 0
    assert list(read_items(journal.path)) == [Tick(1)]
    assert read_items(journal.path).title == name, "shown as it was written"


def test_h109_stems_are_allowed_everywhere():
    for name in NAMES:
        stem = safe_stem(name)
        assert stem
        assert not set(stem) & set('<>:"/\\|?*\0')
        assert stem.split(".")[0].lower() not in {"con", "prn", "aux", "nul", "com1", "lpt1"}
        assert stem == stem.strip(" .")
        assert len(stem.encode()) <= 200
    assert safe_stem("e\u0301") == safe_stem("\u00e9"), "composed and decomposed accents give one name"
    assert safe_stem("Übung 日本 ñ") == "Übung 日本 ñ"
    assert safe_stem("com1.txt") == "_com1.txt"


def test_a_folder_that_is_not_there(tmp_path):
    with pytest.raises(CannotWrite, match=r"none.*No such file.*another folder"):
        JournalWriter(tmp_path / "none" / "a.mcap")


def test_a_disk_that_is_almost_full_is_refused_and_leaves_nothing(tmp_path):
    with pytest.raises(CannotWrite, match="almost full"):
        JournalWriter(tmp_path / "a.mcap", reserve_bytes=1 << 60)
    assert list(tmp_path.iterdir()) == []


def test_h103_running_out_of_room_ends_in_good_order(tmp_path):
    told: list[str] = []
    journal = JournalWriter(tmp_path / "a.mcap", sync_every_s=0.02, on_error=told.append)
    journal.write(Tick(1))
    journal._reserve_bytes = 1 << 60  # as if the disk filled up meanwhile
    wait_until(lambda: not journal.recording)
    journal.write(Tick(2))
    journal.close()
    assert "almost full" in (journal.error or "")
    assert told == [journal.error]
    assert journal.fill.dropped == 1
    recording = read_items(journal.path)
    assert list(recording) == [Tick(1)]
    assert recording.complete, "closed with its footer while there was room"


def test_h103_a_removed_file_is_noticed(tmp_path):
    journal = JournalWriter(tmp_path / "a.mcap", sync_every_s=0.02)
    journal.write(Tick(1))
    wait_until(lambda: journal.fill.written == 1)
    journal.path.unlink()
    wait_until(lambda: not journal.recording)
    journal.close()
    assert "removed" in (journal.error or "")


LIMITED = """
import sys, resource
from imufeedback.record.journal import IN_TURN, JournalWriter
from imufeedback.records import RawPacket
resource.setrlimit(resource.RLIMIT_FSIZE, (20_000, 20_000))
journal = JournalWriter(sys.argv[1])
for k in range(1000):
    journal.write(RawPacket("a", k, bytes(50)))
journal.close()
print(journal.error)
print(journal.recording, journal.fill.written, journal.fill.dropped)
"""


def test_h103_a_write_that_fails_half_way_leaves_whole_messages(tmp_path):
    """A real refusal by the system in the middle of a message (file size limit)."""
    path = tmp_path / "a.mcap"
    done = run_python(LIMITED, str(path))
    error, counts = done.stdout.splitlines()
    assert "too large" in error
    recording, written, dropped = counts.split()
    assert recording == "False"
    assert 100 < int(written) < 300
    assert int(written) + int(dropped) <= 1000
    read = read_items(path)
    assert [item.host_ns for item in read] == list(range(int(written)))
    assert read.notes
    assert not any("damaged" in note for note in read.notes)


def test_an_argument_that_is_no_json_is_told_and_the_rest_recorded(tmp_path):
    journal = write(tmp_path / "a.mcap", [Tick(1), Command(2, "x", {"a": object()}), Tick(3)])
    assert list(read_items(journal.path)) == [Tick(1), Tick(3)]
    assert "Command" in (journal.error or "")
    assert journal.fill.dropped == 1


def test_an_item_longer_than_a_record_is_told(tmp_path):
    journal = write(tmp_path / "a.mcap", [RawPacket("a", 1, bytes(codec.RECORD_MAX)), Tick(3)])
    assert list(read_items(journal.path)) == [Tick(3)]
    assert "too long" in (journal.error or "")


def test_writing_after_close_is_counted_and_close_may_come_twice(tmp_path):
    journal = write(tmp_path / "a.mcap", ITEMS)
    journal.write(Tick(9))
    journal.close()
    assert journal.fill.dropped == 1
    assert not journal.recording
    assert len(list(read_items(journal.path))) == len(ITEMS)


def test_no_thread_is_left(tmp_path):
    write(tmp_path / "a.mcap", ITEMS)
    assert not [one for one in threading.enumerate() if one.name.startswith("journal")]


def test_writing_costs_the_caller_next_to_nothing(tmp_path):
    with JournalWriter(tmp_path / "a.mcap") as journal:
        worst = 0.0
        for k in range(200):
            start = time.perf_counter()
            journal.write(RawPacket("a", k, bytes(56)))
            worst = max(worst, time.perf_counter() - start)
            time.sleep(0)
        wait_until(lambda: journal.fill.waiting == 0)
        assert journal.fill.peak >= 1
    assert worst < 0.1


RECORDER = """
import sys, time
from imufeedback.record.journal import IN_TURN, JournalWriter
from imufeedback.records import RawPacket
journal = JournalWriter(sys.argv[1])
k = 0
start = time.monotonic_ns()
while True:
    now = time.monotonic_ns()
    while (now - start) * 600 // 4 > k * 1_000_000_000:  # three sensors at 200 Hz, four samples a packet
        journal.write(RawPacket(f"SYN-{k % 3}", now, k.to_bytes(56, "little")))
        k += 1
        sys.stdout.write(f"{now}\\n")
        sys.stdout.flush()
    time.sleep(0.001)
"""


@pytest.mark.parametrize("after_s", [0.15, 0.4, 0.63])
def test_h98_h99_a_killed_process_loses_less_than_a_quarter_second(tmp_path, after_s):
    path = tmp_path / "a.mcap"
    child = subprocess.Popen(
        [sys.executable, "-c", RECORDER, str(path)], stdout=subprocess.PIPE, text=True, env=environment()
    )
    assert child.stdout is not None
    child.stdout.readline()  # it runs
    time.sleep(after_s)
    child.send_signal(signal.SIGKILL)
    last_ns = int(child.communicate()[0].splitlines()[-1])
    recording = read_items(path)
    items = list(recording)
    assert [int.from_bytes(item.payload, "little") for item in items] == list(range(len(items))), "no hole"
    assert last_ns - items[-1].host_ns < 0.25e9
    assert len(items) > (after_s - WRITE_EVERY_S) * 100
    assert not recording.complete
    assert len(recording.notes) == 1


def wait_until(true: object, limit_s: float = 5.0) -> None:
    end = time.monotonic() + limit_s
    while not true():  # type: ignore[operator]
        assert time.monotonic() < end, "did not happen in time"
        time.sleep(0.005)


def environment() -> dict[str, str]:
    return {**os.environ, "PYTHONPATH": os.pathsep.join(sys.path)}


def run_python(code: str, *arguments: str) -> subprocess.CompletedProcess[str]:
    command = [sys.executable, "-c", code, *arguments]
    done = subprocess.run(command, capture_output=True, text=True, timeout=60, env=environment(), check=False)
    assert done.returncode == 0, done.stderr
    return done


# ── items that no recording holds ────────────────────────────────────────────────────────────────────────────────


def deep(levels: int) -> object:
    out: object = 1
    for _ in range(levels):
        out = [out]
    return out


@pytest.mark.parametrize(
    "odd",
    [
        Tick(2**63),
        Tick(-(2**63) - 1),
        RawPacket("SYN-0001", 2**64, b""),
        Command(10**30, "note"),
        Command(5, "note", {"number": 10**30}),
        Command(5, "note", {"deep": deep(100_000)}),
        Command(5, "note", {"name": "\ud800"}),
        RawPacket("\ud800", 5, b""),
        RawPacket("x" * 70_000, 5, b""),
    ],
    ids=lambda one: type(one).__name__,
)
def test_one_item_that_cannot_be_written_is_told_and_the_recording_goes_on(tmp_path: Path, odd: Item) -> None:
    journal = write(tmp_path / "a.mcap", [ITEMS[0], odd, *ITEMS[1:]])
    assert journal.error is not None
    assert "is missing in the recording" in journal.error
    assert journal.fill.dropped == 1
    recording = read_items(journal.path)
    assert all(same(one, other) for one, other in zip(recording, ITEMS, strict=True))


def test_times_at_the_ends_of_what_is_held_come_back(tmp_path: Path) -> None:
    items: list[Item] = [Tick(-(2**63)), Tick(2**63 - 1), Command(2**63 - 1, "end"), RawPacket("a", -(2**63), b"")]
    assert list(read_items(write(tmp_path / "a.mcap", items).path)) == items


def test_a_command_nested_without_end_is_passed_over_when_read() -> None:
    body = b"\x83\xa7host_ns\x00\xa4verb\xa1x\xa4args\x81\xa1a" + b"\x91" * 200_000 + b"\xc0"
    with pytest.raises(codec.UnknownItemError):
        codec.decode(struct.pack("<HIQQ", 3, 0, 0, 0) + body + bytes(4))


def test_where_there_is_no_hurry_little_waits_for_a_slow_disk(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    real = os.write
    monkeypatch.setattr(os, "write", lambda number, data: (time.sleep(1e-5), real(number, data))[1])
    count = IN_TURN + 3000
    with JournalWriter(tmp_path / "a.mcap") as journal:
        for k in range(count):
            journal.write_in_turn(Tick(k))
        assert journal.fill.waiting <= IN_TURN
    assert journal.error is None
    assert journal.fill.peak <= IN_TURN + 1
    assert journal.fill.written == count
