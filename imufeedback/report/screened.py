"""How far each hip turned by itself, in words: side against side, and against an earlier day. No diagnosis."""

from __future__ import annotations

from collections.abc import Sequence

from imufeedback.document import JudgedRep
from imufeedback.rules.screening import (
    MDC_DEG,
    NO_DIAGNOSIS,
    NORMS,
    TRIALS,
    Range,
    Screening,
    compare,
    screen,
    trial_of,
)

POSITION = "staggered stance, weight on the front leg, upright, active"
"""Of the hip-turn drills; values of another position are never put beside these."""
FORM = frozenset({"standing-thigh-still", "pelvis-level", "stance-staggered"})
"""A turn that fails one of them, or may have, shows what the leg or the back did and not the hip's range."""
SIDES, DIRECTIONS = {"trail": "trail hip", "lead": "lead hip"}, {"in": "inward", "out": "outward"}


def screening_of(reps: Sequence[JudgedRep]) -> Screening | None:
    """The screening in the reps of a session; None without hip turns whose thigh stayed still."""
    good = [one for one in reps if _is_hip_turn(one) and FORM.isdisjoint(found.rule for found in one.findings)]
    if not good:
        return None
    return screen((trial_of(one, "lead" if "lead" in one.kind else "trail") for one in good), POSITION)


def tight_side(found: Screening) -> tuple[str, str] | None:
    """The side that goes less far by more than can be chance, in the direction where it is most, and its sentence."""
    told = []
    for direction, word in DIRECTIONS.items():
        difference, least = found.side_difference_deg(direction), found.detectable_deg(direction)
        if difference is not None and abs(difference) > least:
            told.append((abs(difference), "trail" if difference > 0 else "lead", _side_words(word, difference, least)))
    return max(told)[1:] if told else None


def screening_words(now: Screening, before: Screening | None = None) -> list[str]:
    """What it says, line by line; `before` is an earlier day's."""
    lines = [
        _range_words(side, direction, now.ranges[side, direction])
        for side in SIDES
        for direction in DIRECTIONS
        if (side, direction) in now.ranges
    ]
    for direction, word in DIRECTIONS.items():
        difference = now.side_difference_deg(direction)
        if difference is not None:
            lines.append(_side_words(word, difference, now.detectable_deg(direction)))
    for change in [] if before is None else compare(now, before):
        where = f"{SIDES[change.side].capitalize()}, {DIRECTIONS[change.direction]}"
        far = "more" if change.change_deg > 0 else "less"
        said = f"{abs(change.change_deg):.0f}° {far} than last time" if change.beyond_mdc else "as last time"
        said += f" (a change counts from {change.detectable_deg:.1f}° on)"
        lines.append(f"{where}: {said}.")
    lines.append(
        f"No difference below {MDC_DEG:g}° counts: so much has been measured sitting (Krause et al.); for this stance "
        "nothing is published. Turns that differ among themselves raise it."
    )
    lines += [
        f"For comparison, {one.what}: {one.value}° ({one.source})." for one in NORMS if one.seen and _athletes(one.what)
    ]
    return [*lines, NO_DIAGNOSIS]


def _athletes(what: str) -> bool:
    return "athletes" in what


def _is_hip_turn(rep: JudgedRep) -> bool:
    return (
        not rep.void and "standing_hip_rotation_deg" in rep.features and "standing_hip_rotation_sd_deg" in rep.features
    )


def _range_words(side: str, direction: str, found: Range) -> str:
    head = f"{SIDES[side].capitalize()}, {DIRECTIONS[direction]}"
    if not found.complete:
        return f"{head}: {found.trials} of {TRIALS} good turns, too few to compare."
    apart = f"mean {found.mean_deg:.0f}°, {found.spread_deg:.0f}° apart"
    return f"{head}: {found.best_deg:.0f}° (best of {found.trials}; {apart})."


def _side_words(word: str, difference: float, detectable: float) -> str:
    counts = f"a difference counts from {detectable:.1f}° on"
    if abs(difference) <= detectable:
        return f"Turning {word}, the two hips do not differ by more than can be measured ({counts})."
    tight = "trail" if difference > 0 else "lead"
    far = f"{abs(difference):.0f}° less far ({counts})"
    return f"Turning {word}, the {tight} hip goes {far}: give that side more slow hip turns."
