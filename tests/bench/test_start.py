"""Beginnings: of a recording, of a pipeline, of the command line. Wall time: a start waits for disk and system."""

from __future__ import annotations

import subprocess
import sys
from itertools import count
from pathlib import Path

import pytest
from pytest_benchmark.fixture import BenchmarkFixture

from imufeedback.pipeline import Pipeline
from imufeedback.record.journal import JournalWriter

pytestmark = [pytest.mark.bench, pytest.mark.benchmark(group="starts")]


def test_recording_begun_and_closed(benchmark: BenchmarkFixture, live, tmp_path: Path) -> None:
    numbers = count()

    def begin() -> None:
        with JournalWriter(tmp_path / f"{next(numbers)}.mcap", title="bench") as journal:
            journal.write(live[0])

    benchmark.pedantic(begin, rounds=30, warmup_rounds=1)


def test_pipeline_begun(benchmark: BenchmarkFixture, live) -> None:
    benchmark.pedantic(lambda: Pipeline().feed(live[0]), rounds=30, warmup_rounds=1)


def test_help(benchmark: BenchmarkFixture) -> None:
    command = [sys.executable, "-m", "imufeedback", "--help"]
    benchmark.pedantic(subprocess.run, (command,), {"check": True, "capture_output": True}, rounds=5, warmup_rounds=1)
