"""Contrast against WCAG 2.2, and a sign beside every colour."""

from __future__ import annotations

import pytest
from contrasts import LINE_CONTRAST_MIN, TEXT_CONTRAST_MIN, contrast, pairs_of_lines, pairs_of_text

from imufeedback.app import palette
from imufeedback.app.palette import STATE_LOOKS, PanelState
from imufeedback.records import LinkState, Motion


@pytest.mark.parametrize(
    ("one", "other", "ratio"),
    # 21:1 for black on white and 4.54:1 for #767676 on white: WCAG 2.2 and its well-known limiting grey.
    [("#000000", "#FFFFFF", 21.0), ("#FFFFFF", "#FFFFFF", 1.0), ("#767676", "#FFFFFF", 4.54)],
)
def test_contrast_ratio_is_that_of_wcag(one: str, other: str, ratio: float) -> None:
    assert contrast(one, other) == pytest.approx(ratio, abs=0.005)
    assert contrast(other, one) == contrast(one, other)


@pytest.mark.parametrize("look", palette.LOOKS)
def test_every_text_can_be_read_in_every_look(look: str) -> None:
    for name, (ink, ground) in pairs_of_text(look).items():
        live = ground in (palette.BLUISH_GREEN, palette.VERMILLION)  # of the live states, which keep their colours
        least = 7.0 if look == "sunlight" and not live else TEXT_CONTRAST_MIN  # WCAG 2.2, 1.4.6 AAA
        assert contrast(ink, ground) >= least, (name, round(contrast(ink, ground), 2))


@pytest.mark.parametrize("look", palette.LOOKS)
def test_every_line_can_be_seen_in_every_look(look: str) -> None:
    for name, (ink, ground) in pairs_of_lines(look).items():
        assert contrast(ink, ground) >= LINE_CONTRAST_MIN, (name, round(contrast(ink, ground), 2))


def test_every_state_and_link_has_a_look() -> None:
    assert set(STATE_LOOKS) == set(PanelState)
    assert set(palette.LINK_LOOKS) == set(LinkState)
    assert {PanelState.of(state) for state in Motion} <= set(STATE_LOOKS)


def test_live_states_differ_in_sign_and_in_colour() -> None:
    live = [STATE_LOOKS[PanelState.of(state)] for state in Motion]
    assert len({look.sign for look in live}) == len(live)
    assert len({look.ground for look in live}) == len(live)
