"""A calibration performed live: roles, swaps, score, cancelling; and zeroing that is undone."""

from __future__ import annotations

import numpy as np
import pytest
from bodies import command
from performances import BEGIN, blocks, fed, hips, stage
from scipy.spatial.transform import Rotation

from imufeedback.commands import SetFit, args_of
from imufeedback.measure.fitters import Performance, StrapSlip, performance, strapped
from imufeedback.records import (
    Angles,
    FitRefused,
    FitStep,
    Fitted,
    Level,
    Notice,
    Segment,
    Side,
    Slipped,
    SwapOffered,
    Zeroed,
)
from imufeedback.synth.golfer import BODY
from imufeedback.synth.movements import Spoil
from imufeedback.synth.performance import make_addresses
from imufeedback.synth.sensors import WORN

EXCHANGED = (Segment.PELVIS, Segment.RIGHT_THIGH, Segment.LEFT_THIGH)


def ns(t_s: float) -> int:
    return round(t_s * 1e9)


def relabelled(seed: int, segments):
    from dataclasses import replace

    return [replace(one, segments=segments) for one in blocks(seed)]


@pytest.mark.parametrize("seed", [1, 2, 3])
def test_a_good_performance_is_fitted_within_half_a_minute(seed):
    events = fed(stage(seed), [BEGIN, *blocks(seed)])
    (fitted,) = [one for one in events if isinstance(one, Fitted)]
    assert fitted.t_s < 30.0
    assert not fitted.stored
    assert fitted.fit.level is Level.GOOD
    true = performance(seed).places
    for one in fitted.fit.segments:
        found = Rotation.from_quat(one.q_sb, scalar_first=True)
        error = (found.inv() * Rotation.from_quat(true[one.segment].q_sb, scalar_first=True)).magnitude()
        assert np.rad2deg(error) < 7.0
        assert error < 3.5 * np.linalg.norm(one.sd_axes_rad)


@pytest.mark.parametrize(("spoil", "words"), [(Spoil.SIDEWAYS, "sideways"), (Spoil.LOOSE, "loose")])
def test_what_only_the_score_shows_is_refused(spoil, words):
    events = fed(stage(5), [BEGIN, *blocks(5, spoil)])
    assert words in next(one for one in events if isinstance(one, FitRefused)).reason
    assert not any(isinstance(one, Fitted) for one in events)


def test_after_cancelling_nothing_is_watched():
    assert fed(stage(1), [BEGIN, command("fit-cancel"), *blocks(1)]) == []


def test_without_the_needed_sensors_it_says_so_at_once():
    (refused,) = fed(stage(1, (Segment.PELVIS, Segment.LEFT_THIGH)), [BEGIN])
    assert refused.reason == "no sensor on right thigh – calibration needs pelvis and both thighs"


def test_kept_roles_give_the_same_axes_under_the_stored_names():
    right = next(one for one in fed(stage(3), [BEGIN, *blocks(3)]) if isinstance(one, Fitted))
    body = stage(3, EXCHANGED)
    events = fed(body, [BEGIN, *relabelled(3, EXCHANGED)])
    assert sum(isinstance(one, SwapOffered) for one in events) == 1
    (kept,) = body.feed(command("keep", 40.0))
    assert isinstance(kept, Fitted)
    axes = {one.segment: one.q_sb for one in right.fit.segments}
    for one, real in zip(kept.fit.segments, WORN, strict=True):
        np.testing.assert_allclose(np.abs(one.q_sb @ axes[real]), 1.0, atol=1e-6)
    assert body.feed(command("keep", 41.0)) == [], "an offer is answered once"


def test_a_pelvis_in_the_wrong_place_cannot_be_kept():
    segments = (Segment.LEFT_THIGH, Segment.PELVIS, Segment.RIGHT_THIGH)
    body = stage(3, segments)
    (offer,) = [one for one in fed(body, [BEGIN, *relabelled(3, segments)]) if isinstance(one, SwapOffered)]
    assert not offer.only_sides
    (refused,) = body.feed(command("keep", 40.0))
    assert isinstance(refused, FitRefused)


