"""Small archives of recordings: one session with a rep, copied."""

from __future__ import annotations

import shutil
from pathlib import Path

import pytest


@pytest.fixture(name="session_file", scope="session")
def short_recording(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """A recording with a calibration and one rep."""
    from sessions import steady_session

    from imufeedback.record.journal import JournalWriter
    from imufeedback.synth.player import Pace
    from imufeedback.synth.script import make_script

    with JournalWriter(tmp_path_factory.mktemp("many") / "one.mcap", title="one rep") as journal:
        for item in steady_session(make_script(pace=Pace.FULL, reps=1, seed=2)):
            journal.write(item)
    assert journal.error is None
    return journal.path


@pytest.fixture(name="archive")
def three_recordings(session_file: Path, tmp_path: Path) -> Path:
    """A folder of two good recordings, one of them deeper, and a file that is none."""
    root = tmp_path / "archive"
    (root / "ana").mkdir(parents=True)
    shutil.copy(session_file, root / "b.mcap")
    shutil.copy(session_file, root / "ana" / "a.mcap")
    (root / "c.mcap").write_bytes(b"not a recording")
    return root
