"""The result of a rep is the headline from its end until the next address."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import replace

import pytest
from bay_events import angles, finding, grid, rep, state
from pytestqt.qtbot import QtBot

from imufeedback.app.bay import BayWindow
from imufeedback.app.palette import PaintedSign, PanelState
from imufeedback.app.result import result_of, sentence
from imufeedback.app.tracks import RepEntry
from imufeedback.records import Event, Motion, Phase, PhaseChanged, Verdict

MakeBay = Callable[..., BayWindow]


def show(window: BayWindow, *events: Event) -> None:
    window.feed.push(events)
    window._hear()
    window._frame_number = 0
    window._frame()


def test_a_fault_says_what_happened_its_number_its_limit_and_one_thing_to_try() -> None:
    told = replace(finding(0), text="The trail hip stopped opening. Keep turning.", sd=0.5, short="Keep turning")
    found = result_of(RepEntry(rep(0), None, [told]))
    assert (found.sign, found.what) == (PaintedSign.CROSS, "The trail hip stopped opening.")
    assert found.number == "4.2° ± 0.5°, limit 3.0°"
    assert found.to_try == "Keep turning"


def test_a_doubt_a_good_rep_and_one_that_does_not_count() -> None:
    doubt = result_of(RepEntry(rep(0), None, [finding(0, Verdict.UNSURE)]))
    assert doubt.sign is PaintedSign.RING
    assert doubt.what.startswith("Too close to call")
    good = result_of(
        RepEntry(rep(2, features={"trail_thigh_angle_min_deg": -4.0, "thigh_angle_sd_deg": 1.0}), None), 2.0
    )
    assert (good.sign, good.what) == (PaintedSign.TICK, "Rep 3: no fault.")
    assert good.number == "Lowest angle −4.0° ± 1.0°, target 2.0°"
    void = result_of(RepEntry(replace(rep(1), void="a sensor was silent"), None))
    assert (void.sign, void.number) == (PaintedSign.DASH, "a sensor was silent")
    assert result_of(RepEntry(rep(1), None, discarded=True)).sign is PaintedSign.DASH


@pytest.mark.parametrize(
    ("text", "first"), [("It fell. Go on.", "It fell."), ("It fell: go on.", "It fell."), ("x", "x.")]
)
def test_what_happened_is_the_first_sentence(text: str, first: str) -> None:
    assert sentence(text) == first


def test_a_rep_with_faults_does_not_end_in_a_green_word(make_bay: MakeBay) -> None:
    window = make_bay()
    block = window.view.panel.state
    show(window, angles(grid(60, 64)), PhaseChanged(63.0, Phase.DOWNSWING), state(Motion.STALLED, 63.2))
    assert block.headline is None
    show(window, state(Motion.FALLING, 63.4), PhaseChanged(63.6, Phase.THROUGH_SWING), PhaseChanged(63.8, Phase.FINISH))
    assert block.shown is PanelState.WAITING, "the last moment of the swing is not its result"
    show(window, rep(0), finding(0), PhaseChanged(63.9, Phase.WAITING))
    assert block.headline is not None
    assert block.headline.sign is PaintedSign.CROSS
    assert block.word.text() == "It stopped falling."
    show(window, PhaseChanged(64.0, Phase.ADDRESS))
    assert block.headline is None
    assert block.word.text() == "waiting"


def test_range_view_holds_it_too_and_trouble_comes_first(make_bay: MakeBay, qtbot: QtBot) -> None:
    window = make_bay()
    show(window, angles(grid(60, 64)), rep(0), finding(0))
    window._toggle_range()
    show(window)
    held = window.range.state.headline
    assert held is not None
    assert held.what in window.range.state.accessibleName()
    window.grab()
    window.range.show_state(PanelState.NO_SIGNAL)
    assert window.range.state.headline is None
