"""When a player is told about a rep, and which reps have tones.

What the sources say comes from simple laboratory tasks, not from full swings.
"""

from __future__ import annotations

import math
from collections.abc import Mapping
from dataclasses import dataclass

from imufeedback.records import Mode


@dataclass(frozen=True, slots=True)
class Purpose:
    """What a mode is for, and why we think so."""

    use: str
    source: str


PURPOSES: Mapping[Mode, Purpose] = {
    Mode.NONE: Purpose(
        "Baseline and test: shows what the player does without feedback.",
        "Feedback guides but can block one's own error detection: Salmoni, Schmidt & Walter, Psychol Bull "
        "1984;95:355-86 (from memory)",
    ),
    Mode.CONCURRENT: Purpose(
        "First contact with a movement, slow drills that can be corrected in motion.",
        "Helps complex tasks more than simple ones: Sigrist et al., Psychon Bull Rev 2013;20:21-53; on every trial it "
        "makes dependent: Park, Shea & Wright 2000 (from memory)",
    ),
    Mode.BANDWIDTH: Purpose(
        "A movement that is mostly right: silence means inside the coach's band.",
        "Band of 15 % against every trial: Cruz et al., Motricidade 2018;14:107 (better, held 7 days); no difference "
        "at 5 and 10 %: Colen & Zubiaur 2008",
    ),
    Mode.AFTER_REP: Purpose(
        "Full pace: a downswing is over before anybody can react, so the result comes after it.",
        "Simple reaction to sound 0.19 s (Nihon Jibiinkoka 1990;93:746-55), 0.14 s in textbooks (from memory), against "
        "a downswing of 0.27 s (Grober & Cholewicki, arXiv physics/0611291)",
    ),
    Mode.FADED: Purpose(
        "On the way to doing it alone: fewer and fewer reps with tones, 100, 50, 20, 0 % by block.",
        "Faded or 50 % improved and was kept, 100 % was not: Aoyagi et al., J Phys Ther Sci 2019;31:687; Winstein & "
        "Schmidt, JEP:LMC 1990;16:677-91 (from memory)",
    ),
}
"""Why there is each mode."""

ESTIMATE = Purpose(
    "The player says what he thinks of the rep before the result is shown.",
    "Estimating one's own error first: better retention at any frequency (old.scielo.br, J Phys Educ, n = 52)",
)
FADED_SHARES = (1.0, 0.5, 0.2, 0.0)
"""Block after block."""


@dataclass(frozen=True, slots=True)
class Feedback:
    """How the reps of one block are told about."""

    mode: Mode = Mode.CONCURRENT
    share: float = 1.0
    """Part of the reps that have tones."""
    estimate: bool = False
    """The result waits for the player's own estimate; for results that come after the rep."""

    def has_tones(self, rep_in_block: int) -> bool:
        """Whether the rep with this number (from 0) has tones: spread evenly over the block, the first one first."""
        if self.mode is Mode.NONE or self.share <= 0:
            return False
        return math.ceil((rep_in_block + 1) * self.share - 1e-9) > math.ceil(rep_in_block * self.share - 1e-9)

    @property
    def in_motion(self) -> bool:
        """Tones while the player moves."""
        return self.mode in (Mode.CONCURRENT, Mode.FADED)

    @property
    def after_rep(self) -> bool:
        return self.mode in (Mode.BANDWIDTH, Mode.AFTER_REP)
