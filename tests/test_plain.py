"""Texts that other people wrote command neither a terminal nor a spreadsheet."""

from __future__ import annotations

import pytest
from hypothesis import given
from hypothesis import strategies as st

from imufeedback.errors import BadFile
from imufeedback.foreign_text import cell, printable


@given(st.text(st.characters(codec=None)))
def test_a_printable_text_is_one_line_without_commands(text: str) -> None:
    shown = printable(text)
    assert len(shown.splitlines()) <= 1
    assert not any(ord(one) < 0x20 or 0x7F <= ord(one) < 0xA0 or 0xD800 <= ord(one) < 0xE000 for one in shown)
    assert printable(shown) == shown


@pytest.mark.parametrize("name", ["Łukasz", "né à 日本", "🏌️‍♀️", "O'Neill – 2", "می‌خواهم"])
def test_names_of_people_stay_as_they_are(name: str) -> None:
    assert printable(name) == name
    assert cell(name) == name


def test_escapes_are_shown() -> None:
    assert printable("a\x1b[2Jb\nc\u202ed\udcff") == "a\\x1b[2Jb\\nc\\u202ed\\udcff"


@given(st.sampled_from(["=", "+", "-", "@", "\t", "\r", "＝"]), st.text())
def test_a_cell_never_begins_as_a_formula_does(first: str, rest: str) -> None:
    assert cell(first + rest) == f"'{first}{rest}"
    assert cell(f"  {first}") == f"'  {first}"


def test_errors_are_safe_lines_too() -> None:
    error = BadFile("bad\x1b]0;x\x07", where="name\nof file", hint="see \u2066")
    assert str(error) == "name\\nof file: bad\\x1b]0;x\\x07 – see \\u2066"
