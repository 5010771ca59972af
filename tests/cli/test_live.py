"""``live`` without a screen, and with a layout that there is not."""

from __future__ import annotations

import os
import subprocess
import sys

import pytest


def run(*arguments: str, **environment: str) -> subprocess.CompletedProcess[str]:
    plain = {name: value for name, value in os.environ.items() if name not in ("DISPLAY", "WAYLAND_DISPLAY")}
    plain.pop("QT_QPA_PLATFORM", None)
    return subprocess.run(
        [sys.executable, "-m", "imufeedback", "live", *arguments],
        env=plain | environment,
        capture_output=True,
        text=True,
        timeout=60,
    )


@pytest.mark.skipif(not sys.platform.startswith("linux"), reason="only Linux may be without a screen")
def test_without_a_screen_it_says_so_in_one_line() -> None:
    done = run()
    assert done.returncode == 1
    assert done.stderr.startswith("imufeedback: ")
    assert "there is no screen" in done.stderr
    assert len(done.stderr.strip().splitlines()) == 1


def test_a_layout_that_there_is_not() -> None:
    done = run("--layout", "nowhere", QT_QPA_PLATFORM="offscreen")
    assert done.returncode == 1
    assert "nowhere" in done.stderr
    assert len(done.stderr.strip().splitlines()) == 1
