"""The switch for saying each block aloud: off at first, silent while the tones are muted, kept for the next window."""

from __future__ import annotations

import sys
from collections.abc import Callable
from pathlib import Path

import pytest
from pytestqt.qtbot import QtBot

from imufeedback.app.bay import BayWindow
from imufeedback.audio.speech import CAUTION
from imufeedback.records import BlockBegun, Mode, Role

pytestmark = pytest.mark.skipif(sys.platform == "win32", reason="the voice here is a shell script")
MakeBay = Callable[..., BayWindow]


@pytest.fixture
def lines(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Path:
    program = tmp_path / "espeak-ng"
    program.write_text(f'#!/bin/sh\nIFS= read -r line\necho "$line" >> {tmp_path / "heard"}\n', encoding="utf-8")
    program.chmod(0o755)
    monkeypatch.setenv("PATH", str(tmp_path))
    return tmp_path / "heard"


def begin(window: BayWindow, name: str) -> None:
    window.feed.push([BlockBegun(1.0, name, Role.DRILL, "swing", Mode.NONE, 1.0)])
    window._hear()


def test_off_on_muted_and_kept(make_bay: MakeBay, lines: Path, qtbot: QtBot) -> None:
    window = make_bay(on_preview=lambda sound: None)
    begin(window, "nobody hears this")
    window.speaking.action.trigger()
    assert window.view.messages.text.text() == CAUTION
    begin(window, "first")
    window.mute.setEnabled(True)
    window.mute.trigger()
    begin(window, "muted")
    window.mute.trigger()
    begin(window, "second")
    qtbot.waitUntil(lambda: lines.exists() and len(lines.read_text().splitlines()) == 2, timeout=5000)
    assert lines.read_text().splitlines() == ["Next: first.", "Next: second."]
    another = make_bay(on_preview=lambda sound: None)
    assert another.speaking.action.isChecked(), "kept"
    another.speaking.action.trigger()
    assert not make_bay().speaking.action.isChecked()


def test_asked_for_on_the_command_line_it_is_on_for_this_session(make_bay: MakeBay, lines: Path) -> None:
    assert make_bay(speak=True).speaking.action.isChecked()
    assert not make_bay().speaking.action.isChecked()
