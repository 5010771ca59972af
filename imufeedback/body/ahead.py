"""Updates of the joints in the compiled form: all those between which nothing else changes them, in one call."""

from __future__ import annotations

from dataclasses import fields

import numpy as np

from imufeedback import recursions
from imufeedback.body import link as formulas
from imufeedback.body.link import JointFilters, Sight
from imufeedback.constants import STANDARD_GRAVITY_M_S2
from imufeedback.records import Floats

_CONSTANTS = np.array(
    [
        formulas.DRIFT_RAD_SQRT_S**2,
        formulas.SCALE_RAD**2,
        formulas.ARM_WALK_M_SQRT_S**2,
        formulas.ACC_SD_M_S2**2,
        formulas.ARM_SD_SHARE**2,
        formulas.ROUGH_SHARE**2,
        formulas.LEVEL_SHARE,
        formulas.SURPRISE_MOST,
        formulas.LEVEL_MOST,
        formulas.FREEDOM,
        formulas.LASTING_MOST,
        formulas.UP_SHARE**2,
        formulas.UP_SD_LEAST_RAD**2,
        formulas.SHOWN_M_S2**2,
        STANDARD_GRAVITY_M_S2**2,
        formulas.OFF_SHARE,
        formulas.OFF_LEAST_RAD,
        formulas.TILT_OFF**2,
    ]
)
"""In the order of `updated` of the compiled form."""
_SEEN = [one.name for one in fields(Sight)]


class Ahead:
    """The updates of one block, from what both sides saw: leading axes (J, update)."""

    def __init__(self, one: Sight, two: Sight, span_s: float) -> None:
        self._sights = [np.ascontiguousarray(getattr(side, name)) for side in (one, two) for name in _SEEN]
        self._span_s = span_s
        self._shape = one.rate2.shape

    def observe(self, link: JointFilters, j: int, end: int) -> tuple[Floats, Floats, Floats] | None:
        """Update all joints for the `j`-th time, and on to before the `end`-th: (update, J, …) D, P and level after
        each that was done. None where Python has to do the first: nothing has been done then."""
        if recursions.core is None:
            return None
        now = link.D, link.P, link.arms_m, link.level, link.off
        rows = [np.empty((1 + end - j, *one.shape)) for one in now]
        for made, one in zip(rows, now, strict=True):
            made[0] = one
        done = recursions.core.updated(*self._shape, j, end, self._span_s, _CONSTANTS, *self._sights, *rows)
        if not done:
            return None
        link.D, link.P, link.arms_m, link.level, link.off = (made[done] for made in rows)
        D, P, _, level, _ = (made[1 : done + 1] for made in rows)
        return D, P, level
