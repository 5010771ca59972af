"""How a body stays and goes: exactly, or as bodies that are alive do, never quite still and never twice alike.

Sway of quiet standing moves the body by some millimetres and parts of a degree, slowly (below 1 Hz); breath and weight
go over feet that stay. A movement has a pace of its own, and every part of the body one a little beside it. How much of
all that is chosen, common practice, no source.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace

import numpy as np

from imufeedback.synth.legs import Lean
from imufeedback.synth.plan import STANDING, Channel, Piece, Posture, hold, move
from imufeedback.synth.profile import Constant, Profile, Spline, Sum, from_rest_to_rest

SWAYS: Mapping[Channel, float] = {
    Channel.TURN: float(np.deg2rad(0.12)),
    Channel.SIDE_TILT: float(np.deg2rad(0.12)),
    Channel.FORWARD_TILT: float(np.deg2rad(0.20)),
    Channel.SWAY: 0.003,
    Channel.DEPTH: 0.002,
}
"""Standard deviation; radians and metres."""
KNOT_S = 0.6
BREATH_HZ, BREATH_RAD = 0.25, float(np.deg2rad(0.12))
"""Of the forward tilt, at rest; chosen."""
ANKLES_M = 0.85
STIFF = Lean(
    {
        Channel.TURN: {},
        Channel.SIDE_TILT: {Channel.SIDE_TILT: 1.0, Channel.SWAY: -ANKLES_M},
        Channel.FORWARD_TILT: {Channel.FORWARD_TILT: 1.0, Channel.DEPTH: ANKLES_M},
        Channel.SWAY: {},
        Channel.DEPTH: {},
    }
)
"""Quiet standing: the body leans as one, about the ankles."""
EARLY_SD, SLACK = 0.2, (0.7, 2.6)
"""Of a movement's pace (`Spline.eased`) …"""
EACH_EARLY_SD, EACH_SLACK_SD = 0.15, 0.3
"""… and of each channel beside it."""
ALONG = 0.2
"""Part of the sway that a swing leaves. Chosen."""
HESITATES = 6.0
"""Slack of a movement that nearly stops half way."""


@dataclass(frozen=True, slots=True)
class Manner:
    """Exactly, or, given a generator, as people do it."""

    rng: np.random.Generator | None = None

    def stay(self, start_s: float, end_s: float, posture: Posture = STANDING, lean: Lean = STIFF) -> Piece:
        if self.rng is None:
            return hold(start_s, end_s, posture)
        return swaying(self.rng, start_s, end_s, posture, lean)

    def go(self, start_s: float, end_s: float, before: Posture, after: Posture, hesitates: bool = False) -> Piece:
        """From rest to rest; with `hesitates` it nearly stops half way, as who is not sure of a movement does."""
        rng = self.rng
        if rng is None:
            return move(start_s, end_s, before, after)
        early, slack = EARLY_SD * rng.standard_normal(), HESITATES if hesitates else rng.uniform(*SLACK)

        def pace() -> tuple[float, float]:
            own = slack + EACH_SLACK_SD * rng.standard_normal()
            most = 0.9 * (1 - own / 9)
            return float(np.clip(early + EACH_EARLY_SD * rng.standard_normal(), -most, most)), own

        return move(start_s, end_s, before, after, pace)

    def along(self, pieces: Sequence[Piece], lean: Lean) -> list[Piece]:
        """An address and what was made after it; the body sways on through all of it, less from the address on. The
        turn is what was made."""
        if self.rng is None:
            return list(pieces)
        others = Lean({**lean.by, Channel.TURN: {}})
        sway = _sway(self.rng, pieces[0].start_s, pieces[-1].end_s, others, calm_s=pieces[0].end_s)
        return [replace(one, profiles=_with(one.profiles, sway)) for one in pieces]


EXACTLY = Manner()


def turning(lean: Lean) -> Lean:
    """Of that only the turn."""
    return Lean({one: lean.by[one] if one is Channel.TURN else {} for one in SWAYS})


def _with(profiles: Mapping[Channel, Profile], sway: Mapping[Channel, Spline]) -> dict[Channel, Profile]:
    return {one: Sum(profile, sway[one]) if one in sway else profile for one, profile in profiles.items()}


def swaying(rng: np.random.Generator, start_s: float, end_s: float, posture: Posture, lean: Lean) -> Piece:
    """Held as people hold it: about a posture, and at rest in it at both ends."""
    profiles: dict[Channel, Profile] = {channel: Constant(value) for channel, value in posture.items()}
    return Piece(start_s, end_s, profiles | _sway(rng, start_s, end_s, lean, posture))


def _sway(
    rng: np.random.Generator,
    start_s: float,
    end_s: float,
    lean: Lean,
    posture: Posture = STANDING,
    *,
    calm_s: float = np.inf,
) -> dict[Channel, Spline]:
    """About a posture; only `ALONG` of it after `calm_s`."""
    count = max(round((end_s - start_s) / KNOT_S), 2) + 1
    knots = np.linspace(start_s, end_s, count)
    quick = min((knots[1] - knots[0]) / KNOT_S, 1.0) ** 2  # in a moment nobody sways far
    by = [lean.moved(**{one: 1.0}) for one in SWAYS]
    channels = sorted({channel for one in by for channel in one})
    mixed = np.array([[one.get(channel, 0.0) for channel in channels] for one in by])
    moved = rng.standard_normal((count, len(SWAYS))) * list(SWAYS.values())
    moved[:, list(SWAYS).index(Channel.FORWARD_TILT)] += BREATH_RAD * np.sin(
        2 * np.pi * (BREATH_HZ * knots + rng.uniform())
    )
    moved[[0, -1]] = 0.0
    moved[knots > calm_s] *= ALONG
    values = quick * moved @ mixed + [posture.get(channel, 0.0) for channel in channels]
    return dict(zip(channels, from_rest_to_rest(knots, values), strict=True))
