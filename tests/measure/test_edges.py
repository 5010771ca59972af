"""The set of bad inputs sees what it looks for, and finds nothing."""

from __future__ import annotations

import sys
from collections.abc import Sequence
from pathlib import Path

import numpy as np
import pytest

from imufeedback.errors import BadFile
from imufeedback.measure.checks import Context
from imufeedback.measure.edges import commands, texts, times
from imufeedback.measure.edges.signals import FULL, QUICK, VERBS, plan
from imufeedback.measure.edges.spoilt import spoilt
from imufeedback.measure.edges.texts import TextFile, outcome
from imufeedback.records import Command, Notice
from imufeedback.review.judging import judge

POSIX = pytest.mark.skipif(sys.platform == "win32", reason="a timer interrupts the reader the POSIX way")


@POSIX
def test_spoilt_side_files_are_told(tmp_path: Path) -> None:
    tally = texts.run(tmp_path, 11, 140)
    assert sum(tally.values()) > 150
    assert {name.partition(": ")[2] for name in tally} == {"fine"}


@POSIX
def test_times_that_jump_lose_nothing(tmp_path: Path) -> None:
    tally = times.run(tmp_path, 3, folders=12, recordings=4)
    assert sum(tally.values()) == 16
    assert {name.partition(": ")[2] for name in tally} == {"fine"}


@POSIX
def test_a_large_recording_is_what_it_says(tmp_path: Path) -> None:
    times.large_recording(tmp_path / "large.mcap", 3.0)
    assert len(judge(tmp_path / "large.mcap").told.reps) >= 4


def fail(error: BaseException) -> object:
    raise error


@pytest.mark.parametrize(
    ("read", "found"),
    [
        (lambda path: 1, "fine"),
        (lambda path: fail(BadFile("no", where="x")), "fine"),
        (lambda path: fail(RecursionError()), "traceback RecursionError"),
        (lambda path: fail(texts.Hang()), "hang"),
        (lambda path: 2, "wrong: it is two"),
    ],
)
def test_every_outcome_is_told_from_the_others(tmp_path: Path, read, found: str) -> None:
    kind = TextFile("kind", "file", b"", read, lambda made: "it is two" if made == 2 else None)
    assert outcome(kind, tmp_path / "file") == found


def test_the_same_seed_spoils_the_same_way() -> None:
    def some() -> Sequence[bytes]:
        rng = np.random.default_rng(5)
        return [spoilt(b"limit = 5.0\nname = 'x'\n", rng) for _ in range(30)]

    assert some() == some()
    assert len(set(some())) > 15


def test_senseless_commands_are_senseless() -> None:
    from imufeedback.pipeline import Pipeline

    pipeline, rng = Pipeline(), np.random.default_rng(3)
    clean = commands.session(1)
    pipeline.feed(clean[0])
    for _ in range(200):
        command = commands.senseless(rng)
        (told,) = pipeline.feed(Command(1, command.verb, command.args))
        assert isinstance(told, Notice), command


def test_a_session_with_senseless_commands_is_judged_as_without(tmp_path: Path) -> None:
    lines = {one.check: one for one in commands.measure(Context(tmp_path, None, quick=True, seed=4))}
    assert len(lines) == 4
    assert all(one.ok for one in lines.values())


def test_a_rep_that_is_missing_or_other_is_seen(tmp_path: Path) -> None:
    clean = commands.judged(tmp_path / "clean.mcap", commands.session(1))
    without = commands.CommandOutcome(clean.reps[:1], clean.findings, ())
    assert commands.alike(clean, clean)
    assert not commands.alike(without, clean)
    assert not commands.alike(commands.CommandOutcome(clean.reps, (), ()), clean) or not clean.findings


def test_every_verb_and_signal_has_its_moments() -> None:
    rng = np.random.default_rng(1)
    whole = plan(rng, VERBS, quick=False)
    assert len(whole) == FULL * len(VERBS)
    for verb in VERBS:
        assert {name for one, name, _ in whole if one == verb} == {"SIGINT", "SIGTERM", "SIGHUP"} or len(VERBS) % 3 == 0
    assert len(plan(rng, VERBS, quick=True)) == QUICK
