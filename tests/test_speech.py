"""Blocks said aloud, by a voice that writes down what it is given."""

from __future__ import annotations

import sys
import time
from collections.abc import Callable
from pathlib import Path

import pytest

from imufeedback.audio.speech import CAUTION, NO_VOICE, Voice, find_voice
from imufeedback.live.spoken import Spoken
from imufeedback.phrases import phrase
from imufeedback.records import BlockBegun, Event, Finding, Mode, Rep, Role, StepTold, Verdict

pytestmark = pytest.mark.skipif(sys.platform == "win32", reason="the voice here is a shell script")


@pytest.fixture
def heard(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Callable[[], list[str]]:
    """The only program on the path; what it was given, a line a sentence."""
    program, lines = tmp_path / "espeak-ng", tmp_path / "heard"
    program.write_text(f'#!/bin/sh\nIFS= read -r line\necho "$*|$line" >> {lines}\n', encoding="utf-8")
    program.chmod(0o755)
    monkeypatch.setenv("PATH", str(tmp_path))
    return lambda: lines.read_text(encoding="utf-8").splitlines() if lines.exists() else []


def block(name: str, role: Role = Role.SWINGS, *, estimate: bool = False) -> BlockBegun:
    return BlockBegun(1.0, name, role, "swing", Mode.NONE, 1.0, estimate)


def step(number: int, rep: int | None = None) -> StepTold:
    return StepTold(2.0, number, 3, "slow", 0, 3, f"Step {number}, slowly.", "the knee", rep)


def test_each_block_and_step_is_said_once_and_no_result(heard: Callable[[], list[str]]) -> None:
    told: list[str] = []
    voice = Voice(told.append)
    spoken = Spoken(voice)
    rep = Rep(0, "swing", 0.0, 1.0, {}, (), {})
    fault = Finding("r", 0, 0.5, 9.0, 4.0, "deg", Verdict.FAULT, "It stalled.")
    events: list[Event] = [
        block("baseline", Role.BASELINE), rep, fault,
        block("hip turns", Role.DRILL), step(0), step(0, rep=1), step(1, rep=2),
        block("-f /etc/passwd", estimate=True),
    ]  # fmt: skip
    spoken(events)
    voice.close()
    assert heard() == [
        "-a 30 --stdin|Next: baseline. Results come when the block is over.",
        "-a 30 --stdin|Next: hip turns.",
        "-a 30 --stdin|Step 0, slowly.",
        "-a 30 --stdin|Step 1, slowly.",
        f"-a 30 --stdin|Next: -f /etc/passwd. {phrase('spoken_estimate')}",
    ]
    assert told == [CAUTION]


def test_without_a_voice_it_says_so_and_goes_on(monkeypatch: pytest.MonkeyPatch, tmp_path: Path) -> None:
    monkeypatch.setenv("PATH", str(tmp_path))
    told: list[str] = []
    voice = Voice(told.append)
    Spoken(voice)([block("baseline")])
    voice.close()
    assert find_voice() is None
    assert told == [NO_VOICE]


@pytest.mark.parametrize(
    ("does", "why"), [("exit 3", "exit status 3"), ("echo 'error: no loudspeaker' >&2", "error: no loudspeaker")]
)
def test_a_voice_that_fails_is_told_of_once(
    heard: Callable[[], list[str]], tmp_path: Path, does: str, why: str
) -> None:
    (tmp_path / "espeak-ng").write_text(f"#!/bin/sh\n/bin/cat > /dev/null\n{does}\n", encoding="utf-8")
    told: list[str] = []
    voice = Voice(told.append)
    for number in range(3):
        voice.say(f"Sentence {number}.")
    voice.close()
    assert len(told) == 2
    assert "The voice failed" in told[1]
    assert why in told[1]


def test_who_asks_does_not_wait(heard: Callable[[], list[str]], tmp_path: Path) -> None:
    (tmp_path / "espeak-ng").write_text("#!/bin/sh\n/bin/sleep 0.5\n", encoding="utf-8")
    voice = Voice(lambda line: None)
    began = time.perf_counter()
    for _ in range(2):
        voice.say("A long one.")
    assert time.perf_counter() - began < 0.4
    voice.close()
