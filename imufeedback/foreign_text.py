"""Texts that other people wrote, made harmless: for a terminal, and for the cells of a spreadsheet."""

from __future__ import annotations

import re

_UNSAFE = re.compile("[\x00-\x1f\x7f-\x9f\u2028\u2029\u202a-\u202e\u2066-\u2069\ud800-\udfff]")
"""Control characters (ESC begins a terminal's commands), line ends, what turns the direction of writing round, and
bytes of a file name that are no UTF-8."""
_FORMULA = ("=", "+", "-", "@", "\t", "\r", "\n", "＝", "＋", "－", "＠")
"""What a spreadsheet takes for the beginning of a formula (OWASP, "CSV injection", from memory)."""


def printable(text: str) -> str:
    """One line that a terminal shows and does not obey: what is unsafe stands there escaped, as ``\\x1b``."""
    return _UNSAFE.sub(lambda found: found.group().encode("unicode_escape", "backslashreplace").decode(), text)


def cell(text: str) -> str:
    """A text for a CSV file: one that a spreadsheet would compute gets an apostrophe before it, and so stays a text."""
    return f"'{text}" if text.lstrip(" ").startswith(_FORMULA) else text
