"""Standard output that is closed, full, unread or of an old code page: no traceback, and the right exit status."""

from __future__ import annotations

import os
import subprocess
import sys
from pathlib import Path

import pytest

pytestmark = pytest.mark.skipif(sys.platform == "win32", reason="shells and devices are POSIX ones")
PROGRAM = f"{sys.executable} -m imufeedback"


def shell(words: str, **environment: str) -> subprocess.CompletedProcess[bytes]:
    """A line of bash; its status is that of the first command of a pipe."""
    line = f"{words}; exit ${{PIPESTATUS[0]}}"
    return subprocess.run(
        ["bash", "-c", line], env=os.environ | environment, capture_output=True, timeout=60, check=False
    )


@pytest.mark.parametrize("unbuffered", ["", "1"])
@pytest.mark.parametrize(
    ("words", "status", "says"),
    [
        ("sounds | true", 141, b""),
        ("sounds >&-", 0, b""),
        ("sounds >&- 2>&-", 0, b""),
        ("sounds >/dev/full", 1, b"imufeedback: the output cannot be written (No space left on device)\n"),
        ("recordings >/dev/full", 2, b"imufeedback: no command \xe2\x80\x93 choose one of those above\n"),
        ("nonsense 2>/dev/full", 2, b""),
        ("nonsense 2>&-", 2, b""),
    ],
)
def test_lost_output_is_quiet(words: str, status: int, says: bytes, unbuffered: str) -> None:
    done = shell(f"{PROGRAM} {words}", PYTHONUNBUFFERED=unbuffered)
    assert b"Traceback" not in done.stderr
    assert b"Exception" not in done.stderr
    assert done.returncode == status
    assert done.stderr == says


def test_a_name_that_the_code_page_has_not_is_shown_by_its_number(tmp_path: Path) -> None:
    home = tmp_path / "Łukasz 🏌"
    done = shell(f"{PROGRAM} doctor", PYTHONIOENCODING="cp1252", IMUFEEDBACK_HOME=str(home))
    assert b"Traceback" not in done.stderr
    assert b"\\u0141ukasz \\U0001f3cc" in done.stdout
    assert done.returncode == 0


def test_a_serial_number_that_the_code_page_has_not(tmp_path: Path) -> None:
    (tmp_path / "sensors.toml").write_text('[[sensor]]\nserial = "Ł\U0001f3cc"\nrole = "pelvis"\n', encoding="utf-8")
    for words, status in (("sensors assign 'Ł\U0001f3cc' left_thigh", 0), ("sensors forget 'Ł'", 2)):
        done = shell(f"{PROGRAM} {words}", PYTHONIOENCODING="cp1252", IMUFEEDBACK_HOME=str(tmp_path))
        assert b"Traceback" not in done.stdout + done.stderr
        assert done.returncode == status
        assert b"\\u0141" in done.stdout + done.stderr


def test_closed_streams_give_their_numbers_to_no_recording(tmp_path: Path) -> None:
    """What a library writes to stderr must not end up in the middle of a file."""
    words = f"{PROGRAM} demo --no-realtime --reps 1 --out {tmp_path} <&- >&- 2>&-"
    assert shell(words).returncode == 0
    (recording,) = tmp_path.glob("*.mcap")
    assert shell(f"{PROGRAM} recordings check {recording}").returncode == 0
