"""Large invented libraries and long recordings, written quickly."""

from __future__ import annotations

import struct
from collections.abc import Iterable, Sequence
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
from imufeedback.records import Angles, Command, Item, JointAngles, PelvisAngles, RawPacket, Side, Verdict, frozen
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
        started = datetime(2024, 1, 1, 10, tzinfo=UTC) + timedelta(days=k // 10, minutes=k % 10)
        path = make_session(folder / f"{k}.mcap", player, 20, title=f"session {k}", started=started)
        add_result(path, "0", reps, rng, 20.0)


def write_items(path: Path, items: Iterable[Item], *, title: str = "", started: datetime | None = None) -> Path:
    """The items as a recording."""
    with JournalWriter(path, title=title, started=started) as journal:
        for item in items:
            journal.write(item)
    return journal.path


def make_session(path: Path, player: str, seconds: int, *, title: str, started: datetime | None = None) -> Path:
    """A recording with a packet a second of a sensor that nobody wears."""
    path.parent.mkdir(parents=True, exist_ok=True)
    begin = recorded(0, Begin.of(unworn_settings(Player(name=player))))
    packets = (RawPacket("A", second * 10**9, bytes(56)) for second in range(seconds))
    return write_items(path, [begin, *packets], title=title, started=started)


def add_result(
    path: Path, version: str, reps: int, rng: np.random.Generator, duration_s: float, notices: Sequence[str] = ()
) -> None:
    """An invented verdict beside the recording."""
    made = [make_rep(index, rng) for index in range(reps)]
    summary = Document(version=version, reps=made, notices=list(notices))
    add_verdict(path, summary, key=version, rules="Swing", duration_s=duration_s)


def write_long(path: Path, begin: Command, sensors: int, hours: float, payload: bytes) -> int:
    """A closed-over recording of `sensors` at 50 packets a second; returns the number of messages."""
    path = write_items(path, [begin], title="long")
    head = path.read_bytes()
    head = head[: _end_of_messages(head)]
    packets = round(hours * 3600 * 50)
    names = [f"SYN-{k}".encode() for k in range(sensors)]
    sequence = 1
    with open(path, "wb", buffering=1 << 22) as file:
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
