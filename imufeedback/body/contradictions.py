"""What cannot be true of the samples themselves, before anything is fitted to them.

A check is a function of all stretches that gives one line for each thing that contradicts: which sensor, what, and what
to try. The first line refuses the calibration.
"""

from __future__ import annotations

from collections.abc import Callable, Iterator, Mapping

import numpy as np

from imufeedback.body.refusal import name
from imufeedback.body.stretch import WindowSamples
from imufeedback.constants import STANDARD_GRAVITY_M_S2
from imufeedback.records import Segment

Stretches = Mapping[Segment, WindowSamples]
Check = Callable[[Stretches, Stretches, Stretches], Iterator[str]]
"""By still, flex and whole stretches of each segment."""
WRONG_LENGTH_M_S2 = 1.5
"""Gravity at rest is at most so much too long or short: an accelerometer's worst offset (80 mg) and scale (3 %) make
1.1 (from memory)."""


def gravity_is_as_long(still: Stretches, flex: Stretches, whole: Stretches) -> Iterator[str]:
    """A sensor at rest feels one g."""
    for one, stretch in still.items():
        if len(stretch.acc_m_s2):
            length = float(np.linalg.norm(stretch.acc_m_s2.mean(axis=0)))
            if abs(length - STANDARD_GRAVITY_M_S2) > WRONG_LENGTH_M_S2:
                yield (
                    f"{name(one)}: at rest its accelerometer shows {length:.3g} m/s² instead of 9.81 – "
                    "check the unit and scale in its layout or file"
                )


CHECKS: tuple[Check, ...] = (gravity_is_as_long,)


def contradictions(still: Stretches, flex: Stretches, whole: Stretches) -> list[str]:
    """One line each."""
    return [line for check in CHECKS for line in check(still, flex, whole)]
