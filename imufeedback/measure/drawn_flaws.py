"""Flaws of drawn players, from slight to gross, made on the inputs of the closed chain: pelvis and feet go another way,
the legs follow.

The trail thigh angle falls as the pelvis tips back against the thigh, so a stall is a pelvis that stops doing so, and
angle that comes back is one that tips forward again. Sizes are chosen; no source says how large people's flaws are.
"""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass, replace

import numpy as np

from imufeedback.records import Floats
from imufeedback.synth import chain
from imufeedback.synth.drawn import Drawn
from imufeedback.synth.grounded import IMPACT, TOP, Legs, Moves, moves

GRADES = ("slight", "clear", "gross")
IMPACT_MARK, FINISH_MARK = 2, 3
ONSET_DEG = 4.5
"""Turn over which a slope comes up to its value."""
LEAST_FALL, LEAST_FINISH_DEG = 0.2, -2.0
"""Of a trail thigh that falls as coaches describe: degrees for a degree of turn, and where it comes to. About 23 at the
top and -6 at the end is 0.23 (common practice, no source)."""
ROUNDS = 8
"""Of the search for a pelvis whose legs do what is wanted."""
LEAD_KNEE_BENT_DEG = 36.0
"""About what drawn players have at the top."""
GIVES_OVER_DEG = 25.0
"""Turn over which a lead knee gives, half of it before impact. Chosen."""

Slopes = Callable[[Floats, float, float], tuple[Floats, Floats]]


@dataclass(frozen=True, slots=True)
class DrawnFlaw:
    """One flaw in three grades."""

    name: str
    rule: str
    """Rule that has to find it."""
    sizes: tuple[float, float, float]
    unit: str
    made: Callable[[Drawn, float], Moves]
    """Drawn players who have it, in this size."""
    falls: bool = False
    """Compared with players whose trail thigh keeps falling."""


def falling(of: Drawn) -> Moves:
    """The same players with a trail thigh that falls as coaches describe: evenly from the top to the finish."""
    return _followed(of, lambda fall, end: [(0.0, 0.0), (ONSET_DEG, -fall), (end, -fall)])


def _stall(of: Drawn, size: float) -> Moves:
    """From a third of the way to impact on the angle does not fall for so much turn; then it falls as before."""

    def slopes(fall: float, end: float) -> list[tuple[float, float]]:
        at = 0.22 * end
        knots = [(0.0, 0.0), (ONSET_DEG, -fall), (at - 2, -fall), (at + 2, 0.0), (at + size - 2, 0.0)]
        return [*knots, (at + size + 2, -fall), (end, -fall)]

    return _followed(of, slopes)


def _push_back(of: Drawn, size: float) -> Moves:
    """The angle grows by so much over the first turn down."""

    def slopes(fall: float, end: float) -> list[tuple[float, float]]:
        up = 0.5
        long = size / up
        return [(0.0, 0.0), (3.0, up), (3.0 + max(long - 3.0, 1.0), up), (7.0 + long, -fall), (end, -fall)]

    return _followed(of, slopes)


def _knee_up(of: Drawn, size: float) -> Moves:
    """The angle falls more slowly all along, and comes down to no less than this."""

    def slopes(fall: float, end: float) -> list[tuple[float, float]]:
        return [(0.0, 0.0), (ONSET_DEG, -fall), (end, -fall)]

    return _followed(of, slopes, finish_deg=size)


def _followed(
    of: Drawn, slopes: Callable[[float, float], Sequence[tuple[float, float]]], finish_deg: float | None = None
) -> Moves:
    """Players whose trail thigh angle has these slopes (degrees for a degree) over the turn (degrees) after the top;
    `slopes` is told the even fall and where the turn ends."""

    def changed(pelvis: chain.Pelvis, legs: Legs) -> chain.Pelvis:
        angle = legs(pelvis)[1].flexion
        wanted = angle.copy()
        for k in range(len(angle)):
            turn = np.rad2deg(pelvis.turn[k, TOP:] - pelvis.turn[k, TOP])
            top, finish = np.rad2deg(angle[k, [TOP, -1]])
            end = float(turn[-1])
            least = top - LEAST_FALL * end
            low = min(finish, LEAST_FINISH_DEG, least) if finish_deg is None else min(finish_deg, top)
            at, slope = np.array(slopes((top - low) / (end - ONSET_DEG / 2), end)).T
            grid = np.linspace(0.0, end, 800)
            gone = np.concatenate([[0.0], np.cumsum(np.diff(grid) * np.interp((grid[1:] + grid[:-1]) / 2, at, slope))])
            wanted[k, TOP:] = np.deg2rad(top + np.interp(turn, grid, gone))
        for _ in range(ROUNDS):
            pelvis = replace(pelvis, forward=pelvis.forward + wanted - legs(pelvis)[1].flexion)
        return pelvis

    return moves(of, changed)


