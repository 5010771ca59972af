"""The entry in a desktop's menu."""

from __future__ import annotations

from configparser import ConfigParser
from pathlib import Path
from xml.etree import ElementTree

import pytest
from commands import Commands

from imufeedback.cli.desktop import _quoted


def test_an_entry_and_its_icon_come_and_go(
    imufeedback: Commands, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """Read back by the rules of the Desktop Entry Specification 1.5 (freedesktop.org): an ini file with its group."""
    monkeypatch.setenv("XDG_DATA_HOME", str(tmp_path))
    assert imufeedback("desktop").status == 0
    entry = ConfigParser(interpolation=None)
    entry.optionxform = str  # type: ignore[method-assign, assignment]
    entry.read(tmp_path / "applications" / "imufeedback.desktop", encoding="utf-8")
    group = entry["Desktop Entry"]
    assert group["Type"] == "Application"
    assert group["Exec"].endswith(" live")
    icon = tmp_path / "icons/hicolor/scalable/apps" / f"{group['Icon']}.svg"
    assert ElementTree.parse(icon).getroot().tag.endswith("svg")
    assert imufeedback("desktop", "--remove").status == 0
    assert not icon.exists()
    assert imufeedback("desktop", "--remove").status == 0, "twice is no mistake"


def test_a_path_is_quoted_where_the_entry_needs_it() -> None:
    assert _quoted("/usr/bin/imufeedback") == "/usr/bin/imufeedback"
    assert _quoted("/home/a b/imufeedback") == '"/home/a b/imufeedback"'
    assert _quoted("/home/a$b%/x") == '"/home/a\\$b%%/x"'
