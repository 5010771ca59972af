"""Large invented libraries and long recordings, written quickly."""

from __future__ import annotations

import struct
from datetime import UTC, datetime, timedelta
from pathlib import Path

import numpy as np

from imufeedback.begin import unworn_settings
from imufeedback.commands import Begin, recorded
from imufeedback.document import Document, JudgedRep, RuleFinding
from imufeedback.record import codec
from imufeedback.record.journal import JournalWriter
from imufeedback.record.library.verdicts import add_verdict
from imufeedback.record.trace import TraceWriter
from imufeedback.records import Angles, Command, JointAngles, PelvisAngles, RawPacket, Side, Verdict, frozen
from imufeedback.settings import Player

POSITIONS = ("address", "top", "level", "impact", "finish")
ANGLES = ("pelvis_turn", "pelvis_side_tilt", "trail_thigh_angle", "lead_thigh_angle", "trail_hip_rotation")


def make_rep(index: int, rng: np.random.Generator) -> JudgedRep:
    features = {f"{name}_{position}_deg": float(rng.normal(0, 20)) for name in ANGLES for position in POSITIONS}
    features["trail_thigh_flat_turn_deg"] = float(rng.exponential(5))
    fault = features["trail_thigh_flat_turn_deg"] > 3
    finding = RuleFinding(
        rule="trail-thigh-keeps-falling", t_s=1.0, value=4.0, limit=3.0, unit="deg", verdict=Verdict.FAULT,
        text="keep turning",
    )  # fmt: skip
    return JudgedRep(
        index=index, kind="swing", start_s=8.0 * index, end_s=8.0 * index + 4, positions={"top_s": 8.0 * index},
        estimated=["impact_s"], features=features, tones=bool(index % 2), findings=[finding] if fault else [], cues=[],
    )  # fmt: skip


def make_library(root: Path, recordings: int, reps: int, rng: np.random.Generator) -> None:
    """Recordings of ten players, a session a day, judged; sensors are left out, for nothing here looks at them."""
    for k in range(recordings):
        player = f"player {k % 10}"
        folder = root / player
        folder.mkdir(parents=True, exist_ok=True)
        started = datetime(2024, 1, 1, 10, tzinfo=UTC) + timedelta(days=k // 10, minutes=k % 10)
        settings = unworn_settings(Player(name=player))
        with JournalWriter(folder / f"{k}.mcap", title=f"session {k}", started=started) as journal:
            journal.write(recorded(0, Begin.of(settings)))
            for second in range(20):
                journal.write(RawPacket("A", second * 10**9, bytes(56)))
        summary = Document(version="0", reps=[make_rep(index, rng) for index in range(reps)])
        add_verdict(journal.path, summary, key="0", rules="Swing", duration_s=20.0)


def write_long(path: Path, begin: Command, sensors: int, hours: float, payload: bytes) -> int:
    """A closed-over recording of `sensors` at 50 packets a second; returns the number of messages."""
    with JournalWriter(path, title="long") as journal:
        journal.write(begin)
    head = journal.path.read_bytes()
    head = head[: _end_of_messages(head)]
    packets = round(hours * 3600 * 50)
    names = [f"SYN-{k}".encode() for k in range(sensors)]
    sequence = 1
    with open(journal.path, "wb", buffering=1 << 22) as file:
        file.write(head)
        for k in range(packets):
            for number, name in enumerate(names):
                host_ns = begin.host_ns + k * 20_000_000 + number * 1_000_000
                body = struct.pack("<qH", host_ns, len(name)) + name + payload
                data = codec.seal(1, sequence, host_ns, body)
                file.write(struct.pack("<BQHIQQ", 5, 22 + len(data), 1, sequence, host_ns, host_ns) + data)
                sequence += 1
    return sequence


def _end_of_messages(data: bytes) -> int:
    at, end = 8, 8
    while at < len(data) - 8:
        opcode, length = struct.unpack_from("<BQ", data, at)
        at += 9 + length
        if opcode == 5:
            end = at
    return end


def write_long_trace(path: Path, hours: float) -> None:
    """Angles of pelvis, hips and knees at 200 Hz."""
    count = 200 * 600
    with TraceWriter(path) as trace:
        for block in range(max(round(hours * 6), 1)):
            t_s = block * 600 + np.arange(count) / 200
            wave = frozen(np.sin(t_s)[:, None] * np.ones(3))
            ok = frozen(np.ones((count, 3)), np.bool_)
            joints = [JointAngles(name, side, t_s, wave, wave, wave, ok) for name in ("hip", "knee") for side in Side]
            trace.add(Angles(t_s, PelvisAngles(t_s, wave, wave, wave, ok), tuple(joints)))
