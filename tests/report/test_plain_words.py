"""Signs stay inside files: people read words."""

from __future__ import annotations

import pytest

from imufeedback.records import Verdict
from imufeedback.report.plain_words import rotation_words, turn_words
from imufeedback.report.story import finding_words


@pytest.mark.parametrize(
    ("deg", "words"), [(-45.2, "45° turned"), (30.0, "30° open"), (0.4, "square"), (-0.4, "square")]
)
def test_pelvis_turn_is_turned_or_open(deg: float, words: str) -> None:
    assert turn_words(deg) == words


@pytest.mark.parametrize(("deg", "words"), [(-8.44, "−8.4° out"), (10.2, "10.2° in"), (0.04, "0.0°"), (-0.04, "0.0°")])
def test_hip_rotation_goes_in_or_out(deg: float, words: str) -> None:
    assert rotation_words(deg) == words


def test_a_finding_is_said_as_what_the_player_did() -> None:
    assert finding_words("trail-thigh-keeps-falling", Verdict.FAULT) == "stalled"
    assert finding_words("trail-thigh-keeps-falling", Verdict.UNSURE) == "perhaps stalled"
    assert finding_words("a-rule-of-a-coach", Verdict.FAULT) == "not met: a rule of a coach"
