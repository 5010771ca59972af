"""A live fitting from its first command to its fit: the sequence, then roles, axes and score from the windows."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace

from imufeedback.body.fitting import FitImpossible, fit_and_shared
from imufeedback.body.history import History
from imufeedback.body.roles import found_roles
from imufeedback.body.score import judged
from imufeedback.body.sequence import Performed
from imufeedback.body.stretch import Stretch
from imufeedback.body.suspects import in_words, inverted, of_blocks
from imufeedback.records import Fit, Level, Segment, Side

STANDING_S = 0.4
"""The stretch that shows the zero-g offsets begins so long before the end of standing still: by then the gyroscopes'
bias is known …"""
STANDING_AGAIN_S = 0.3
"""… and ends so long into standing again."""


@dataclass(frozen=True, slots=True)
class Found:
    """What a performance came to."""

    roles: Mapping[Segment, Segment]
    """Stored place → what it is really on, of every sensor."""
    fit: Fit
    """By the real places."""

    @property
    def differing(self) -> dict[Segment, Segment]:
        return {stored: real for stored, real in self.roles.items() if stored is not real}

    @property
    def only_sides(self) -> bool:
        """Nothing but left and right differ: all of one side are on the other."""
        return all(
            _mirrored(stored) is real for stored, real in self.roles.items() if stored is not Segment.LEAD_FOREARM
        )


def found(done: Performed, history: History, stored: Sequence[Segment], grid_hz: float) -> Found:
    """Roles and fit. Raises FitImpossible, in words for the player; also for a fit that would be poor."""

    def windows(window_s: tuple[float, float]) -> dict[Segment, Stretch]:
        return {one: history.window(one, window_s, grid_hz) for one in stored}

    right, left = windows(done.window(done.right)), windows(done.window(done.left))
    movers = (done.right[0].movers[0], done.left[0].movers[0], done.bows[0].movers[0])
    roles = found_roles(stored, right, left, movers)
    if len(set(roles.values())) != len(stored):
        raise FitImpossible("two sensors moved as one – one on the pelvis and one on each thigh, please")
    wrong = in_words(inverted(of_blocks(history.blocks, roles, (done.still_s[1] - STANDING_S, done.t_s))))
    if wrong is not None:  # it would look like a lift to the side
        raise FitImpossible(wrong)
    bows = windows(done.window(done.bows))
    flex = {stored_as: _flex(real, right, left, bows)[stored_as] for stored_as, real in roles.items()}
    whole_s = (done.still_s[1] - STANDING_S, done.again_s[0] + STANDING_AGAIN_S)
    still, again, whole = (
        _renamed(windows(one), roles) for one in ((done.still_s[0], done.still_s[1]), done.again_s, whole_s)
    )
    out = judged(*fit_and_shared(still, _renamed(flex, roles), whole), still, again, whole)
    needed = [one for one in out.segments if one.segment is not Segment.LEAD_FOREARM]
    poor = [one.reason for one in needed if one.level is Level.POOR]
    if poor:
        raise FitImpossible("; ".join(dict.fromkeys(str(one) for one in poor)))
    return Found(roles, out)


def _flex(
    real: Segment, right: dict[Segment, Stretch], left: dict[Segment, Stretch], bows: dict[Segment, Stretch]
) -> dict[Segment, Stretch]:
    """The samples in which a segment is flexed."""
    if real in (Segment.thigh(Side.RIGHT), Segment.shank(Side.RIGHT)):
        return right
    return left if real in (Segment.thigh(Side.LEFT), Segment.shank(Side.LEFT)) else bows


def _renamed(windows: Mapping[Segment, Stretch], roles: Mapping[Segment, Segment]) -> dict[Segment, Stretch]:
    return {roles[stored]: stretch for stored, stretch in windows.items()}


_MIRROR = {
    Segment.LEFT_THIGH: Segment.RIGHT_THIGH,
    Segment.LEFT_SHANK: Segment.RIGHT_SHANK,
    Segment.RIGHT_THIGH: Segment.LEFT_THIGH,
    Segment.RIGHT_SHANK: Segment.LEFT_SHANK,
}


def _mirrored(segment: Segment) -> Segment:
    return _MIRROR.get(segment, segment)


def kept(one: Found) -> Fit:
    """The fit by the stored places, when only the sides differ: axes of left and right are the same, names are not."""
    stored = {real: name for name, real in one.roles.items()}

    return replace(
        one.fit,
        segments=tuple(replace(each, segment=stored[each.segment], reason=each.reason) for each in one.fit.segments),
    )


def offer(one: Found) -> str:
    """The question to the person."""
    parts = [
        f"the sensor of the {str(stored).replace('_', ' ')} moved as one on the {str(real).replace('_', ' ')}"
        for stored, real in one.differing.items()
    ]
    return f"{'; '.join(parts)}: swap them?"
