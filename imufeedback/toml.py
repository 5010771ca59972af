"""TOML to records. Whatever is wrong with a text is one line that names file, key and value."""

from __future__ import annotations

import json
import math
import re
from collections.abc import Iterator, Mapping
from typing import Any, TypeVar

import msgspec

from imufeedback.errors import BadToml

_T = TypeVar("_T")
HINT = "correct the key or value"
PARTS_MAX = 100
"""Of a dotted key. Chosen: no key here has more than three."""
_PIECES = re.compile(r"[=,{}\[\]\n]")
_PARTS = re.compile(r"\.[ \t]*[^\s.]")
_WORDS_MAX = 200


def decode(text: str, kind: type[_T], where: str, *, hint: str = HINT, times: tuple[type, ...] = ()) -> _T:
    """A record of `kind`; `where` names the file in errors, `times` are the types of days and times that may stand in
    it.

    Raises BadToml as `table` and `convert` do.
    """
    return convert(table(text, where, hint=hint), kind, where, hint=hint, times=times)


def convert(
    document: Mapping[str, Any], kind: type[_T], where: str, *, hint: str = HINT, times: tuple[type, ...] = ()
) -> _T:
    """The same from values that were read. Raises BadToml for unknown or missing keys, values of another type or out of
    range."""
    try:
        return msgspec.convert(document, kind, builtin_types=times, str_keys=True)
    except (msgspec.MsgspecError, ValueError, OverflowError, RecursionError) as error:
        raise BadToml(_words(error), where=where, hint=hint) from error


def table(text: str, where: str, *, hint: str = HINT) -> dict[str, Any]:
    """The values of a text. Raises BadToml for what is no TOML or is nested too deeply, and for ``nan`` and ``inf``
    anywhere: no comparison with them ever fails, so a limit would be switched off without a word."""
    try:
        _refuse_long_keys(text)
        document: dict[str, Any] = msgspec.toml.decode(text)
        odd = [f"{place} = {value}" for place, value in floats(document, "") if not math.isfinite(value)]
    except RecursionError as error:
        raise BadToml(_words(error), where=where, hint=hint) from error
    except (msgspec.MsgspecError, ValueError, OverflowError) as error:
        raise BadToml(
            f"not TOML: {_words(error)}", where=where, hint="check quotes, brackets and line ends there"
        ) from error
    if odd:
        raise BadToml(f"{odd[0]} is no number that can be used", where=where, hint=hint)
    return document


def _words(error: Exception) -> str:
    if isinstance(error, RecursionError):
        return "its tables are nested too deeply"
    words = " ".join(str(error).split())
    return words if len(words) <= _WORDS_MAX else f"{words[:_WORDS_MAX]} …"


def _refuse_long_keys(text: str) -> None:
    """Raises ValueError for a key of hundreds of parts: time and memory of reading it grow with the square of them."""
    for piece in _PIECES.split(text):
        if piece.count(".") > PARTS_MAX and len(_PARTS.findall(piece)) > PARTS_MAX:
            raise ValueError(f"a key has more than {PARTS_MAX} parts")


def floats(value: Any, place: str) -> Iterator[tuple[str, float]]:
    """Every fraction of a document with its place, such as ``rules[0].limit``."""
    if isinstance(value, float):
        yield place, value
    elif isinstance(value, dict):
        for key, one in value.items():
            yield from floats(one, f"{place}.{key}" if place else key)
    elif isinstance(value, list):
        for number, one in enumerate(value):
            yield from floats(one, f"{place}[{number}]")


def quoted(text: str) -> str:
    """A text as it stands in a file, in quotes. Letters of every script stay as they are: TOML knows no halves of one,
    as JSON writes them."""
    return json.dumps(str(text), ensure_ascii=False).replace("\x7f", "\\u007f")
