"""Which gyroscope bias is taken off: the last one that was observed at rest, and that rest went on after for a while.

What a filter infers in motion serves its own tilt but is worse than nothing for the turn between two sensors
(`body/WHY.md`, 15); and the end of a rest is the beginning of a slow movement.
"""

from __future__ import annotations

import math
from dataclasses import dataclass, field

import numpy as np

from imufeedback import recursions
from imufeedback.records import Bools, Floats

SETTLE_S = 0.5
"""An observed bias counts once the rest has gone on for so long after it."""
SCALE_SHARE = 0.002
"""Weight of one sample in the usual step: a few seconds' worth of samples."""
_NONE = math.nan, math.nan, math.nan


@dataclass
class HeldBias:
    """State; `held` moves it on."""

    bias: Floats = field(default_factory=lambda: np.zeros(3))
    """(3,) that is taken off."""
    scale: float = 1.0
    """Usual step over the filter's period."""
    candidate: Floats | None = None
    """(3,) a later one, `candidate_s` old, that counts when the rest goes on."""
    candidate_s: float = 0.0

    def held(self, bias: Floats, observed: Bools, steps_s: list[float], period_s: float) -> Floats:
        """(N, 3) what to take off; `bias` (N, 3) of the filter, `observed` (N,) at rest."""
        if recursions.core is not None:
            return self._held(bias, observed, np.array(steps_s), period_s)
        held = np.empty(bias.shape)
        for i, (seen, step) in enumerate(zip(observed.tolist(), steps_s, strict=True)):
            # the filter's bias is one of scaled rates; taken off with the usual scale and not with that of the sample,
            # or one odd step would make a spike of the bias
            self.scale += SCALE_SHARE * (min(max(step / period_s, 0.5), 2.0) - self.scale)
            if not seen:
                self.candidate = None
            elif self.candidate is None or self.candidate_s >= SETTLE_S:
                self.bias = self.bias if self.candidate is None else self.candidate
                self.candidate, self.candidate_s = bias[i] / self.scale, 0.0
            self.candidate_s += step
            held[i] = self.bias
        return held

    def _held(self, bias: Floats, observed: Bools, steps_s: Floats, period_s: float) -> Floats:
        """The same in the compiled form."""
        assert recursions.core is not None
        candidate = _NONE if self.candidate is None else self.candidate
        memory = np.array([self.scale, self.candidate_s, *self.bias, *candidate])
        held = np.empty(bias.shape)
        constants = np.array([SCALE_SHARE, SETTLE_S, period_s])
        recursions.core.held(
            len(bias), constants, np.ascontiguousarray(bias), observed.astype(float), steps_s, memory, held
        )
        self.scale, self.candidate_s = memory.item(0), memory.item(1)
        self.bias, self.candidate = memory[2:5], None if math.isnan(memory.item(5)) else memory[5:]
        return held
