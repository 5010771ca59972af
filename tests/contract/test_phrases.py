"""The one table of texts: every call finds its text and fills in all of its fields, and no text is left that nobody
shows."""

from __future__ import annotations

import ast
import string
from collections.abc import Iterator
from enum import StrEnum
from pathlib import Path

import pytest

import imufeedback
from imufeedback import resources
from imufeedback.app.keys import TABLE, Screen
from imufeedback.app.next_words import SPOKEN_OF
from imufeedback.app.palette import PanelState
from imufeedback.app.start.readiness import Mark, StartStep
from imufeedback.app.tracks import Choice
from imufeedback.figure.drawing import View
from imufeedback.phrases import PHRASES, phrase
from imufeedback.records import Hand, Level, LinkState, Mode, Phase, Segment, Side
from imufeedback.rules import Whose, parse_rule_set

PACKAGE = Path(imufeedback.__file__).parent
OF_MEMBERS: dict[str, tuple[object, ...]] = {
    "state": tuple(PanelState),
    "state_hint": tuple(PanelState),
    "next": tuple(SPOKEN_OF),
    "phase": tuple(Phase),
    "phase_short": (Phase.BACKSWING, Phase.DOWNSWING, Phase.THROUGH_SWING),
    "link": tuple(LinkState),
    "segment": tuple(Segment),
    "level": tuple(Level),
    "side": tuple(Side),
    "mark": ("top", "impact", "finish"),
    "choice": tuple(Choice),
    "whose": ("usual", *Whose),
    "mode": tuple(Mode),
    "view": tuple(View),
    "hand": tuple(Hand),
    "start.title": tuple(StartStep),
    "start.mark": tuple(Mark),
    "screen": tuple(Screen),
    "limit": tuple(one.removeprefix("limit.") for one in PHRASES if one.startswith("limit.")),
    "fault": tuple(
        sorted(
            {
                rule.id
                for kind in ("rules", "drills")
                for name in resources.available(kind)
                for rule in parse_rule_set(resources.text(kind, name), name).rules
            }
        )
    ),
    "position": ("top_s", "level_s", "impact_s", "finish_s"),
    "review.button": ("note", "discard", "all_reps", "film"),
}
"""Keys that a call puts together: the part before the last dot, and what may stand after it."""


def calls() -> Iterator[tuple[str, ast.Call]]:
    for path in PACKAGE.rglob("*.py"):
        text = path.read_text(encoding="utf-8")
        if "phrase(" in text and path.name != "phrases.py":
            for node in ast.walk(ast.parse(text)):
                if isinstance(node, ast.Call) and isinstance(node.func, ast.Name) and node.func.id == "phrase":
                    yield f"{path.relative_to(PACKAGE)}:{node.lineno}", node


CALLS = list(calls())


def literals(key: ast.expr) -> list[str]:
    """Keys that an argument may stand for, without those put together from a member's name."""
    if isinstance(key, ast.Constant):
        return [key.value]
    if isinstance(key, ast.IfExp):
        return [*literals(key.body), *literals(key.orelse)]
    return []


def fields(text: str) -> set[str]:
    return {name for _, name, _, _ in string.Formatter().parse(text) if name is not None}


def test_every_call_finds_its_text_and_fills_all_its_fields() -> None:
    assert len(CALLS) > 200
    for where, call in CALLS:
        given = {one.arg for one in call.keywords}
        for key in literals(call.args[0]):
            assert key in PHRASES, f"{where}: no text {key!r}"
            if None not in given:  # else they come as a mapping
                assert fields(PHRASES[key]) <= given, f"{where}: {key!r} lacks {fields(PHRASES[key]) - given}"


def test_no_text_is_left_that_nobody_shows() -> None:
    named = {
        node.value
        for path in PACKAGE.rglob("*.py")
        if path.name != "phrases.py"
        for node in ast.walk(ast.parse(path.read_text(encoding="utf-8")))
        if isinstance(node, ast.Constant) and isinstance(node.value, str)
    }
    members = {f"{prefix}.{one}" for prefix, ones in OF_MEMBERS.items() for one in ones}
    assert set(PHRASES) - named - members - {one.said for one in TABLE} == set()


@pytest.mark.parametrize("prefix", OF_MEMBERS)
def test_every_member_has_its_text(prefix: str) -> None:
    for one in OF_MEMBERS[prefix]:
        assert phrase(f"{prefix}.{one}").strip()


def test_every_key_that_is_put_together_is_looked_at_here() -> None:
    for where, call in CALLS:
        if isinstance(call.args[0], ast.JoinedStr):
            begin = call.args[0].values[0]
            assert isinstance(begin, ast.Constant), where
            assert str(begin.value).removesuffix(".") in OF_MEMBERS, where


def test_an_unknown_key_and_a_missing_field_are_mistakes_of_the_program() -> None:
    with pytest.raises(KeyError):
        phrase("no such text")
    with pytest.raises(KeyError):
        phrase("rep_name", count=1)
    assert all(issubclass(type(one), StrEnum | str) for ones in OF_MEMBERS.values() for one in ones)
