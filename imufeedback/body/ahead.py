"""Updates of the joints ahead of their time, in the compiled form: all those of a block in one call.

They hold as long as nothing else changes the joints, a zero or a gap; from there on they are made again.
"""

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


class Ahead:
    """The updates of one block, from what both sides saw: leading axes (J, update)."""

    def __init__(self, one: Sight, two: Sight, span_s: float) -> None:
        self._sights = [np.ascontiguousarray(getattr(side, f.name)) for side in (one, two) for f in fields(Sight)]
        self._span_s = span_s
        joints, updates = one.rate2.shape
        self._shape = joints, updates
        self._rows: tuple[Floats, ...] = tuple(
            np.empty((updates + 1, joints, *size)) for size in ((3, 3), (9, 9), (6,), (), (3,))
        )
        self._good = -1
        """The last row that is right."""
        self._given: tuple[Floats, ...] = ()
        """What the joints were given last."""

    def observe(self, link: JointFilters, j: int, end: int) -> tuple[Floats, Floats, Floats] | None:
        """Update all joints for the `j`-th time, and on to before the `end`-th: (update, J, …) D, P and level after
        each that was done. None where Python has to do the first: nothing has been done then."""
        if recursions.core is None:
            return None
        now = link.D, link.P, link.arms_m, link.level, link.off
        follows = len(self._given) == len(now) and all(a is b for a, b in zip(now, self._given, strict=True))
        if not follows or self._good <= j:
            for rows, one in zip(self._rows, now, strict=True):
                rows[j] = one
            self._good = recursions.core.updated(*self._shape, j, self._span_s, _CONSTANTS, *self._sights, *self._rows)
        end = min(self._good, end)
        if end <= j:
            return None
        self._given = tuple(rows[end] for rows in self._rows)
        link.D, link.P, link.arms_m, link.level, link.off = self._given
        D, P, _, level, _ = (rows[j + 1 : end + 1] for rows in self._rows)
        return D, P, level
