"""The pages of explanation: all there, readable on a terminal and as a page, with figures for both hands."""

from __future__ import annotations

import pytest

from imufeedback.errors import UsageError
from imufeedback.records import Hand
from imufeedback.report import guides


def test_the_three_pages_are_there() -> None:
    assert {"hips", "film", "numbers"} <= set(guides.names())


@pytest.mark.parametrize("name", guides.names())
def test_a_page_has_figures_and_nothing_of_its_markup_is_left(name: str) -> None:
    pages = [guides.as_page(name, hand) for hand in Hand]
    drawn = "[figures" in guides.text_of(name)
    assert (pages[0] != pages[1]) is drawn, "a left-hander has the mirror image"
    for page in pages:
        assert page.count("<svg") >= (4 if drawn else 0)
        assert "[figures" not in page
        assert "[numbers" not in page
        assert "**" not in page
        assert guides.title_of(name) in page
    text = guides.as_text(name)
    assert "[figures" not in text
    assert "<svg" not in text
    assert max(len(line) for line in text.splitlines() if not line.startswith(("- ", "|"))) <= guides.WIDTH


def test_every_number_is_named_in_words() -> None:
    text = guides.as_text("numbers")
    assert "range of the standing hip (°): standing_hip_range_deg" in text
    assert "pelvis turn (°) at address, top, level, impact, finish: pelvis_turn_address_deg …" in text


def test_a_page_that_is_not_there_is_told() -> None:
    with pytest.raises(UsageError, match="no page is called"):
        guides.text_of("../film")
