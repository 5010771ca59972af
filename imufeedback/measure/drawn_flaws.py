"""Flaws of drawn players, from slight to gross, made on the inputs of the closed chain: pelvis and feet go another way,
the legs follow.

The trail thigh angle falls as the pelvis tips back against the thigh, so a stall is a pelvis that stops doing so, and
angle that comes back is one that tips forward again. Sizes are chosen; no source says how large people's flaws are.
"""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass, replace
from functools import partial
from typing import TypeAlias

import numpy as np

from imufeedback.records import Floats
from imufeedback.synth import chain
from imufeedback.synth.drawn import Drawn
from imufeedback.synth.grounded import IMPACT, TOP, Legs, RepCourses, moves

GRADES = ("slight", "clear", "gross")
IMPACT_MARK, FINISH_MARK = 2, 3
ONSET_DEG = 4.5
"""Turn over which a slope comes up to its value."""
LEAST_FALL, LEAST_FINISH_DEG = 0.2, -2.0
"""Of a trail thigh that falls as coaches describe: degrees for a degree of turn, and where it comes to. About 23 at the
top and -6 at the end is 0.23 (common practice, no source)."""
ROUNDS = 8
"""Of the search for a pelvis whose legs do what is wanted."""
GIVES_OVER_DEG = 25.0
"""Turn over which a lead knee gives, half of it before impact. Chosen."""
GROWS = 0.5
"""Slope of an angle that comes back, degrees for a degree. Chosen."""
LEAD_KNEE_BENT_DEG = 36.0
"""About what drawn players have at the top."""

LEAST_THROUGH_DEG = 12.0
"""Turn after impact of a player who stops there. Chosen."""

Knots: TypeAlias = Sequence[tuple[float, float]]
"""Turn after the top (degrees) and slope of the trail thigh angle there (degrees for a degree)."""


@dataclass(frozen=True, slots=True)
class DrawnFlaw:
    """One flaw in three grades."""

    name: str
    rule: str
    """Rule that has to find it …"""
    cause: str
    """… and what is to be said of it."""
    sizes: tuple[float, float, float]
    unit: str
    inputs: Callable[[Drawn, float], Drawn] = lambda of, size: of
    """Drawn players whose marks hold it."""
    slopes: Callable[[float, float, float], Knots] | None = None
    """Course of the trail thigh, of the flaw's size, the even fall and where the turn ends; None: not about that."""
    ends_as_made: bool = False
    """The trail thigh angle ends where the marks have it, not where coaches want it."""
    knee: Callable[[Floats, Floats, float], Floats] | None = None
    """Course of the lead knee, of turn after impact (degrees), its course without the flaw, and the size."""

    @property
    def falls(self) -> bool:
        """Compared with players whose trail thigh keeps falling."""
        return self.slopes is not None


def made(of: Drawn, flaws: Sequence[tuple[DrawnFlaw, float]], *, falls: bool) -> RepCourses:
    """Drawn players with flaws of these sizes, at most one of them of the trail thigh; `falls`: for the rest it falls
    as coaches describe."""
    for flaw, size in flaws:
        of = flaw.inputs(of, size)

    def changed(pelvis: chain.Pelvis, legs: Legs) -> chain.Pelvis:
        slopes: Callable[[float, float], Knots] = _even
        for flaw, size in flaws:
            if flaw.knee is not None:
                pelvis = _bent(of, pelvis, legs, partial(_sized, flaw.knee, size))
            if flaw.slopes is not None:
                slopes = partial(flaw.slopes, size)
        if falls or any(flaw.falls for flaw, _ in flaws):
            pelvis = _followed(pelvis, legs, slopes, as_made=any(flaw.ends_as_made for flaw, _ in flaws))
        return pelvis

    return moves(of, changed)


def _sized(knee: Callable[[Floats, Floats, float], Floats], size: float, turn: Floats, bend: Floats) -> Floats:
    return knee(turn, bend, size)


def _even(fall: float, end: float) -> Knots:
    return [(0.0, 0.0), (ONSET_DEG, -fall), (end, -fall)]


