"""What the tests of the command line share."""

from __future__ import annotations

from pathlib import Path

import pytest
from commands import Commands

HEADER = "time_s,gyr_x_rad_s,gyr_y_rad_s,gyr_z_rad_s,acc_x_m_s2,acc_y_m_s2,acc_z_m_s2"
SEGMENTS = ("pelvis", "left_thigh", "right_thigh")


@pytest.fixture(name="imufeedback")
def the_command(monkeypatch: pytest.MonkeyPatch, capfd: pytest.CaptureFixture[str]) -> Commands:
    return Commands(monkeypatch, capfd)


@pytest.fixture(name="folder")
def csv_folder(tmp_path: Path) -> Path:
    """A folder of three sensors that lie still for a second."""
    folder = tmp_path / "csv"
    folder.mkdir()
    rows = [f"{k / 100:.2f},0.001,0.002,-0.001,0.1,9.81,0.2" for k in range(100)]
    for segment in SEGMENTS:
        (folder / f"{segment}.csv").write_text("\n".join([HEADER, *rows]) + "\n", encoding="utf-8")
    return folder


@pytest.fixture(name="recording", scope="session")
def short_recording(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """A recording with a calibration and one rep of a golfer, made without the command line."""
    from sessions import steady_session

    from imufeedback.record.journal import JournalWriter
    from imufeedback.records import Segment
    from imufeedback.synth.player import Pace
    from imufeedback.synth.script import make_script

    with JournalWriter(tmp_path_factory.mktemp("recording") / "one.mcap", title="one rep") as journal:
        script = make_script(pace=Pace.FULL, reps=1, seed=2)
        over_s = script.truth.reps[0].finish_s + 0.6  # what is lost then spoils no rep
        for item in steady_session(script, silent=Segment.LEFT_THIGH, from_s=over_s, to_s=over_s + 0.1):
            journal.write(item)
    assert journal.error is None
    return journal.path
