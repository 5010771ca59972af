"""Really played and really recorded, on a null sink. What depends on the machine's load is not judged here."""

from __future__ import annotations

import json
import subprocess
import sys
import time
from collections.abc import Callable
from pathlib import Path
from xml.etree import ElementTree

import numpy as np
import pytest

from imufeedback.audio import START_LEVEL, open_player, rendered
from imufeedback.audio.device import Lister
from imufeedback.audio.recorder import Recorder
from imufeedback.cues.mixer import Started
from imufeedback.errors import SoundError
from imufeedback.measure.latency.onset import find
from imufeedback.measure.sound_server import SINK, control

pytestmark = pytest.mark.usefixtures("server")
RATE_HZ = 48_000


def until(condition: Callable[[], bool], seconds: float = 15.0) -> bool:
    end = time.monotonic() + seconds
    while not condition():
        if time.monotonic() > end:
            return False
        time.sleep(0.02)
    return True


def test_latency_measures_a_run_end_to_end(tmp_path: Path) -> None:
    file, picture = tmp_path / "l.json", tmp_path / "l.svg"
    done = subprocess.run(
        [
            *(sys.executable, "-m", "imufeedback", "latency", "--seconds", "8", "--journal"),
            *("--json", str(file), "--picture", str(picture)),
        ],
        capture_output=True,
        text=True,
        timeout=120,
        check=False,
    )
    assert done.returncode == 0, done.stderr
    document = json.loads(file.read_text(encoding="utf-8"))
    assert document["cues"]["measured"] >= 4
    assert document["cues"]["late"] == 0
    parts = document["parts"]
    assert parts["radio"]["median_ms"] > 10.0
    assert parts["end_to_end"]["median_ms"] < 200.0
    for one in document["each_ms"]:
        total = one["radio"] + one["engine"] + one["hand_over"] + one["output"]
        assert one["end_to_end"] == pytest.approx(total, abs=1e-6)
    assert document["floor_ms"] == {"packet": 20.0, "interval": 15.0, "buffer": 10.0, "sum": 45.0}
    assert document["recording"]["peak_dbfs"] <= -12.0
    assert abs(document["recording"]["mean"]) < 1e-3
    assert ElementTree.fromstring(picture.read_text(encoding="utf-8")).tag.endswith("svg")
    assert "motion to sound" in done.stdout


def test_h95_the_whole_tone_is_in_the_recording_also_after_a_silence() -> None:
    with open_player() as player:
        recorder = Recorder(time.monotonic_ns)
        assert until(lambda: player.running and recorder.blocks > 20)
        time.sleep(2.0)
        player.play("stalled", time.monotonic_ns() + 10**9)
        started: list[Started] = []
        assert until(lambda: bool(started.extend(player.started()) or started))
        time.sleep(1.0)
        recorder.close()
    recorded, times_ns = recorder.recorded()
    assert (np.diff(times_ns) >= 0).all()
    sound = rendered()["stalled"] * np.float32(START_LEVEL)
    at = find(recorded, sound, RATE_HZ)
    assert at is not None
    assert times_ns[at] > started[0].now_ns - 10e6, "not before it was played"
    begin = max(at - 960, 0)
    heard = recorded[begin : begin + sound.size + 1920].astype(float)
    energy = float(np.sum(heard**2) / np.sum(sound.astype(float) ** 2))
    assert energy == pytest.approx(1.0, abs=0.25)


def test_h91_another_default_output_is_followed_and_a_lost_server_is_told_of() -> None:
    with open_player() as player:
        assert until(lambda: player.running)
        assert player.output is not None
        first = player.output.id
        control("load-module", "module-null-sink", "sink_name=second", "sink_properties=device.description=Second")
        control("set-default-sink", "second")
        told: list[str] = []
        assert until(lambda: bool(told.extend(player.notices()) or told)), "told within seconds"
        assert "changed" in told[0]
        assert "Second" in told[0]
        assert player.output.id != first
        assert until(lambda: player.running)
        control("set-default-sink", SINK)
        assert until(lambda: player.output is not None and player.output.id == first)
        assert until(lambda: player.running)
        control("unload-module", "module-null-sink")
        lost: list[str] = []
        assert until(lambda: bool(lost.extend(player.notices()) or lost), 20.0), "that all outputs are gone is told"
        player.play("stalled", time.monotonic_ns() + 10**9)  # harmless
        control("load-module", "module-null-sink", f"sink_name={SINK}", f"rate={RATE_HZ}")
        control("set-default-sink", SINK)
        assert until(lambda: player.running, 20.0), "and sound comes back by itself"


def test_inputs_and_outputs_are_listed_and_a_wrong_name_is_refused() -> None:
    lister = Lister()
    assert [one for one, _ in lister.outputs() if one.default]
    assert any(one.id.endswith(b".monitor") for one, _ in lister.inputs())
    with pytest.raises(SoundError, match="no input is called 'gong'"):
        Recorder(time.monotonic_ns, "gong")


def test_sounds_can_be_heard_from_the_command_line() -> None:
    done = subprocess.run(
        [sys.executable, "-m", "imufeedback", "sounds", "--play", "losing"],
        capture_output=True,
        text=True,
        timeout=60,
        check=False,
    )
    assert done.returncode == 0, done.stderr
    assert "losing" in done.stdout
    assert "H.870" in done.stderr
