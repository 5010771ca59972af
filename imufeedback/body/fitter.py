"""From a performed sequence, or from windows that somebody names, to a fit: roles, stretches, decision and score."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace

from imufeedback.body.calibration import FitImpossible, fit, fit_and_shared
from imufeedback.body.history import History
from imufeedback.body.roles import found_roles
from imufeedback.body.score import judged
from imufeedback.body.sequence import Performed
from imufeedback.body.stretch import WindowSamples
from imufeedback.body.suspects import in_words, inverted, of_blocks
from imufeedback.commands import FitWindows, Window
from imufeedback.errors import UsageError
from imufeedback.records import Fit, Floats, Level, Segment, Side

STANDING_S = 0.4
"""The stretch that shows the zero-g offsets begins so long before the end of standing still: by then the gyroscopes'
bias is known …"""
STANDING_AGAIN_S = 0.3
"""… and ends so long into standing again."""


@dataclass(frozen=True, slots=True)
class FitOutcome:
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


def by_windows(history: History, segments: Sequence[Segment], grid_hz: float, asked: FitWindows) -> Fit:
    """The fit that somebody asked for by windows. Where the pelvis has a window of its own, it is a bow's. Raises
    FitImpossible, and UsageError as `named_windows` does."""
    still_s, flex_s, whole_s = named_windows(segments, asked)
    still, whole = (history.windows(segments, window_s, grid_hz) for window_s in (still_s, whole_s))
    flex = {one: history.window(one, flex_s[one], grid_hz) for one in segments}
    own = all(flex_s[one] != flex_s[Segment.PELVIS] for one in segments if one is not Segment.PELVIS)
    bow = own and isinstance(asked.flex, Mapping)
    return fit(still, flex, whole, _postures(history, segments, whole_s[0]), bow=bow)


def named_windows(segments: Sequence[Segment], asked: FitWindows) -> tuple[Window, dict[Segment, Window], Window]:
    """Windows of a fit that was asked for (s): standing still, the movement of each segment, and all that is looked at.
    Raises UsageError when the movement of a worn segment is not named."""
    flex_s = asked.flex if isinstance(asked.flex, Mapping) else dict.fromkeys(segments, asked.flex)
    missing = [str(one).replace("_", " ") for one in segments if one not in flex_s]
    if missing:
        raise UsageError(f"no movement of the {', '.join(missing)} is named")
    flex_s = {one: flex_s[one] for one in segments}
    return asked.still, flex_s, _whole_s(asked.still, list(flex_s.values()))


def _whole_s(still_s: Window, flex_s: Sequence[Window]) -> Window:
    """From the end of standing still on to after the movements; or from before them into standing, when that came
    later."""
    begin_s, end_s = min(one[0] for one in flex_s), max(one[1] for one in flex_s)
    if begin_s < still_s[0]:
        return begin_s - STANDING_AGAIN_S, max(still_s[0] + STANDING_S, end_s + STANDING_AGAIN_S)
    return still_s[1] - STANDING_S, end_s + STANDING_AGAIN_S


def _postures(history: History, segments: Sequence[Segment], until_s: float) -> dict[Segment, Floats]:
    q_es = history.postures(segments, until_s)
    return {one: q_es[:, i] for i, one in enumerate(segments)}


def found(done: Performed, history: History, stored: Sequence[Segment], grid_hz: float) -> FitOutcome:
    """Roles and fit. Raises FitImpossible, in words for the player; also for a fit that would be poor."""

    def windows(window_s: tuple[float, float]) -> dict[Segment, WindowSamples]:
        return history.windows(stored, window_s, grid_hz)

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
    # without what was before: the sensors may just have been strapped on, and the movements show all
    out = judged(*fit_and_shared(still, _renamed(flex, roles), whole, bow=True), still, again, whole)
    needed = [one for one in out.segments if one.segment is not Segment.LEAD_FOREARM]
    poor = [one.reason for one in needed if one.level is Level.POOR]
    if poor:
        raise FitImpossible("; ".join(dict.fromkeys(str(one) for one in poor)))
    return FitOutcome(roles, out)


def _flex(
    real: Segment,
    right: dict[Segment, WindowSamples],
    left: dict[Segment, WindowSamples],
    bows: dict[Segment, WindowSamples],
) -> dict[Segment, WindowSamples]:
    """The samples in which a segment is flexed."""
    if real in (Segment.thigh(Side.RIGHT), Segment.shank(Side.RIGHT)):
        return right
    return left if real in (Segment.thigh(Side.LEFT), Segment.shank(Side.LEFT)) else bows


def _renamed(
    windows: Mapping[Segment, WindowSamples], roles: Mapping[Segment, Segment]
) -> dict[Segment, WindowSamples]:
    return {roles[stored]: stretch for stored, stretch in windows.items()}


_MIRROR = {
    Segment.LEFT_THIGH: Segment.RIGHT_THIGH,
    Segment.LEFT_SHANK: Segment.RIGHT_SHANK,
    Segment.RIGHT_THIGH: Segment.LEFT_THIGH,
    Segment.RIGHT_SHANK: Segment.LEFT_SHANK,
}


def _mirrored(segment: Segment) -> Segment:
    return _MIRROR.get(segment, segment)


def kept(one: FitOutcome) -> Fit:
    """The fit by the stored places, when only the sides differ: axes of left and right are the same, names are not."""
    stored = {real: name for name, real in one.roles.items()}

    return replace(
        one.fit,
        segments=tuple(replace(each, segment=stored[each.segment], reason=each.reason) for each in one.fit.segments),
    )


def offer(one: FitOutcome) -> str:
    """The question to the person."""
    parts = [
        f"the sensor of the {str(stored).replace('_', ' ')} moved as one on the {str(real).replace('_', ' ')}"
        for stored, real in one.differing.items()
    ]
    return f"{'; '.join(parts)}: swap them?"
