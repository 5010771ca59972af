"""Which sensor is where, from what moved when; whatever it is called in the session."""

from __future__ import annotations

from collections.abc import Mapping, Sequence

import numpy as np

from imufeedback.body.matrices import from_q
from imufeedback.body.stretch import WindowSamples
from imufeedback.constants import STANDARD_GRAVITY_M_S2
from imufeedback.records import Segment, Side


def found_roles(
    stored: Sequence[Segment],
    right: Mapping[Segment, WindowSamples],
    left: Mapping[Segment, WindowSamples],
    movers: tuple[int, int, int],
) -> dict[Segment, Segment]:
    """What each sensor, named by its stored place, is really on.

    `right`, `left`: its samples while the right and the left knee were lifted; `movers` the sensors that moved most in
    the right lifts, the left lifts and the bows. A shank is shaken more by its own knee's lift than the thigh above it;
    a forearm keeps the place it has in store.
    """
    pelvis = stored[movers[2]]
    out = {pelvis: Segment.PELVIS}
    legs: dict[Side, list[Segment]] = {Side.RIGHT: [], Side.LEFT: []}
    shaken = {one: {Side.RIGHT: _shaken(right[one]), Side.LEFT: _shaken(left[one])} for one in stored}
    for one in stored:
        if one is Segment.LEAD_FOREARM:
            out[one] = one
        elif one is not pelvis:
            legs[max(Side, key=lambda side: shaken[one][side])].append(one)
    for side, sensors in legs.items():
        sensors.sort(key=lambda one: shaken[one][side])
        places = (Segment.thigh(side), Segment.shank(side))
        out |= dict(zip(sensors, places, strict=False))
    return out


def _shaken(stretch: WindowSamples) -> float:
    """Root mean square of what the accelerometer feels beyond gravity's size, and of its swinging, m/s²."""
    if not len(stretch.acc_m_s2):
        return 0.0
    up = np.einsum("nij,nj->ni", from_q(stretch.q_es), stretch.acc_m_s2)
    up[:, 2] -= STANDARD_GRAVITY_M_S2
    return float(np.sqrt((up**2).sum(axis=1).mean()))
