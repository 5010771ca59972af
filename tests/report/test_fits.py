"""The pages fit: a phone of 320 pixels, one sheet of A4."""

from __future__ import annotations

import re
from dataclasses import replace
from datetime import datetime, timedelta, timezone
from pathlib import Path

import msgspec
import numpy as np
import pytest
from browser import browser, cut, printed_pages
from judged_sessions import finding, rep, session, summary

from imufeedback import resources
from imufeedback.document import UnjudgedRule
from imufeedback.records import Hand
from imufeedback.report import svg
from imufeedback.report.page import player_page, session_page
from imufeedback.report.session import DrillWords, Frame, Frames, RepCurve, SessionReport
from imufeedback.rules import parse_rule_set

WIDTHS = (320, 360, 768)
PHONE_TEXT = 22
"""Height of a text of a picture on a phone, in its own units: `templates/page.css`."""
WIDE = 0.62
"""Width of a letter against its height: that of a wide font."""
OPEN = (
    UnjudgedRule(
        rule="turns-in-the-hips", text="Golfers differ too much here for one limit. Hit a baseline block first."
    ),
    UnjudgedRule(rule="knees-cross", lack="not checked", text="No sensors on the shanks."),
)
POSE = np.array([-40.0, -8.0, 20.0, 5.0, 3.0, -5.0, 23.0, 3.0, 5.0, np.nan, np.nan])


def usual(drill: str = "rehearsal-from-the-top") -> SessionReport:
    """Twelve reps with a figure at four positions, curves, a drill and rules that could not be checked."""
    found = finding("lead-hip-turns-in", 5.0, text="The trail hip stopped opening for part of the downswing.")
    reps = [rep(k, *([found] if k % 2 else []), flat=1.0 + k, tones=k % 3 > 0) for k in range(12)]
    reps = [msgspec.structs.replace(one, unjudged=list(OPEN)) for one in reps]
    rules = parse_rule_set(resources.text("drills", drill), drill)
    assert rules.drill is not None
    return session(
        *reps,
        curves={
            k: RepCurve(np.linspace(-45, 90, 300), np.linspace(22, -5, 300) + k, np.full(300, 1.5)) for k in range(12)
        },
        positions=Frames(0, Hand.RIGHT, [Frame(name, POSE, 1.5, 4.0) for name in ("top", "level", "impact", "finish")]),
        drill=DrillWords(rules.title, rules.drill.instructions, rules.drill.stop),
    )


def over_days() -> str:
    """Two sessions on one day and two on others, with kinds of rep that come again."""
    begin = datetime(2025, 7, 1, 10, tzinfo=timezone(timedelta(hours=2)))
    sessions = []
    for hours in (0, 5, 30):
        reps = [msgspec.structs.replace(rep(k, tones=True), kind="swing") for k in range(6)]
        sessions.append(replace(usual(), summary=summary(*reps), started=begin + timedelta(hours=hours)))
    return player_page("Ida with a name that is long", sessions)


def widths(page: str) -> list[tuple[str, float, float]]:
    """(text, left end, right end) of the texts of all line pictures, as wide as a phone shows them."""
    out = []
    for words, text in re.findall(r"<text ([^>]*)>([^<]*)</text>", "".join(re.findall(r"<svg viewBox.*?</svg>", page))):
        x, anchor = re.search(r'x="([0-9.]+)"', words), re.search(r'text-anchor="(\w+)"', words)
        assert x is not None
        width = len(text) * PHONE_TEXT * WIDE
        left = float(x[1]) - {"start": 0.0, "middle": width / 2, "end": width}[anchor[1] if anchor else "start"]
        out.append((text, left, left + width))
    return out


def test_the_texts_of_pictures_stay_inside_them_on_a_phone() -> None:
    found = widths(session_page(usual())) + widths(over_days())
    assert len(found) > 50
    assert not [one for one in found if one[1] < -8 or one[2] > svg.WIDTH + 8]
    assert f"svg {{ font-size: {PHONE_TEXT}px; }}" in session_page(usual())


@pytest.fixture(name="program")
def find_a_browser() -> str:
    found = browser()
    if found is None:
        pytest.skip("there is no Chromium here")
    return found


def test_nothing_is_cut_from_320_pixels_on(program: str, tmp_path: Path) -> None:
    assert cut(program, session_page(usual()), WIDTHS, tmp_path) == []
    assert cut(program, over_days(), WIDTHS, tmp_path) == []


def test_what_is_cut_is_found(program: str, tmp_path: Path) -> None:
    wide = session_page(usual()).replace("<h2>Next</h2>", '<h2 style="width: 500px">Next</h2>')
    assert cut(program, wide, WIDTHS, tmp_path) == ["320 px: H2 Next", "360 px: H2 Next"]


def test_a_session_is_one_sheet_of_a4_with_the_longest_drill(program: str, tmp_path: Path) -> None:
    pages = (session_page(usual(drill)) for drill in resources.available("drills"))
    assert printed_pages(program, max(pages, key=len), tmp_path) == 1
