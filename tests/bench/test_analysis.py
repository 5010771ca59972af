"""A whole recording: ours, and two filters alone on the same samples. The difference is what is around the filter."""

from __future__ import annotations

import time

import pytest
from pytest_benchmark.fixture import BenchmarkFixture

from imufeedback.measure.speed import madgwick_alone, samples, vqf_alone
from imufeedback.pipeline import run
from imufeedback.records import Rep
from imufeedback.review.judging import judge

pytestmark = [
    pytest.mark.bench,
    pytest.mark.benchmark(group="a recording of three sensors", timer=time.process_time),
]
ROUNDS = 5


def test_analysis_of_the_file(benchmark: BenchmarkFixture, given) -> None:
    found = benchmark.pedantic(judge, (given.path,), rounds=ROUNDS, warmup_rounds=1)
    assert found.summary.totals.reps == len(given.script.truth.reps)


def test_pipeline_alone(benchmark: BenchmarkFixture, given) -> None:
    events = benchmark.pedantic(lambda: list(run(given.items)), rounds=ROUNDS)
    assert sum(isinstance(one, Rep) for one in events) == len(given.script.truth.reps)


def test_vqf_alone(benchmark: BenchmarkFixture, given) -> None:
    benchmark.pedantic(vqf_alone, (samples(given.samples),), rounds=4 * ROUNDS, warmup_rounds=1)


def test_madgwick_alone(benchmark: BenchmarkFixture, given) -> None:
    benchmark.pedantic(madgwick_alone, (samples(given.samples),), rounds=ROUNDS, warmup_rounds=1)
