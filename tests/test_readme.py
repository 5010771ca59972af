"""README and guides: what they name exists, no link is broken, and they are as short and plain as promised."""

from __future__ import annotations

import re
import statistics
from pathlib import Path
from typing import Any

import pytest
import readability
import typer

from imufeedback.cli import app
from imufeedback.phrases import PHRASES

ROOT = Path(__file__).resolve().parents[1]
GUIDES = sorted((ROOT / "imufeedback" / "guides").glob("*.md"))
PAGES = [ROOT / "README.md", *GUIDES]
README = (ROOT / "README.md").read_text(encoding="utf-8")
WORDS_BEFORE_THE_PICTURE, WORDS = 180, 1200
VERBS: set[str] = set(vars(typer.main.get_command(app))["commands"])
SENTENCE_MAX, EASE = 20, 70.0
"""Words of a sentence on a screen; Flesch reading ease (Flesch 1948), where 70 is "fairly easy"."""


def text_of(page: Path) -> str:
    return page.read_text(encoding="utf-8")


def commands(text: str) -> list[list[str]]:
    """The words of each command line that a page names, from its verb on."""
    found = re.findall(
        r"(?:^|[`\s/])imufeedback ([a-z][^`\n]*)", "\n".join(re.findall(r"`[^`\n]+`|```.*?```", text, re.S))
    )
    return [one.split(" && ")[0].split() for one in found]


def the_command(words: list[str]) -> tuple[Any, list[str]]:
    """The innermost command, and what follows it."""
    at: Any = typer.main.get_command(app)
    while hasattr(at, "commands") and words and words[0] in at.commands:
        at, words = at.commands[words[0]], words[1:]
    return at, words


@pytest.mark.parametrize("page", PAGES, ids=lambda page: page.stem)
def test_every_command_and_option_exists(page: Path) -> None:
    for words in commands(text_of(page)):
        command, rest = the_command(words)
        assert command.name == words[0] or words[0] in VERBS, words
        options = {name for one in command.params for name in one.opts + one.secondary_opts}
        named = {one for one in rest if one.startswith("--")}
        assert named <= options, f"{' '.join(words)}: {sorted(named - options)}"


def test_commands_are_really_looked_at() -> None:
    assert len(commands(README)) >= 12
    assert the_command(["sensors", "check", "--turn"])[0].name == "check"


@pytest.mark.parametrize("page", PAGES, ids=lambda page: page.stem)
def test_no_link_and_no_picture_is_broken(page: Path) -> None:
    for target in re.findall(r"\]\(([^)#]+)[^)]*\)", text_of(page)):
        if "://" not in target:
            assert (page.parent / target).exists(), f"{page.name}: {target}"


@pytest.mark.parametrize("page", PAGES, ids=lambda page: page.stem)
def test_every_file_that_is_named_exists(page: Path) -> None:
    for name in re.findall(r"`((?:imufeedback|firmware_notes|recordings|tests)/[\w./-]+)`", text_of(page)):
        assert (ROOT / name).exists(), f"{page.name}: {name}"


def test_the_readme_begins_with_the_job_and_is_short() -> None:
    assert len(README.partition("![")[0].split()) <= WORDS_BEFORE_THE_PICTURE
    assert len(README.split()) <= WORDS


def shown(text: str) -> list[str]:
    """The sentences of a text, a word in place of each field."""
    plain = re.sub(r"\{[^}]*\}", "x", text)
    return [one for one in re.split(r"(?<=[.!?])\s+|\n+", plain) if one.strip()]


def test_no_sentence_on_a_screen_is_long() -> None:
    for key, text in PHRASES.items():
        for one in shown(text):
            assert len(re.findall(r"[A-Za-z][\w'-]*", one)) <= SENTENCE_MAX, f"{key}: {one}"


def test_texts_are_easy_to_read() -> None:
    eases = []
    for text in PHRASES.values():
        if len(text.split()) >= 6:
            words = [" ".join(re.findall(r"[A-Za-z'-]+|[.!?]", one)) for one in shown(text)]
            measures = readability.getmeasures("\n".join(words), lang="en")
            eases.append(measures["readability grades"]["FleschReadingEase"])
    assert len(eases) > 100
    assert statistics.median(eases) >= EASE
