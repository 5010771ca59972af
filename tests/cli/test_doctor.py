"""``doctor``: a line each, and what never answers does not keep anybody waiting."""

from __future__ import annotations

import json
import threading
from pathlib import Path

import pytest
from commands import Commands

from imufeedback import recursions
from imufeedback.cli import doctor
from imufeedback.cli.doctor import DoctorLine, State
from imufeedback.errors import SoundError


@pytest.fixture(autouse=True)
def _quick(monkeypatch: pytest.MonkeyPatch) -> None:
    for name in ("_screen", "_sound", "_bluetooth"):
        monkeypatch.setattr(doctor, name, lambda: (State.GOOD, "there"))


def test_a_line_each_and_status_0(imufeedback: Commands, monkeypatch: pytest.MonkeyPatch, tmp_path: Path) -> None:
    monkeypatch.setenv("IMUFEEDBACK_HOME", str(tmp_path / "new"))
    ended = imufeedback("doctor")
    assert ended.status == 0
    assert [line.split()[1] for line in ended.out.splitlines()] == [
        "program",
        "libraries",
        "folder",
        "screen",
        "sound",
        "bluetooth",
        "sensors",
    ]
    assert ("with its compiled core" in ended.out) is (recursions.core is not None)
    assert str(tmp_path / "new") in ended.out
    assert not (tmp_path / "new").exists(), "it only looks"


def test_what_is_lacking_is_no_error_and_says_what_to_do(
    imufeedback: Commands, monkeypatch: pytest.MonkeyPatch
) -> None:
    def none() -> tuple[State, str]:
        raise SoundError("no sound device", where="sound", hint="connect a speaker")

    monkeypatch.setattr(doctor, "_sound", none)
    ended = imufeedback("doctor", "--json")
    assert ended.status == 0
    (sound,) = [one for one in json.loads(ended.out) if one["name"] == "sound"]
    assert sound["state"] == "lacking"
    assert "connect a speaker" in sound["text"]


def test_a_full_disk_is_broken(imufeedback: Commands, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(doctor, "ROOM_GB", 1e9)
    ended = imufeedback("doctor")
    assert ended.status == 1
    assert "make room" in ended.out


def test_a_package_that_is_gone_is_named(monkeypatch: pytest.MonkeyPatch) -> None:
    from importlib import metadata

    real = metadata.version

    def version(name: str) -> str:
        if name == "bleak":
            raise metadata.PackageNotFoundError(name)
        return real(name)

    monkeypatch.setattr(metadata, "version", version)
    state, text = doctor._libraries()
    assert state is State.BROKEN
    assert "bleak" in text


@pytest.mark.parametrize(
    ("found", "wanted", "fits"),
    [
        ("3.1", ">=3.1,<4", True),
        ("3.0.9", ">=3.1,<4", False),
        ("4.0", ">=3.1,<4", False),
        ("3.10.2", ">=3.9", True),
        ("6.11.1", ">=6.9,<6.12", True),
        ("6.12.0", ">=6.9,<6.12", False),
        ("2.1rc1", ">=2.1", True),
        ("1.4.2", "==1.4.*", True),
        ("1.5", "==1.4.*", False),
        ("1.4", "!=1.4", False),
        ("1.4.9", "~=1.4.2", True),
        ("1.5", "~=1.4.2", False),
        ("2024.8.0", "", True),
    ],
)
def test_a_version_is_compared_with_what_is_required(
    monkeypatch: pytest.MonkeyPatch, found: str, wanted: str, fits: bool
) -> None:
    from importlib import metadata

    lines = [f"bleak{wanted}", "pytest>=99; extra == 'test'", "gone>=1; extra=='cluster'"]
    monkeypatch.setattr(metadata, "requires", lambda name: lines)
    monkeypatch.setattr(metadata, "version", lambda name: found)
    state, text = doctor._libraries()
    assert state is (State.GOOD if fits else State.BROKEN)
    assert fits or f"bleak {found} is not {wanted}" in text


def test_a_library_of_another_version_ends_with_status_1(
    imufeedback: Commands, monkeypatch: pytest.MonkeyPatch
) -> None:
    from importlib import metadata

    monkeypatch.setattr(metadata, "version", lambda name: "0.0.1")
    ended = imufeedback("doctor")
    assert ended.status == 1
    assert "pip install" in ended.out


def test_what_is_needed_and_does_not_answer_ends_with_status_1(
    imufeedback: Commands, monkeypatch: pytest.MonkeyPatch
) -> None:
    forever = threading.Event()
    monkeypatch.setattr(doctor, "LIMIT_S", 0.5)
    monkeypatch.setattr(doctor, "_folder", lambda: (State.GOOD, str(forever.wait(30))))
    ended = imufeedback("doctor")
    forever.set()
    assert ended.status == 1
    assert "folder     no answer" in ended.out


def test_a_check_that_fails_is_its_own_answer(
    imufeedback: Commands, monkeypatch: pytest.MonkeyPatch, tmp_path: Path
) -> None:
    monkeypatch.setenv("IMUFEEDBACK_HOME", str(tmp_path))
    monkeypatch.setattr(doctor, "_sensors", lambda: [][1])
    ended = imufeedback("doctor")
    assert ended.status == 1
    assert "IndexError" in ended.out
    assert ended.err == ""


@pytest.mark.parametrize(("encoding", "signs"), [("utf-8", "✓○✗"), ("cp1252", "+-!"), (None, "+-!")])
def test_the_signs_are_those_that_the_terminal_has(encoding: str | None, signs: str) -> None:
    assert "".join(doctor._signs(encoding).values()) == signs


def test_what_never_answers_is_told_as_such(monkeypatch: pytest.MonkeyPatch) -> None:
    forever = threading.Event()
    monkeypatch.setattr(doctor, "LIMIT_S", 0.1)
    monkeypatch.setattr(doctor, "_bluetooth", lambda: (State.GOOD, str(forever.wait(30))))
    (radio,) = [one for one in doctor.findings() if one.name == "bluetooth"]
    forever.set()
    assert radio == DoctorLine("bluetooth", State.LACKING, "no answer within 0.1 s – ask again")