def _followed(
    pelvis: chain.Pelvis, legs: Legs, slopes: Callable[[float, float], Knots], *, as_made: bool
) -> chain.Pelvis:
    """Tipped so that the trail thigh angle has these slopes after the top, and an even fall would end at the finish."""
    angle = legs(pelvis)[1].flexion
    wanted = angle.copy()
    for k in range(len(angle)):
        turn = np.rad2deg(pelvis.turn[k, TOP:] - pelvis.turn[k, TOP])
        top, finish = np.rad2deg(angle[k, [TOP, -1]])
        end = float(turn[-1])
        low = finish if as_made else min(finish, LEAST_FINISH_DEG, top - LEAST_FALL * end)
        at, slope = np.array(slopes((top - low) / (end - ONSET_DEG / 2), end)).T
        grid = np.linspace(0.0, end, 800)
        fallen = np.cumsum(np.diff(grid) * np.interp((grid[1:] + grid[:-1]) / 2, at, slope))
        wanted[k, TOP:] = np.deg2rad(top + np.interp(turn, grid, np.concatenate([[0.0], fallen])))
    for _ in range(ROUNDS):
        pelvis = replace(pelvis, forward=pelvis.forward + wanted - legs(pelvis)[1].flexion)
    return pelvis


def _bent(of: Drawn, pelvis: chain.Pelvis, legs: Legs, course: Callable[[Floats, Floats], Floats]) -> chain.Pelvis:
    """As high as the lead knee's bend asks for."""
    turn = np.rad2deg(pelvis.turn - pelvis.turn[:, IMPACT : IMPACT + 1])
    straight = legs(pelvis)[0].knee
    wanted = np.where(np.arange(turn.shape[1]) >= TOP, course(turn, straight), straight)
    thigh, shank = (part * of.stature[:, None] for part in (chain.THIGH, chain.SHANK))
    for _ in range(ROUNDS):
        knee = legs(pelvis)[0].knee
        length = np.sqrt(thigh**2 + shank**2 + 2 * thigh * shank * np.cos(knee))
        for_bend = thigh * shank * np.sin(np.maximum(knee, 0.1)) / length
        pelvis = replace(pelvis, height_m=pelvis.height_m - for_bend * (wanted - knee))
    return pelvis


# ── the flaws ────────────────────────────────────────────────────────────────────────────────────────────────────


def _stall(size: float, fall: float, end: float) -> Knots:
    """From a third of the way to impact on the angle does not fall for so much turn; then it falls the faster."""
    at = 0.22 * end
    back = at + size
    faster = fall * (end - at) / (end - back - 2)
    knots = [(0.0, 0.0), (ONSET_DEG, -fall), (at - 2, -fall), (at + 2, 0.0), (back - 2, 0.0)]
    return [*knots, (back + 2, -faster), (end, -faster)]


def _push_back(size: float, fall: float, end: float) -> Knots:
    """The angle grows by so much over the first turn down; then it falls the faster."""
    long = max(size / GROWS, 4.0) + 3.0
    faster = (fall * (end - ONSET_DEG / 2) + size) / (end - long - 2.5)
    return [(0.0, 0.0), (3.0, GROWS), (long, GROWS), (long + 5.0, -faster), (end, -faster)]


def _stays_up(size: float, fall: float, end: float) -> Knots:
    """The angle falls by no more than so much until the finish."""
    slope = size / (end - ONSET_DEG / 2)
    return [(0.0, 0.0), (ONSET_DEG, -slope), (end, -slope)]


def _knee_gives(turn: Floats, knee: Floats, size: float) -> Floats:
    """The lead knee stops straightening before impact, bends by so much, and straightens until the finish."""
    half = GIVES_OVER_DEG / 2
    into = _smooth((turn + half) / GIVES_OVER_DEG)
    out = _smooth((turn - half) / np.maximum(turn[:, -1:] - half, 5.0))
    at = np.array([np.interp(-half, one[TOP:], bend[TOP:]) for one, bend in zip(turn, knee, strict=True)])[:, None]
    bent: Floats = np.where(turn > -half, (1 - out) * (at + np.deg2rad(size) * into) + out * knee, knee)
    return bent


def _smooth(part: Floats) -> Floats:
    part = np.clip(part, 0.0, 1.0)
    out: Floats = part * part * (3 - 2 * part)
    return out


def _at(marks: Floats, *change: float) -> Floats:
    out: Floats = marks + np.array(change)
    return out


def _one_block(of: Drawn, size: float) -> Drawn:
    """Knees and feet go along with the pelvis: their give comes so near to all of the turn."""
    lead, trail = (give + size * (1.15 - give) for give in (of.give_lead, of.give_trail))
    return replace(of, give_lead=lead, give_trail=trail, give_end=of.give_end + size * (90 - of.give_end))


def _lead_along(of: Drawn, size: float) -> Drawn:
    """The lead leg alone gives so much more."""
    return replace(of, give_lead=of.give_lead + size)


def _trail_along_back(of: Drawn, size: float) -> Drawn:
    """The trail leg turns along with the pelvis on the way back, and home again."""
    return replace(of, pivot_trail=_at(of.pivot_trail, 0, -size, 0, 0))


