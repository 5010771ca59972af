"""What nobody foresaw: one line, and a file with details that holds nothing personal."""

from __future__ import annotations

import logging
import threading
from pathlib import Path

import pytest

from imufeedback import unforeseen


def error_of(message: str) -> BaseException:
    try:
        raise ValueError(message)
    except ValueError as error:
        return error


def test_the_line_is_one_and_short(tmp_path: Path) -> None:
    line = unforeseen.line(error_of("Robin\x1b[2J\nsecond line " + "x" * 5000), tmp_path)
    assert line.startswith("ValueError: Robin\\x1b[2J second line")
    assert "\n" not in line
    assert len(line) < 700
    assert "test_unforeseen.py line" in line


def test_only_the_newest_details_are_kept(tmp_path: Path) -> None:
    for number in range(unforeseen.KEPT + 5):
        assert unforeseen.keep(error_of(f"number {number}"), tmp_path) is not None
    assert len(list((tmp_path / unforeseen.FOLDER).iterdir())) == unforeseen.KEPT


def test_a_folder_that_takes_nothing_is_said(tmp_path: Path) -> None:
    (tmp_path / "file").write_text("", encoding="utf-8")
    assert "could not be kept" in unforeseen.line(error_of("x"), tmp_path / "file")


def test_a_recursion_gives_a_short_file(tmp_path: Path) -> None:
    def again() -> None:
        again()

    try:
        again()
    except RecursionError as error:
        path = unforeseen.keep(error, tmp_path)
    assert path is not None
    assert len(path.read_text(encoding="utf-8").splitlines()) < 100


@pytest.mark.filterwarnings("ignore::pytest.PytestUnhandledThreadExceptionWarning")
def test_errors_of_threads_and_what_libraries_log_are_told(monkeypatch: pytest.MonkeyPatch) -> None:
    told: list[str] = []
    monkeypatch.setattr(threading, "excepthook", threading.excepthook)
    restore = unforeseen.tell_of_threads(lambda error: told.append(str(error)))
    try:
        thread = threading.Thread(target=lambda: [][1])
        thread.start()
        thread.join()
        last = logging.lastResort
        assert last is not None
        last.handle(logging.LogRecord("a.library", logging.ERROR, "", 0, "it %s", ("broke",), None))
    finally:
        restore()
    assert told == ["list index out of range", "a.library: it broke"]
