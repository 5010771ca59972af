"""A hundred reps into the index, and questions of a library of a thousand."""

from __future__ import annotations

import os
import time
from pathlib import Path

import numpy as np
import pytest
from pytest_benchmark.fixture import BenchmarkFixture

from imufeedback.measure import archive
from imufeedback.record.library import places
from imufeedback.record.library.library import Library

pytestmark = [pytest.mark.bench, pytest.mark.benchmark(group="library", timer=time.process_time)]
REPS = 100


@pytest.fixture(scope="module", name="root")
def make_root(tmp_path_factory: pytest.TempPathFactory) -> Path:
    root = tmp_path_factory.mktemp("library")
    archive.make_library(root, 10, REPS, np.random.default_rng(1))
    return root


def test_a_recording_of_a_hundred_reps_taken_in(benchmark: BenchmarkFixture, root: Path) -> None:
    with Library(root) as library:
        path = next(iter(places.recordings(root)))[0]
        times = iter(range(1, 1000))
        changed = benchmark.pedantic(
            library.refresh, setup=lambda: _touched(path, next(times)), rounds=20, warmup_rounds=1
        )
    assert changed == 1


def _touched(path: Path, seconds: int) -> None:
    os.utime(path, ns=(seconds * 10**9, seconds * 10**9))


def test_library_without_changes_opened(benchmark: BenchmarkFixture, root: Path) -> None:
    Library(root).close()
    benchmark.pedantic(lambda: Library(root).close(), rounds=20, warmup_rounds=1)


def test_all_reps_asked_for(benchmark: BenchmarkFixture, root: Path) -> None:
    with Library(root) as library:
        assert len(benchmark.pedantic(library.reps, rounds=20, warmup_rounds=1)) == 10 * REPS