def test_with_shanks_and_forearm():
    one = performance(2, segments=BODY)
    events = one.events(until=(Fitted, FitRefused, SwapOffered))
    (fitted,) = [event for event in events if isinstance(event, Fitted)]
    # the forearm's sensor has no joint and is not fitted
    assert [one.segment for one in fitted.fit.segments] == [one for one in BODY if one is not Segment.LEAD_FOREARM]
    assert sum(isinstance(event, FitStep) for event in events) == 5


def test_shanks_on_the_wrong_legs_are_found():
    roles = {one: one for one in BODY} | {
        Segment.LEFT_SHANK: Segment.RIGHT_SHANK,
        Segment.RIGHT_SHANK: Segment.LEFT_SHANK,
    }
    events = performance(2, segments=BODY, roles=roles).events(until=(Fitted, FitRefused))
    (offer,) = [event for event in events if isinstance(event, SwapOffered)]
    assert set(offer.roles) == {Segment.LEFT_SHANK, Segment.RIGHT_SHANK}


def test_a_stored_fit_of_an_earlier_day_is_not_used_without_saying_so():
    fitted = next(one for one in fed(stage(3), [BEGIN, *blocks(3)]) if isinstance(one, Fitted))
    args = {**args_of(SetFit.of(fitted.fit)), "caution": "made yesterday – calibrate again"}
    notice, used = stage(3).feed(command("set-fit", **args))
    assert notice == Notice(0.0, "made yesterday – calibrate again")
    assert used.stored


def test_a_zero_that_was_asked_for_can_be_undone():
    given = blocks(3, None, 1)
    top_s = performance(3, reps=1).script.truth.reps[0].top_s
    asked, undo, end = (
        next(k for k, one in enumerate(given) if one.t_s[0] > top_s + after_s) for after_s in (-0.08, 0.0, 0.04)
    )
    body, other = stage(3), stage(3)
    fed(body, [BEGIN, *given[:asked]])
    body.feed(command("zero", given[asked].t_s[0]))
    zeroed = fed(body, given[asked:undo])
    (zero,) = [k for k, one in enumerate(zeroed) if isinstance(one, Zeroed)]
    assert zeroed[zero].reason == "asked"
    assert np.abs(hips(zeroed[zero:])[0, [2, 5]]).max() < 0.1, "now counted from near the top"
    (undone,) = body.feed(command("zero-undo", given[undo].t_s[0]))
    assert undone.reason == "undone"
    after = hips(fed(body, given[undo:end]))
    assert np.abs(after[:, [2, 5]]).min() > 4.0, "both hips have turned since the address"
    fed(other, [BEGIN, *given[:undo]])
    np.testing.assert_allclose(after, hips(fed(other, given[undo:end])), atol=0.5, err_msg="as if nobody had asked")
    assert body.feed(command("zero-undo", given[end].t_s[0])) == [], "there is one step back"


def test_a_strap_that_slips_is_told_and_the_error_bar_grows():
    script, before = make_addresses(6, 6)
    slip = StrapSlip(Segment.RIGHT_THIGH, before[-3] + 0.2, float(np.deg2rad(10.0)))
    one = Performance(script, strapped(6), {segment: segment for segment in WORN}, slip=slip)
    events = one.events()
    (told,) = [event for event in events if isinstance(event, Slipped)]
    assert told.segment is Segment.RIGHT_THIGH
    assert slip.at_s < told.t_s < before[-1]
    assert "calibrate again" in told.text
    # at the address itself the zero takes a turn of the strap out again: it is in flexion and adduction that it errs
    sd = {
        k: np.array(
            [
                one.joint("hip", Side.RIGHT).sd_rad[-1, :2]
                for one in events
                if isinstance(one, Angles) and bool(one.t_s[0] > told.t_s) is k
            ]
        )
        for k in (False, True)
    }
    assert (np.nanmedian(sd[True], axis=0) > 1.2 * np.nanmedian(sd[False], axis=0)).all()
