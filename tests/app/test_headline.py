"""Every provoked state is the headline within a second, with what to do: the table behind `validate --set windows`."""

from __future__ import annotations

import pytest

from imufeedback.measure.windows.truths import LIMIT_S, TRUTHS, WindowTruth, seconds_until_named


def test_there_are_thirty_and_no_two_of_a_name() -> None:
    assert len({one.name for one in TRUTHS}) == len(TRUTHS) >= 30


@pytest.mark.parametrize("truth", TRUTHS, ids=lambda truth: truth.name)
def test_the_headline_names_it_within_a_second_with_what_to_do(truth: WindowTruth) -> None:
    taken_s = seconds_until_named(truth)
    assert taken_s is not None
    assert taken_s <= LIMIT_S
