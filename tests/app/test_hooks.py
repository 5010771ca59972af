"""Errors in slots, threads and clean-up are logged and shown."""

from __future__ import annotations

import logging
import sys
import threading
from collections.abc import Iterator
from pathlib import Path

import pytest
from PySide6.QtCore import QTimer
from pytestqt.qtbot import QtBot

from imufeedback.app.uncaught import in_words, install_hooks
from imufeedback.errors import SoundError

Told = list[tuple[str, str]]


@pytest.fixture
def told() -> Iterator[Told]:
    heard: Told = []
    restore = install_hooks(lambda where, what: heard.append((where, what)))
    yield heard
    restore()


def fail() -> None:
    raise ValueError("broken\nin two lines")


def test_h86_an_error_in_a_thread_is_told_logged_and_kept(
    told: Told, caplog: pytest.LogCaptureFixture, monkeypatch: pytest.MonkeyPatch, tmp_path: Path
) -> None:
    monkeypatch.setenv("IMUFEEDBACK_HOME", str(tmp_path))
    thread = threading.Thread(target=fail, name="engine")
    thread.start()
    thread.join()
    [(where, what)] = told
    assert where.startswith("engine, fail line ")
    assert what == "ValueError: broken in two lines"
    assert "ValueError" in caplog.text
    (details,) = (tmp_path / "problems").iterdir()
    text = details.read_text(encoding="utf-8")
    assert " fail" in text
    assert "broken" not in text, "a message may hold a name"


@pytest.mark.qt_no_exception_capture
def test_h86_an_error_in_a_slot_is_told(told: Told, qtbot: QtBot) -> None:
    QTimer.singleShot(0, fail)
    qtbot.waitUntil(lambda: bool(told), timeout=2000)
    assert told[0][0].startswith("window, fail line ")


def test_h86_an_error_in_clean_up_is_told(told: Told) -> None:
    class Bad:
        def __del__(self) -> None:
            fail()

    Bad()
    assert told[0][0].startswith("clean-up, fail")


def test_the_same_error_again_and_again_does_not_flood(told: Told, caplog: pytest.LogCaptureFixture) -> None:
    caplog.set_level(logging.ERROR)
    for _ in range(100):
        try:
            fail()
        except ValueError:
            sys.excepthook(*sys.exc_info())  # type: ignore[arg-type]
    assert len(told) == 7  # at 1, 2, 4 … 64
    assert told[-1][1].endswith("(64 times)")
    assert len(caplog.records) == 7


def test_restoring_puts_the_old_hooks_back() -> None:
    before = (sys.excepthook, threading.excepthook, sys.unraisablehook)
    install_hooks(lambda where, what: None)()
    assert (sys.excepthook, threading.excepthook, sys.unraisablehook) == before


def test_our_own_errors_speak_for_themselves() -> None:
    assert in_words(SoundError("no device", hint="plug one in")) == "no device – plug one in"