def _late_level(of: Drawn, size: float) -> Drawn:
    """At impact the lead side is only so far up."""
    side = of.side.copy()
    side[:, IMPACT_MARK] = np.minimum(side[:, IMPACT_MARK], size)
    return replace(of, side=side)


def _early_level(of: Drawn, size: float) -> Drawn:
    """The lead side shoots up from the top: tilt goes with a smaller power of the turn made."""
    return replace(of, level_power=np.minimum(of.level_power, size))


def _sitting(of: Drawn, size: float) -> Drawn:
    """At the finish the pelvis is behind the feet, the lead knee bent, and both hips are flexed by so much or more."""
    of = replace(of, ahead=_at(of.ahead, 0, 0, 0, -0.05), knee_lead_finish=of.knee_lead_finish + 15)
    for _ in range(4):
        now = moves(of)
        least = np.rad2deg(np.minimum(now.lead.flexion[:, -1], now.trail.flexion[:, -1]))
        forward = of.forward.copy()
        forward[:, FINISH_MARK] += np.maximum(size - least, 0)
        of = replace(of, forward=forward)
    return of


def _stops_short(of: Drawn, size: float) -> Drawn:
    """Turn and shift after impact end early: nothing of them is made at a size of 1, and the heel stays down."""
    turn, to_target = of.turn.copy(), of.to_target.copy()
    turn[:, FINISH_MARK] -= size * (turn[:, FINISH_MARK] - turn[:, IMPACT_MARK] - LEAST_THROUGH_DEG)
    to_target[:, FINISH_MARK] -= size * (to_target[:, FINISH_MARK] - to_target[:, IMPACT_MARK])
    forward = of.forward.copy()
    forward[:, FINISH_MARK] -= size * (forward[:, FINISH_MARK] - forward[:, IMPACT_MARK])
    return replace(of, turn=turn, to_target=to_target, forward=forward)


def _slides(of: Drawn, size: float) -> Drawn:
    """The pelvis slides so much further over a lead knee that stays bent, and the trail leg is dragged straight."""
    return replace(
        of,
        to_target=_at(of.to_target, 0, 0, size / 100, 0),
        knee_lead_impact=np.maximum(of.knee_lead_impact, LEAD_KNEE_BENT_DEG),
        knee_trail_impact=np.full(len(of), 5.0),
    )


FLAWS = (
    DrawnFlaw("stall", "trail-thigh-keeps-falling", "stalls", (9, 20, 40), "degrees of turn", slopes=_stall),
    DrawnFlaw(
        "trail side pushed back", "trail-thigh-never-grows", "pushes-back", (3, 6, 10), "degrees", slopes=_push_back
    ),
    DrawnFlaw(
        "one block", "turns-in-the-hips", "one-block", (0.4, 0.7, 1.0), "part of the give", inputs=_one_block
    ),
    DrawnFlaw(
        "lead leg goes along", "lead-hip-turns-in", "lead-hip-does-not-turn", (0.4, 0.7, 1.0), "more give",
        inputs=_lead_along,
    ),
    DrawnFlaw(
        "trail leg goes along back", "trail-hip-turns-in-back", "block-on-the-way-back", (8, 16, 24), "degrees",
        inputs=_trail_along_back,
    ),
    DrawnFlaw(
        "level late", "hips-level-half-way", "levels-at-the-wrong-time", (2, -1, -5),
        "degrees of lead side up at impact", inputs=_late_level,
    ),
    DrawnFlaw(
        "level early", "hips-level-half-way", "levels-at-the-wrong-time", (0.5, 0.35, 0.2), "power of the turn made",
        inputs=_early_level,
    ),
    DrawnFlaw(
        "does not stand up", "trail-thigh-reaches-target", "stays-sitting", (24, 15, 6),
        "degrees lost by the finish", slopes=_stays_up,
    ),
    DrawnFlaw(
        "stops short", "turns-through", "stops-short", (0.6, 0.8, 1.0), "part of the way through",
        inputs=_stops_short, ends_as_made=True,
    ),
    DrawnFlaw(
        "sitting", "hips-not-still-flexed", "stays-sitting", (8, 16, 24), "degrees at the finish", inputs=_sitting,
        ends_as_made=True,
    ),
    DrawnFlaw("slides over a bent knee", "knees-cross", "knees-do-not-trade", (4, 8, 12), "cm", inputs=_slides),
    DrawnFlaw("lead knee gives", "lead-knee-gives", "lead-knee-gives", (4, 8, 14), "degrees", knee=_knee_gives),
)  # fmt: skip
