"""A golfer with three worn sensors on a real stack: calibration, three reps, the second with a stall, summary."""

from __future__ import annotations

import json

from guest import Guest

from imufeedback.synth.sensors import WORN
from imufeedback.synth.stream import serial_of

PLAYED_S = 240


def test_a_session_with_reps_and_a_stall(guest: Guest) -> None:
    with guest.fresh("golfer"):
        guest.knows(*((serial_of(place), place) for place in WORN), layout="light")
        running = guest.start(
            "live --headless --layout light --player Ana --handed right --accept-cautions --no-sound",
            f"--out {guest.home}/recordings --json {guest.home}/summary.json",
        )
        running.says(r"rep 3", PLAYED_S)
        running.signal("INT")
        ended = running.wait(60)
        (path,) = guest.fetch("summary.json")
        summary = json.loads(path.read_text())
    assert ended.status == 130
    assert len(summary["reps"]) == 3
    faults = [[one["rule"] for one in rep["findings"] if one["verdict"] == "fault"] for rep in summary["reps"]]
    assert faults == [[], ["trail-thigh-keeps-falling"], []]
    # live, too; whether a tone was still worth playing depends on what else the machine does
    second = ended.out.partition(" rep 1")[2].partition(" rep 2")[0]
    assert "trail thigh stalled" in second
