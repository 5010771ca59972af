"""Small files: regular ones, of a size, in UTF-8; anything else is told at once."""

from __future__ import annotations

import os
import sys
import time
from collections.abc import Callable
from contextlib import suppress
from pathlib import Path

import pytest
from hypothesis import given
from hypothesis import strategies as st

from imufeedback.errors import BadFile
from imufeedback.texts import TEXT_MAX, parse_json, read_bytes, read_json, read_text

POSIX = pytest.mark.skipif(sys.platform == "win32", reason="pipes and devices in folders are a POSIX thing")


def loop(path: Path) -> None:
    path.symlink_to(path.name)


ODD: dict[str, tuple[Callable[[Path], object], str]] = {
    "a folder": (Path.mkdir, "a folder"),
    "a pipe": (lambda path: os.mkfifo(path), "a pipe"),
    "a device": (lambda path: path.symlink_to("/dev/zero"), "a device"),
    "a dangling link": (lambda path: path.symlink_to("nowhere"), "leads nowhere"),
    "a loop of links": (loop, "cannot be read"),
    "latin-1": (lambda path: path.write_bytes("Größe\nŁ = é".encode("latin-1", "replace")), "line 1 is not UTF-8"),
    "too long": (lambda path: path.write_bytes(b"a" * (TEXT_MAX + 1)), "longer than 1024 kB"),
}


@POSIX
@pytest.mark.parametrize("name", ODD)
def test_what_is_no_text_file_is_one_line_at_once(tmp_path: Path, name: str) -> None:
    path = tmp_path / "file"
    make, says = ODD[name]
    make(path)
    begun = time.monotonic()
    with pytest.raises(BadFile) as caught:
        read_text(path)
    assert time.monotonic() - begun < 5
    assert says in str(caught.value)
    assert str(path) in str(caught.value)


def test_names_that_no_file_has(tmp_path: Path) -> None:
    with pytest.raises(FileNotFoundError):
        read_text(tmp_path / "none")
    with pytest.raises(BadFile, match="null"):
        read_bytes(tmp_path / "a\0b")
    with pytest.raises(BadFile, match="long"):
        read_bytes(tmp_path / ("a" * 300))


def test_a_byte_order_mark_is_no_letter(tmp_path: Path) -> None:
    path = tmp_path / "file"
    path.write_bytes("title = 'Größe'".encode("utf-8-sig"))
    assert read_text(path) == "title = 'Größe'"


@pytest.mark.parametrize("text", ["[" * 100_000, '{"a":' * 100_000, "9" * 5000, "{", "", "[1,]"])
def test_what_is_no_json_is_one_line(tmp_path: Path, text: str) -> None:
    path = tmp_path / "file.json"
    path.write_text(text, encoding="utf-8")
    with pytest.raises(BadFile) as caught:
        read_json(path)
    assert str(caught.value).startswith(str(path))


@given(st.text(max_size=100))
def test_any_text_is_json_or_told(text: str) -> None:
    with suppress(BadFile):
        parse_json(text, "x.json")
