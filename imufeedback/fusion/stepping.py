"""What steps from sample to sample behind a filter: its bias, how well it is known, and its level at rest."""

from __future__ import annotations

from dataclasses import dataclass, field
from functools import lru_cache
from typing import NamedTuple

import numpy as np
import numpy.typing as npt

from imufeedback import recursions
from imufeedback.fusion import held_bias, known, rest_level
from imufeedback.fusion.held_bias import HeldBias
from imufeedback.fusion.known import Knowledge
from imufeedback.fusion.rest_level import RestLevel
from imufeedback.records import Bools, Floats


class Given(NamedTuple):
    """N samples as a filter was given them, of which M were measured."""

    steps_s: Floats
    """(N,)"""
    bias: Floats
    """(N, 3) of the filter's rates."""
    observed: Bools
    """(N,) at rest."""
    real: npt.NDArray[np.intp] | None
    """(M,) places of those that were measured; None: all."""
    real_steps_s: Floats
    """(M,) steps from one measured sample to the next."""
    gyr_rad_s: Floats
    """(M, 3)"""
    acc_m_s2: Floats
    """(M, 3)"""
    q_es: Floats
    """(M, 4)"""


class Stepped(NamedTuple):
    """What the M measured samples tell."""

    q_es: Floats
    """(M, 4) with "up" put right."""
    gyr_rad_s: Floats
    """(M, 3) without bias."""
    bias_rad_s: Floats
    """(M, 3)"""
    inclination_sd_rad: Floats
    heading_sd_rad: Floats
    quiet_s: Floats
    """(M,) for how long the sensor has been quiet."""


@dataclass
class Stepping:
    """State of the three; `stepped` moves them on together."""

    bias: HeldBias = field(default_factory=HeldBias)
    known: Knowledge = field(default_factory=Knowledge)
    level: RestLevel = field(default_factory=RestLevel)

    def stepped(self, given: Given, period_s: float, flags: list[int]) -> Stepped:
        """`flags` (M,) may be empty where no sample is at the end of its range."""
        if recursions.core is not None and self.known.clip is None and not flags:
            return self._compiled(given, period_s)
        held = self.bias.held(given.bias, given.observed, given.steps_s, period_s)
        held = held if given.real is None else held[given.real]
        gyr, acc, steps_s = given.gyr_rad_s - held, given.acc_m_s2, given.real_steps_s.tolist()
        sds, headings, quiets = self.known.told(gyr, acc, steps_s, period_s, flags)
        levelled, sds = self.level.found(given.q_es, acc, steps_s, quiets, sds)
        q_es = given.q_es if levelled is None else levelled
        return Stepped(q_es, gyr, held, *(np.array(column) for column in (sds, headings, quiets)))

    def _compiled(self, given: Given, period_s: float) -> Stepped:
        """The same in the compiled form."""
        assert recursions.core is not None
        n, m = len(given.steps_s), len(given.real_steps_s)
        known, level, bias = self.known, self.level, self.bias
        memory = np.array(known.numbers + level.numbers + bias.numbers)
        out = Stepped(np.empty((m, 4)), np.empty((m, 3)), np.empty((m, 3)), np.empty(m), np.empty(m), np.empty(m))
        recursions.core.stepped(
            n,
            m,
            _constants(period_s),
            given.steps_s,
            given.bias,
            given.observed.astype(float),
            given.steps_s if given.real is None else given.real.astype(float),  # not looked at where all are
            given.real_steps_s,
            np.ascontiguousarray(given.gyr_rad_s),
            np.ascontiguousarray(given.acc_m_s2),
            given.q_es,
            memory,
            *out,
        )
        numbers = memory.tolist()
        known.numbers, level.numbers, bias.numbers = numbers[:11], numbers[11:16], numbers[16:]
        known.saw(out.gyr_rad_s[-2:].tolist())
        return out


@lru_cache(maxsize=16)
def _constants(period_s: float) -> Floats:
    return np.array([*known.constants(period_s), *rest_level.CONSTANTS, *held_bias.constants(period_s)])
