"""A player over the sessions: like with like, one trend a kind of rep, tests first."""

from __future__ import annotations

from collections import Counter
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from imufeedback.document import JudgedRep
from imufeedback.report import story
from imufeedback.report.likewise import FEW, Likeness, kinds_of, point
from imufeedback.report.pictures import TREND_FEATURES, Captioned, session_by_session
from imufeedback.report.retention import Retention, retention
from imufeedback.report.session import SessionReport

KINDS_MAX = 8
"""Kinds of rep whose trend is drawn, tests first."""
SESSIONS_MAX = 12
"""Newest sessions that are named one by one."""


@dataclass(frozen=True, slots=True)
class Trend:
    """One kind of rep, session by session."""

    title: str
    counts: str
    """Reps on each day."""
    few: str
    """On how many days there were too few to draw; empty when there was none."""
    pictures: Sequence[Captioned]


def trends(sessions: Sequence[SessionReport]) -> list[Trend]:
    """Kinds that only one session has are no trend."""
    by_kind = [kinds_of(session.summary, session.reps) for session in sessions]
    times = Counter(kind for kinds in by_kind for kind in kinds)
    repeated = sorted(kind for kind, many in times.items() if many > 1)
    return [_trend(kind, [kinds.get(kind, []) for kinds in by_kind], sessions) for kind in repeated[:KINDS_MAX]]


def _trend(kind: Likeness, reps: Sequence[Sequence[JudgedRep]], sessions: Sequence[SessionReport]) -> Trend:
    many = [f"{session.day}: {len(here)}" for session, here in zip(sessions, reps, strict=True) if here]
    few = sum(0 < len(here) < FEW for here in reps)
    pictures = []
    for feature, title, unit in TREND_FEATURES:
        points = [point(here, feature) for here in reps]
        known = [one if one is not None and one.enough else None for one in points]
        if sum(one is not None for one in known) < 2:
            continue
        mean = np.array([np.nan if one is None else one.mean for one in known])
        spread = np.array([np.nan if one is None else one.spread for one in known])
        pictures.append(session_by_session(mean, spread, kind.words, title, unit, sessions))
    return Trend(kind.words, ", ".join(many[-SESSIONS_MAX:]), story.count(few, "day") if few else "", pictures)


def clean_by_session(sessions: Sequence[SessionReport]) -> list[str]:
    return [
        f"{session.when}: {session.clean} of {len(session.reps)} reps without a fault"
        for session in sessions[-SESSIONS_MAX:]
    ]


def what_stuck(sessions: Sequence[SessionReport]) -> str:
    """The newest test against the one before of the same drill; empty where there are no two."""
    now = sessions[-1]
    for before in reversed(sessions[:-1]):
        kept = retention(now.summary, before.summary)
        if kept is not None:
            return f"Test, against {before.when}: {_kept(kept)}"
    return ""


def _kept(kept: Retention) -> str:
    shares = f"{kept.now.reps} reps, {100 * kept.now.clean:.0f} % without a fault"
    earlier = f"{kept.before.reps} reps, {100 * kept.before.clean:.0f} %"
    if min(kept.now.reps, kept.before.reps) < FEW:
        return f"{shares}; then {earlier}. Too few to compare."
    better = [story.rule_words(rule) for rule, change in kept.rules().items() if change < 0]
    change = f"{100 * kept.clean_change:+.0f} points".replace("-", "\N{MINUS SIGN}")
    less = f" Less often: {', '.join(better)}." if better else ""
    return f"{shares}; then {earlier} ({change}).{less}"
