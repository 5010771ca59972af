"""Files of every format version ever written still open, and say the same. The samples are never made anew."""

from __future__ import annotations

from pathlib import Path

import pytest

from imufeedback.record.health import examine
from imufeedback.record.replay import read_items
from imufeedback.records import Command, Item, LinkNote, LinkState, RawPacket, Tick, same

SAMPLES = Path(__file__).parent / "samples"

FORMAT_1: list[Item] = [
    Command(1_000_000_000, "begin", {"hand": "left", "rates": [200.0, 0.1 + 0.2], "none": None}),
    LinkNote("SYN-0001", 1_000_500_000, LinkState.STREAMING, "né à 日本", {"mtu": 247, "battery_percent": 88}),
    *(RawPacket(f"SYN-000{k % 3}", 1_001_000_000 + 5_000_000 * k, bytes([k]) * (20 + k)) for k in range(12)),
    Tick(1_100_000_000),
    RawPacket("Ö", -5, b""),
    Command(2**62, "note", {"text": "end"}),
]
"""What was written into ``format1_*.mcap``, by version 0.1.0."""


def test_h117_format_1_opens_and_says_the_same():
    recording = read_items(SAMPLES / "format1_whole.mcap")
    assert same(list(recording), FORMAT_1)
    assert (recording.complete, recording.notes) == (True, [])
    assert recording.title == "Øyvind: 1/2?"
    assert recording.app_version == "0.1.0"
    assert recording.details["format_version"] == "1"
    assert recording.started is not None
    assert recording.started.isoformat() == "2025-07-01T10:00:00.250000+05:45"


def test_h117_format_1_unfinished_opens():
    recording = read_items(SAMPLES / "format1_torn.mcap")
    assert same(list(recording), FORMAT_1[:9])
    assert not recording.complete
    assert len(recording.notes) == 1


@pytest.mark.parametrize("path", sorted(SAMPLES.glob("*.mcap")), ids=lambda path: path.stem)
def test_h117_every_sample_reads(path):
    assert examine(path).items > 0
