"""``live --headless``: a session without a window, from sensors on a virtual golfer or from none."""

from __future__ import annotations

import json
import os
import signal
import subprocess
import sys
import time
from pathlib import Path

import pytest
from commands import Commands

from imufeedback import people
from imufeedback.commands import BeginBlock, BeginFit, CancelFit
from imufeedback.live.lesson import AFTER, LessonBlock
from imufeedback.live.unattended import Unattended
from imufeedback.people import Person
from imufeedback.record.replay import read_items
from imufeedback.records import (
    Command,
    Fit,
    FitRefused,
    Fitted,
    LinkNote,
    LinkState,
    Rep,
    Role,
    Segment,
    SwapOffered,
)


@pytest.fixture(name="home")
def own_data_folder(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Path:
    monkeypatch.setenv("IMUFEEDBACK_HOME", str(tmp_path / "home"))
    (tmp_path / "home").mkdir()
    return tmp_path / "home"


def headless(home: Path, *arguments: str) -> subprocess.Popen[str]:
    return subprocess.Popen(
        [sys.executable, "-u", "-m", "imufeedback", "live", "--headless", "--virtual", "--no-sound", *arguments],
        env=os.environ | {"IMUFEEDBACK_HOME": str(home)},
        stdout=subprocess.PIPE,
        stderr=subprocess.PIPE,
        text=True,
    )


# ── who, what, which sensors ─────────────────────────────────────────────────────────────────────────────────────


def test_nobody_is_known(imufeedback: Commands, home: Path) -> None:
    assert "--handed" in imufeedback("live", "--headless").error


def test_a_player_that_there_is_not(imufeedback: Commands, home: Path) -> None:
    people.load(home / "players").save(Person("Robin"))
    error = imufeedback("live", "--headless", "--player", "Robyn").error
    assert "Robyn" in error
    assert "known: Robin" in error


def test_cautions_are_accepted_by_the_player(imufeedback: Commands, home: Path) -> None:
    people.load(home / "players").save(Person("Robin"))
    assert "--accept-cautions" in imufeedback("live", "--headless").error
    assert "no sensor is assigned to: pelvis" in imufeedback("live", "--headless", "--accept-cautions").error


def test_work_that_there_is_not(imufeedback: Commands, home: Path) -> None:
    assert "half-swings" in imufeedback("live", "--headless", "--virtual", "--work", "nothing").error


def test_options_of_a_session_without_window_need_it(imufeedback: Commands, home: Path) -> None:
    assert "--headless" in imufeedback("live", "--virtual").error


# ── the session ──────────────────────────────────────────────────────────────────────────────────────────────────


def test_a_whole_session(home: Path, tmp_path: Path) -> None:
    """Sensors found by serial number, a calibration by movements, the block begun, a rep, the summary, status 0."""
    out, err = (
        started := headless(home, "--reps", "1", "--out", str(tmp_path / "r"), "--json", str(tmp_path / "a.json"))
    ).communicate(timeout=300)
    assert started.returncode == 0, err
    assert "right thigh: SYN-0003" in err
    assert "Recording: " in out
    (path,) = (tmp_path / "r").glob("*.mcap")
    recording = read_items(path)
    items = list(recording)
    assert recording.complete
    verbs = [one.verb for one in items if isinstance(one, Command)]
    assert verbs[0] == "begin"
    assert "fit-begin" in verbs
    closed = [one for one in items if isinstance(one, LinkNote) and one.state is LinkState.CLOSED]
    assert {one.sensor for one in closed} == {"SYN-0001", "SYN-0002", "SYN-0003"}
    reps = json.loads((tmp_path / "a.json").read_text(encoding="utf-8"))["reps"]
    if "late" not in err and "no data for" not in err:  # what a busy machine lost is not judged here
        assert "block" in verbs
        assert len(reps) == 1


@pytest.mark.skipif(sys.platform == "win32", reason="signals are sent the POSIX way")
@pytest.mark.parametrize("name", ["SIGINT", "SIGTERM"])
def test_a_signal_closes_it_well(home: Path, tmp_path: Path, name: str) -> None:
    running = headless(home, "--reps", "3", "--out", str(tmp_path))
    assert running.stderr is not None
    for line in running.stderr:
        if "(SYN-0003) streaming" in line:
            break
    time.sleep(1.0)
    running.send_signal(getattr(signal, name))
    out, err = running.communicate(timeout=120)
    assert running.returncode == 128 + getattr(signal, name)
    assert "Traceback" not in err
    assert "lost" not in err  # an ordered end is none
    assert err.splitlines()[-1] == "imufeedback: stopped"
    assert "No reps found." in out
    (path,) = tmp_path.glob("*.mcap")
    recording = read_items(path)
    items = list(recording)
    assert any(isinstance(one, LinkNote) and one.state is LinkState.CLOSED for one in items)
    assert recording.complete


# ── what happens by itself ───────────────────────────────────────────────────────────────────────────────────────

BLOCKS = (BeginBlock("one", Role.DRILL), BeginBlock("two", Role.TEST))
FITTED = Fitted(1.0, Fit("movement", ()))


def rep(index: int, void: str = "") -> Rep:
    return Rep(index, "swing", 0.0, 1.0, {}, (), {}, void)


def test_calibration_then_the_blocks_in_their_order() -> None:
    asked: list[object] = []
    performed: list[Fitted] = []
    coach = Unattended([LessonBlock(BLOCKS[0], 2), LessonBlock(BLOCKS[1], 1)], performed.append)
    coach.begin(asked.append)
    coach([rep(0)])  # before a calibration nothing counts
    coach([FitRefused(0.5, "not seen")])
    assert asked == [BeginFit(), BeginFit()]
    coach([FITTED, rep(1), rep(2, "void"), FITTED])
    assert asked[2:] == [BLOCKS[0]]
    coach([rep(3)])
    assert asked[3:] == [BLOCKS[1]]
    assert not coach.over.is_set()
    coach([rep(4)])
    assert asked[4:] == [AFTER], "so that the results of the test are told"
    assert coach.over.is_set()
    assert performed == [FITTED, FITTED]


def test_places_that_contradict_are_asked_for_again() -> None:
    asked: list[object] = []
    coach = Unattended([])
    coach.begin(asked.append)
    coach([SwapOffered(1.0, {Segment.LEFT_THIGH: Segment.RIGHT_THIGH}, True, "swapped?")])
    assert asked == [BeginFit(), CancelFit(), BeginFit()]


def test_one_block_without_an_end_goes_on() -> None:
    coach = Unattended([LessonBlock(BLOCKS[0])])
    coach.begin(lambda command: None)
    coach([FITTED, *(rep(k) for k in range(50))])
    assert not coach.over.is_set()
