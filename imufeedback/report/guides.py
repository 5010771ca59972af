"""Pages that explain the movement and the numbers: Markdown of the package, with figures drawn by `imufeedback.figure`.

A line ``[figures: top, impact; from above]`` stands for postures in one view, ``[numbers]`` for the list of features.
"""

from __future__ import annotations

import re
import textwrap
from collections.abc import Iterator
from html import escape
from importlib import resources

from imufeedback.errors import UsageError
from imufeedback.figure.drawing import DrawnExtras, View, drawing
from imufeedback.figure.posture import pose_of
from imufeedback.figure.shapes import BodyPart, Label
from imufeedback.motion.features import AT_POSITIONS, MAIN_POSITIONS
from imufeedback.records import Hand
from imufeedback.report import svg
from imufeedback.report.plain_words import feature_word, turn_words, unit_of
from imufeedback.report.render import render
from imufeedback.rules.vocabulary import FEATURES
from imufeedback.spelling import meant

_FIGURES = re.compile(r"\[figures: ([a-z, -]+); ([a-z ]+)\]")
WIDTH = 88
"""Of lines on a terminal."""


def names() -> tuple[str, ...]:
    """Of all pages, sorted."""
    folder = resources.files("imufeedback") / "guides"
    return tuple(sorted(one.name.removesuffix(".md") for one in folder.iterdir() if one.name.endswith(".md")))


def text_of(name: str) -> str:
    """The Markdown of a page. Raises UsageError."""
    if name not in names():
        raise UsageError(f"no page is called {name!r}", where="guide", hint=meant(name, names()))
    return (resources.files("imufeedback") / "guides" / f"{name}.md").read_text(encoding="utf-8")


def title_of(name: str) -> str:
    return text_of(name).partition("\n")[0].removeprefix("# ")


def as_text(name: str) -> str:
    """A page for a terminal, without its figures."""
    blocks = []
    for block in _blocks(text_of(name)):
        if block == "[numbers]":
            blocks.append("\n".join(f"- {line}" for line in _numbers()))
        elif not _FIGURES.fullmatch(block):
            blocks.append("\n".join(_wrapped(line) for line in block.splitlines()))
    return "\n\n".join(blocks) + "\n"


def as_html(name: str, hand: Hand = Hand.RIGHT) -> str:
    """What stands between the tags of a page, with its figures for a player of this hand."""
    return "\n".join(_html(block, hand) for block in _blocks(text_of(name)))


def as_page(name: str, hand: Hand = Hand.RIGHT) -> str:
    """A whole page that needs nothing else."""
    return render("imufeedback.report", "guide.html", title=title_of(name), body=as_html(name, hand))


def _blocks(text: str) -> Iterator[str]:
    """Figures and lists of numbers each by itself, and what stands between them."""
    return (block.strip() for block in re.split(r"^(\[figures: .*\]|\[numbers\])$", text, flags=re.M) if block.strip())


def _wrapped(line: str) -> str:
    """Tables and code stay as they are written."""
    if not line or line.startswith(("|", "```", " ")):
        return line
    return textwrap.fill(line, WIDTH, subsequent_indent="  " if line.startswith("- ") else "")


def _html(block: str, hand: Hand) -> str:
    from markdown_it import MarkdownIt  # only who makes a page waits for it

    if found := _FIGURES.fullmatch(block):
        return _figures(found[1].split(", "), View(found[2]), hand)
    if block == "[numbers]":
        return _list(_numbers())
    made: str = MarkdownIt("commonmark", {"html": False}).enable("table").render(block)
    return made


def _list(lines: list[str]) -> str:
    return "<ul>" + "".join(f"<li>{escape(one)}</li>" for one in lines) + "</ul>"


def _figures(postures: list[str], view: View, hand: Hand) -> str:
    cells = []
    for name in postures:
        made = drawing(pose_of(name, hand), view, hand, DrawnExtras(shanks=True))
        if made is not None:
            said = name.replace("-", " ")
            picture = svg.body(made, f"{said}, {view}", _words)
            cells.append(f"<figure><figcaption>{escape(said.capitalize())}, {view}</figcaption>{picture}</figure>")
    return f"<div class='four'>{''.join(cells)}</div>"


def _words(label: Label) -> str:
    """Beside a part of a figure."""
    angle = f"{label.value_deg:.0f}°".replace("-", "\N{MINUS SIGN}")
    return {BodyPart.TARGET_LINE: "target", BodyPart.TURN: turn_words(label.value_deg)}.get(label.part, angle)


def _numbers() -> list[str]:
    """Every feature that is no error bar: words, unit, and name in files; angles at positions in one line."""
    positions = [one.removesuffix("_s") for one in MAIN_POSITIONS]
    at_positions = {f"{angle}_{position}_deg" for angle in AT_POSITIONS for position in positions}
    lines = [
        f"{angle.replace('_', ' ')} (°) at {', '.join(positions)}: {angle}_{positions[0]}_deg …"
        for angle in AT_POSITIONS
    ]
    for name in sorted(one for one in FEATURES - at_positions if "_sd_" not in one):
        unit = unit_of(name)
        lines.append(f"{feature_word(name)}{f' ({unit})' if unit else ''}: {name}")
    return lines
