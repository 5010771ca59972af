"""Misspelt words and the known ones nearest to them."""

from __future__ import annotations

import pytest
from hypothesis import given
from hypothesis import strategies as st

from imufeedback.rules.vocabulary import FEATURES
from imufeedback.sounds import BY_NAME as SOUNDS
from imufeedback.spelling import meant, nearest


@given(st.sampled_from(sorted(FEATURES)), st.data())
def test_one_wrong_letter_still_leads_to_a_word_as_near(word: str, data: st.DataObject) -> None:
    at = data.draw(st.integers(0, len(word) - 1))
    wrong = word[:at] + data.draw(st.sampled_from("qxz")) + word[at + 1 :]
    found = nearest(wrong, FEATURES)
    assert found is not None
    assert nearest(wrong, [word]) == word


@pytest.mark.parametrize("word", ["bananas", "", "x" * 5000, "12"])
def test_what_is_no_misspelling_has_no_nearest_word(word: str) -> None:
    assert nearest(word, SOUNDS) is None
    assert nearest(word, ()) is None


def test_a_hint_names_the_nearest_or_all() -> None:
    assert meant("staled", SOUNDS) == "is 'stalled' meant?"
    assert meant("nope", ("one", "two")) == "choose one of one, two"
