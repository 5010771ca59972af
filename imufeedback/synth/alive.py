"""Bodies that are never quite still: sway, breath and weight over feet that stay, from rest to rest.

Sway of quiet standing moves the body by some millimetres and parts of a degree, slowly (below 1 Hz); how much is
chosen, common practice, no source.
"""

from __future__ import annotations

from collections.abc import Mapping

import numpy as np

from imufeedback.synth.legs import Lean
from imufeedback.synth.plan import Channel, Piece, Posture
from imufeedback.synth.profile import Constant, Profile, splines_through

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
STIFF = Lean({one: {one: 1.0} if one in (Channel.SIDE_TILT, Channel.FORWARD_TILT) else {} for one in SWAYS})
"""Quiet standing: the body leans as one, as in `performance`."""


def swaying(rng: np.random.Generator, start_s: float, end_s: float, posture: Posture, lean: Lean) -> Piece:
    """Held as people hold it: about a posture, and at rest in it at both ends."""
    count = max(round((end_s - start_s) / KNOT_S), 2) + 1
    knots = np.linspace(start_s, end_s, count)
    by = [lean.moved(**{one: 1.0}) for one in SWAYS]
    channels = sorted({channel for one in by for channel in one})
    mixed = np.array([[one.get(channel, 0.0) for channel in channels] for one in by])
    moved = rng.standard_normal((count, len(SWAYS))) * list(SWAYS.values())
    moved[:, list(SWAYS).index(Channel.FORWARD_TILT)] += BREATH_RAD * np.sin(
        2 * np.pi * (BREATH_HZ * knots + rng.uniform())
    )
    moved[[0, -1]] = 0.0
    nothing = np.zeros(len(channels))
    rest = [(1, nothing), (2, nothing)]
    values = moved @ mixed + [posture.get(channel, 0.0) for channel in channels]
    profiles: dict[Channel, Profile] = {channel: Constant(value) for channel, value in posture.items()}
    profiles |= dict(zip(channels, splines_through(knots, values, rest, rest), strict=True))
    return Piece(start_s, end_s, profiles)
