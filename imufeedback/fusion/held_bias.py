"""Which gyroscope bias is taken off: the last one that was observed at rest, and that rest went on after for a while.

What a filter infers in motion serves its own tilt but is worse than nothing for the turn between two sensors
(`body/WHY.md`, 15); and the end of a rest is the beginning of a slow movement.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass
from typing import TypeAlias

import numpy as np

from imufeedback.records import Bools, Floats

SETTLE_S = 0.5
"""An observed bias counts once the rest has gone on for so long after it."""
SCALE_SHARE = 0.002
"""Weight of one sample in the usual step: a few seconds' worth of samples."""
_NONE = math.nan, math.nan, math.nan
Rates: TypeAlias = tuple[float, float, float]


@dataclass
class HeldBias:
    """State; `held` moves it on."""

    bias: Rates = (0.0, 0.0, 0.0)
    """What is taken off."""
    scale: float = 1.0
    """Usual step over the filter's period."""
    candidate: Rates | None = None
    """A later one, `candidate_s` old, that counts when the rest goes on."""
    candidate_s: float = 0.0

    def held(self, bias: Floats, observed: Bools, steps_s: Floats, period_s: float) -> Floats:
        """(N, 3) what to take off; `bias` (N, 3) of the filter, `observed` (N,) at rest."""
        held = np.empty(bias.shape)
        for i, (seen, step) in enumerate(zip(observed.tolist(), steps_s.tolist(), strict=True)):
            # the filter's bias is one of scaled rates; taken off with the usual scale and not with that of the sample,
            # or one odd step would make a spike of the bias
            self.scale += SCALE_SHARE * (min(max(step / period_s, 0.5), 2.0) - self.scale)
            if not seen:
                self.candidate = None
            elif self.candidate is None or self.candidate_s >= SETTLE_S:
                self.bias = self.bias if self.candidate is None else self.candidate
                x, y, z = (bias[i] / self.scale).tolist()
                self.candidate, self.candidate_s = (x, y, z), 0.0
            self.candidate_s += step
            held[i] = self.bias
        return held

    @property
    def numbers(self) -> tuple[float, ...]:
        """All of the state, in the order of the compiled form."""
        return self.scale, self.candidate_s, *self.bias, *(self.candidate or _NONE)

    @numbers.setter
    def numbers(self, values: Sequence[float]) -> None:
        self.scale, self.candidate_s, x, y, z, p, q, r = values
        self.bias, self.candidate = (x, y, z), None if math.isnan(p) else (p, q, r)


def constants(period_s: float) -> list[float]:
    """In the order of the compiled form."""
    return [SCALE_SHARE, SETTLE_S, period_s]
