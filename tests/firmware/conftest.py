"""The firmware's process, built once."""

from __future__ import annotations

import os
import sys
from collections.abc import Iterator
from pathlib import Path

import pytest

sys.path.insert(0, str(Path(__file__).parents[1] / "helpers"))

from commands import Commands
from desktop_sensor import Process
from firmware_build import SANITIZED, desktop


@pytest.fixture(scope="session", name="program")
def build_the_desktop_port(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """With sanitizers; or the one that is named, built otherwise."""
    if named := os.environ.get("IMUFEEDBACK_FIRMWARE"):
        return Path(named)
    return desktop(tmp_path_factory.mktemp("desktop") / "sensor", "-g", *SANITIZED)


@pytest.fixture(name="process")
def start_the_process(program: Path) -> Iterator[Process]:
    with Process(program) as process:
        process.power_up("AB-0042")
        yield process


@pytest.fixture(name="imufeedback")
def command_line(monkeypatch: pytest.MonkeyPatch, capfd: pytest.CaptureFixture[str]) -> Commands:
    return Commands(monkeypatch, capfd)
