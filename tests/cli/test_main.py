"""Exit status, one-line errors, and a command line that is there at once."""

from __future__ import annotations

import subprocess
import sys
from pathlib import Path

import pytest
import typer
from commands import Commands

from imufeedback import __version__, cli
from imufeedback.errors import CannotWrite, ImuFeedbackError, UsageError

HEAVY = ("numpy", "scipy", "PySide6", "pyqtgraph", "bleak", "bumble", "miniaudio", "jinja2", "mcap", "vqf", "ahrs")


def test_nothing_heavy_is_imported_before_a_verb_runs() -> None:
    assert imported_with("imufeedback.cli", *HEAVY) == []


def test_the_first_screen_and_a_judgement_do_without_what_takes_long_to_import() -> None:
    first = "imufeedback.app.live, imufeedback.app.live_window"
    assert imported_with(first, "scipy", "vqf", "ahrs", "jinja2", "bleak", "mcap", "pyqtgraph") == []
    assert imported_with("imufeedback.review.judging", "scipy", "jinja2", "bleak", "ahrs") == []
    assert imported_with("imufeedback.live.practice", "scipy", "bleak", "ahrs") == []
    assert imported_with("imufeedback.live.golfer", "scipy.signal", "scipy.stats") == []


def imported_with(modules: str, *names: str) -> list[str]:
    """Which of the names are imported with the modules, in a process of its own: this one has imported it all."""
    code = f"import sys, {modules}; print(' '.join(sorted(set(sys.argv[1:]) & set(sys.modules))))"
    done = subprocess.run([sys.executable, "-c", code, *names], capture_output=True, text=True, check=True, timeout=30)
    return done.stdout.split()


def test_as_a_module() -> None:
    done = subprocess.run(
        [sys.executable, "-m", "imufeedback", "nonsense"], capture_output=True, text=True, check=False, timeout=30
    )
    assert done.returncode == 2
    assert done.stdout == ""
    assert done.stderr.startswith("imufeedback: ")
    assert done.stderr.count("\n") == 1


def test_version_and_help(imufeedback: Commands) -> None:
    assert imufeedback("--version").out == f"{__version__}\n"
    shown = imufeedback("--help")
    assert shown.status == 0
    for verb in ("demo", "import", "analyse", "validate"):
        assert verb in shown.out
        assert imufeedback(verb, "--help").status == 0


def test_without_a_command_and_a_screen_the_help_is_shown_but_it_is_wrong_usage(
    imufeedback: Commands, monkeypatch: pytest.MonkeyPatch
) -> None:
    for name in ("DISPLAY", "WAYLAND_DISPLAY"):
        monkeypatch.delenv(name, raising=False)
    ended = imufeedback()
    assert ended.status == 2
    assert "demo" in ended.out
    assert "no command" in ended.error


def test_without_a_command_the_window_opens_where_there_is_a_screen(
    imufeedback: Commands, monkeypatch: pytest.MonkeyPatch
) -> None:
    opened: list[object] = []
    monkeypatch.setenv("DISPLAY", ":7")
    monkeypatch.setattr("imufeedback.app.live.show", lambda *args, **fields: opened.append(args) or 0)
    assert imufeedback().status == 0
    assert len(opened) == 1


@pytest.mark.parametrize("verb", ["sensors", "recordings"])
def test_verbs_of_a_verb_are_shown_when_none_is_given(imufeedback: Commands, verb: str) -> None:
    ended = imufeedback(verb)
    assert ended.status == 2
    assert f"{verb} [OPTIONS] COMMAND" in ended.out
    assert "no command" in ended.error


@pytest.mark.parametrize(
    ("arguments", "says"),
    [
        (["nonsense"], "nonsense"),
        (["demo", "--nonsense"], "--nonsense"),
        (["demo", "--reps", "many"], "--reps"),
        (["demo", "--reps", "-1"], "--reps"),
        (["demo", "--pace", "brisk"], "slow, full"),
        (["demo", "--flaw", "slice"], "push-back"),
        (["demo", "--handed", "both"], "right, left"),
        (["import"], "SRC"),
        (["import", "x", "--out", "y.mcap", "--still", "1:2"], "--flex"),
        (["import", "x", "--out", "y.mcap", "--still", "2:1", "--flex", "3:4"], "FROM:TO"),
        (["import", "x", "--out", "y.mcap", "--still", "now", "--flex", "3:4"], "FROM:TO"),
        (["import", "x", "--out", "y.mcap", "--handed", "both"], "right or left"),
        (["import", "x", "--out", "y.mcap", "--filter", "magic"], "vqf"),
        (["analyse"], "FILE"),
        (["analyse", "x.mcap", "--filter", "magic"], "mahony"),
        (["validate", "--set", "everything"], "main"),
        (["validate", "--data", "no/such/folder"], "no/such/folder"),
    ],
)
def test_wrong_usage_is_one_line_and_status_2(imufeedback: Commands, arguments: list[str], says: str) -> None:
    ended = imufeedback(*arguments)
    assert ended.status == 2
    assert says in ended.error
    assert ended.err.count("\n") == 1
    assert ended.out == ""


@pytest.mark.parametrize(
    ("error", "status", "line"),
    [
        (UsageError("so not"), 2, "imufeedback: so not"),
        (CannotWrite("full", where="a/b", hint="make room"), 1, "imufeedback: a/b: full – make room"),
        (ImuFeedbackError("failed"), 1, "imufeedback: failed"),
        (KeyboardInterrupt(), 130, "imufeedback: stopped"),
        (typer.Abort(), 130, "imufeedback: stopped"),
        (
            PermissionError(13, "Permission denied", "a\x1bb"),
            1,
            "imufeedback: a\\x1bb: cannot be used (Permission denied)",
        ),
    ],
)
def test_every_error_has_its_status(
    imufeedback: Commands, monkeypatch: pytest.MonkeyPatch, error: BaseException, status: int, line: str
) -> None:
    def fail(*_: object, **__: object) -> None:
        raise error

    monkeypatch.setattr(cli, "app", fail)
    ended = imufeedback("demo")
    assert ended.status == status
    assert ended.error == line


def test_what_nobody_foresaw_is_one_line_and_a_file_without_personal_data(
    imufeedback: Commands, monkeypatch: pytest.MonkeyPatch, tmp_path: Path
) -> None:
    def fail(*_: object, **__: object) -> None:
        try:
            {}["Robin Example"]
        except KeyError as error:
            raise ZeroDivisionError("Robin Example has a sore hip") from error

    monkeypatch.setattr(cli, "app", fail)
    monkeypatch.setenv("IMUFEEDBACK_HOME", str(tmp_path))
    ended = imufeedback("demo")
    assert ended.status == 1
    (details,) = (tmp_path / "problems").iterdir()
    assert str(details) in ended.error
    assert "ZeroDivisionError" in ended.error
    text = details.read_text(encoding="utf-8")
    assert "builtins.ZeroDivisionError" in text
    assert "builtins.KeyError" in text
    assert "imufeedback/cli/__init__.py:" in text
    assert "Robin" not in text
    assert str(Path.home()) not in text
    assert details.stat().st_mode & 0o077 == 0 or sys.platform == "win32"
