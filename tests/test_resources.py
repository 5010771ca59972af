"""Shipped TOML files, and one's own before them."""

from __future__ import annotations

import sys
from pathlib import Path

import pytest

from imufeedback import resources
from imufeedback.errors import BadToml
from imufeedback.packets import parse_layout
from imufeedback.rules import parse_rule_set


@pytest.fixture(autouse=True)
def home(tmp_path, monkeypatch) -> Path:
    monkeypatch.setenv("IMUFEEDBACK_HOME", str(tmp_path))
    return tmp_path


def own(home: Path, kind: str, name: str, data: bytes) -> Path:
    folder = home / kind
    folder.mkdir(exist_ok=True)
    path = folder / name
    path.write_bytes(data)
    return path


def test_what_ships():
    assert set(resources.available("layouts")) >= {"house", "lossless"}
    assert "swing" in resources.available("rules")


def test_everything_that_ships_parses():
    for name in resources.available("layouts"):
        assert parse_layout(resources.text("layouts", name), name).name == name
    for name in resources.available("rules"):
        assert parse_rule_set(resources.text("rules", name), name).name == name


def test_own_files_are_listed_with_the_shipped_ones(home):
    shipped = resources.available("rules")
    own(home, "rules", "mine.toml", b"")
    own(home, "rules", "notes.txt", b"")
    assert resources.available("rules") == tuple(sorted({*shipped, "mine"}))


def test_an_own_file_goes_before_a_shipped_one_of_the_same_name(home):
    own(home, "rules", "swing.toml", "title = 'Größer'\n".encode())
    assert resources.text("rules", "swing") == "title = 'Größer'\n"
    assert resources.available("rules").count("swing") == 1


def test_an_unknown_name_lists_the_known_ones():
    with pytest.raises(BadToml) as caught:
        resources.text("layouts", "hause")
    assert "'hause'" in str(caught.value)
    assert "house" in str(caught.value)


@pytest.mark.parametrize("name", ["../rules/mine", "../layouts/house", "../../settings", "/etc/hostname", ""])
def test_a_name_is_no_path(home, name):
    own(home, "rules", "mine.toml", b"")
    (home / "layouts").mkdir()
    with pytest.raises(BadToml, match="there is no layouts file"):
        resources.text("layouts", name)


def test_a_file_that_is_no_text_is_named(home):
    path = own(home, "rules", "mine.toml", b"\xff\xfe\x00t")
    with pytest.raises(BadToml) as caught:
        resources.text("rules", "mine")
    assert str(path) in str(caught.value)
    assert "UTF-8" in str(caught.value)


def test_the_data_folder_can_be_chosen(home):
    assert resources.data_folder() == home


@pytest.mark.parametrize(
    ("platform", "env", "expected"),
    [
        ("linux", {"XDG_DATA_HOME": "/x/data"}, Path("/x/data/imufeedback")),
        ("win32", {"APPDATA": "/x/roaming"}, Path("/x/roaming/imufeedback")),
        ("darwin", {}, Path.home() / "Library" / "Application Support" / "imufeedback"),
    ],
)
def test_the_platforms_usual_place(monkeypatch, platform, env, expected):
    monkeypatch.delenv("IMUFEEDBACK_HOME")
    monkeypatch.setattr(sys, "platform", platform)
    for key, value in env.items():
        monkeypatch.setenv(key, value)
    assert resources.data_folder() == expected