def _knee_gives(of: Drawn, size: float) -> Moves:
    """The lead knee bends by so much around impact and straightens again: the pelvis drops over it."""

    def changed(pelvis: chain.Pelvis, legs: Legs) -> chain.Pelvis:
        turn = np.rad2deg(pelvis.turn - pelvis.turn[:, IMPACT : IMPACT + 1])
        half = GIVES_OVER_DEG / 2
        into = _smooth((turn + half) / GIVES_OVER_DEG)
        out = _smooth((turn - half) / np.maximum(turn[:, -1:] - half, 5.0))
        straight = legs(pelvis)[0].knee
        gives = np.array([np.interp(-half, one[TOP:], knee[TOP:]) for one, knee in zip(turn, straight, strict=True)])
        bent = (1 - out) * (gives[:, None] + np.deg2rad(size) * into) + out * straight
        wanted = np.where((turn > -half) & (np.arange(turn.shape[1]) >= TOP), bent, straight)
        thigh, shank = (part * of.stature[:, None] for part in (chain.THIGH, chain.SHANK))
        for _ in range(ROUNDS):
            knee = legs(pelvis)[0].knee
            length = np.sqrt(thigh**2 + shank**2 + 2 * thigh * shank * np.cos(knee))
            for_bend = thigh * shank * np.sin(np.maximum(knee, 0.1)) / length
            pelvis = replace(pelvis, height_m=pelvis.height_m - for_bend * (wanted - knee))
        return pelvis

    return moves(of, changed)


def _smooth(part: Floats) -> Floats:
    part = np.clip(part, 0.0, 1.0)
    out: Floats = part * part * (3 - 2 * part)
    return out


def _at(marks: Floats, *change: float) -> Floats:
    return marks + np.array(change)


def _one_block(of: Drawn, size: float) -> Moves:
    """Knees and feet go along with the pelvis: their give comes so near to all of the turn."""
    lead, trail = (give + size * (1.15 - give) for give in (of.give_lead, of.give_trail))
    return moves(replace(of, give_lead=lead, give_trail=trail, give_end=of.give_end + size * (90 - of.give_end)))


def _lead_along(of: Drawn, size: float) -> Moves:
    """The same of the lead leg alone."""
    end = of.give_end + size * (90 - of.give_end)
    return moves(replace(of, give_lead=of.give_lead + size * (1.15 - of.give_lead), give_end=end))


def _trail_along_back(of: Drawn, size: float) -> Moves:
    """The trail leg turns along with the pelvis on the way back, and home again."""
    return moves(replace(of, pivot_trail=_at(of.pivot_trail, 0, -size, 0, 0)))


def _late_level(of: Drawn, size: float) -> Moves:
    """At impact the lead side is only so far up."""
    side = of.side.copy()
    side[:, IMPACT_MARK] = np.minimum(side[:, IMPACT_MARK], size)
    return moves(replace(of, side=side))


def _early_level(of: Drawn, size: float) -> Moves:
    """The lead side shoots up from the top: tilt goes with a smaller power of the turn made."""
    return moves(replace(of, level_power=np.minimum(of.level_power, size)))


def _sitting(of: Drawn, size: float) -> Moves:
    """At the finish the pelvis is behind the feet, the lead knee bent, and both hips are flexed by so much or more."""
    of = replace(of, ahead=_at(of.ahead, 0, 0, 0, -0.05), knee_lead_finish=of.knee_lead_finish + 15)
    for _ in range(4):
        made = moves(of)
        least = np.rad2deg(np.minimum(made.lead.flexion[:, -1], made.trail.flexion[:, -1]))
        forward = of.forward.copy()
        forward[:, FINISH_MARK] += np.maximum(size - least, 0)
        of = replace(of, forward=forward)
    return moves(of)


def _slides(of: Drawn, size: float) -> Moves:
    """The pelvis slides so much further over a lead knee that stays bent, and the trail leg is dragged straight."""
    return moves(
        replace(
            of,
            to_target=_at(of.to_target, 0, 0, size / 100, 0),
            knee_lead_impact=np.maximum(of.knee_lead_impact, LEAD_KNEE_BENT_DEG),
            knee_trail_impact=np.full(len(of), 5.0),
        )
    )


FLAWS = (
    DrawnFlaw("stall", "trail-thigh-keeps-falling", (9, 20, 40), "degrees of turn", _stall, falls=True),
    DrawnFlaw("trail side pushed back", "trail-thigh-never-grows", (3, 6, 10), "degrees", _push_back, falls=True),
    DrawnFlaw("trail knee up", "trail-thigh-reaches-target", (6, 12, 18), "degrees left", _knee_up, falls=True),
    DrawnFlaw("one block", "turns-in-the-hips", (0.4, 0.7, 1.0), "part of the give", _one_block),
    DrawnFlaw("lead leg goes along", "lead-hip-turns-in", (0.4, 0.7, 1.0), "part of the give", _lead_along),
    DrawnFlaw("trail leg goes along back", "trail-hip-turns-in-back", (8, 16, 24), "degrees", _trail_along_back),
    DrawnFlaw("level late", "hips-level-half-way", (2, -1, -5), "degrees of lead side up at impact", _late_level),
    DrawnFlaw("level early", "hips-level-half-way", (0.5, 0.35, 0.2), "power of the turn made", _early_level),
    DrawnFlaw("sitting", "hips-not-still-flexed", (8, 16, 24), "degrees at the finish", _sitting),
    DrawnFlaw("slides over a bent knee", "knees-cross", (4, 8, 12), "cm", _slides),
    DrawnFlaw("lead knee gives", "lead-knee-gives", (4, 8, 14), "degrees", _knee_gives),
)
