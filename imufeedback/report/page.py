"""The report: one HTML file that needs nothing else, for the screen, a phone and A4 paper. Every text is escaped."""

from __future__ import annotations

from collections.abc import Sequence
from typing import Any

from imufeedback.constants import CAUTIONS
from imufeedback.document import JudgedRep
from imufeedback.records import Hand
from imufeedback.report import guides, pictures, story, trends
from imufeedback.report.likewise import FEW
from imufeedback.report.plain_words import rotation_words
from imufeedback.report.render import render
from imufeedback.report.screened import screening_of, screening_words
from imufeedback.report.session import SessionReport
from imufeedback.rules.screening import Screening

ROOM = "imufeedback.report"
REP_COLUMNS = (
    ("Top", "trail_thigh_angle_top_deg"),
    ("Impact", "trail_thigh_angle_impact_deg"),
    ("Finish", "trail_thigh_angle_finish_deg"),
    ("Lowest", "trail_thigh_angle_min_deg"),
    ("Error ±", "thigh_angle_sd_deg"),
)
HIP_COLUMNS = (
    ("Trail hip at impact", "trail_hip_rotation_impact_deg"),
    ("Lead hip at impact", "lead_hip_rotation_impact_deg"),
)


def session_page(session: SessionReport) -> str:
    """The report of one session."""
    return render(
        ROOM,
        "session.html",
        title=f"{session.player or session.title or 'Session'} – {session.when}",
        player=session.player,
        line=f"{session.title or 'Session'}, {session.when}",
        **_values(session),
    )


def player_page(player: str, sessions: Sequence[SessionReport]) -> str:
    """The report of a player: the newest session, and the trend over all. `sessions` in the order of time."""
    newest = sessions[-1]
    span = f"{story.count(len(sessions), 'session')}, {sessions[0].when} to {newest.when}"
    before = next((one for other in reversed(sessions[:-1]) if (one := screening_of(other.reps)) is not None), None)
    return render(
        ROOM,
        "player.html",
        title=f"{player} – {span}",
        player=player,
        line=span,
        several=len(sessions) > 1,
        stuck=trends.what_stuck(sessions),
        trends=trends.trends(sessions),
        few=FEW,
        clean_by_session=trends.clean_by_session(sessions),
        newest=f"{newest.title or 'session'}, {newest.when}",
        **_values(newest, before),
    )


def _values(session: SessionReport, earlier: Screening | None = None) -> dict[str, Any]:
    """What the template of a session shows. `earlier` is the screening of an earlier day."""
    reps, void, unchecked = session.reps, session.void, story.unchecked(session.summary)
    screening = screening_of(reps)
    return {
        "reps": len(reps),
        "clean": session.clean,
        "often": _often(session),
        "unchecked": unchecked,
        "void": story.count(len(void), "rep") if void else "",
        "discarded": story.count(len(session.discarded), "rep") if session.discarded else "",
        "homework": session.homework,
        "guides": _guides(session),
        "next": session.next or story.next_drill(reps),
        "drill": session.drill,
        "shown_rep": session.positions.rep + 1 if session.positions else None,
        "at_positions": pictures.at_positions(session.positions) if session.positions else [],
        "best_and_worst": pictures.best_and_worst(session),
        "screening": [] if screening is None else screening_words(screening, earlier),
        "certainty": [line for line in story.certainty(session.summary) if not reps or line not in unchecked],
        "unjudged": [_open(*one) for one in story.unjudged(one for rep in reps for one in rep.unjudged)],
        "limits": story.changed_limits(session.summary),
        "notes": [*session.notes, *([f"Tags: {', '.join(session.tags)}"] if session.tags else [])],
        "cautions": CAUTIONS,
        "work": story.worked_on(session.summary, session.rule_title),
        "reasons": [
            ("The best", _reasons(story.best(reps))),
            ("The ones to learn from", _reasons(story.worst(reps))),
        ],
        "course": pictures.rep_by_rep(reps) if len(reps) > 1 else [],
        "tones_known": any(rep.tones is not None for rep in reps),
        "stance": story.stance(rep.features for rep in reps),
        "columns": [head for head, _ in (*REP_COLUMNS, *HIP_COLUMNS)],
        "rows": [_row(rep) for rep in sorted([*reps, *void], key=lambda rep: rep.index)],
    }


def _often(session: SessionReport) -> tuple[str, str] | None:
    """(in how many reps, what) came most often."""
    following, faults = session.next, story.common_faults(session.reps)
    if following is not None and following.reps:
        return story.count(following.reps, "rep"), following.text
    return (story.count(faults[0][2], "rep"), faults[0][1]) if faults else None


def _guides(session: SessionReport) -> list[tuple[str, str]]:
    """The movement and the numbers explained, for who opens them: title and body of each page."""
    hand = Hand.RIGHT if session.positions is None else session.positions.hand
    return [(guides.title_of(name), guides.as_html(name, hand)) for name in ("hips", "film", "numbers")]


def _open(lack: str, text: str, rules: Sequence[str]) -> str:
    return f"{lack.capitalize()}: {', '.join(story.rule_words(rule) for rule in rules)}. {text}"


def _reasons(reps: Sequence[story.RepReason]) -> list[tuple[int, str, str]]:
    return [(told.rep.index + 1, story.clock(told.rep.start_s), told.reason) for told in reps]


def _row(rep: JudgedRep) -> dict[str, Any]:
    """One line of the table of all reps."""
    found = [story.finding_words(finding.rule, finding.verdict) for finding in rep.findings]
    return {
        "number": rep.index + 1,
        "at": story.clock(rep.start_s),
        "void": rep.void,
        "cells": [
            *((head, story.number(rep.features.get(name), "deg")) for head, name in REP_COLUMNS),
            *((head, _rotation(rep.features.get(name))) for head, name in HIP_COLUMNS),
        ],
        "bad": bool(story.faults(rep)),
        "found": ", ".join(found) or story.nothing(len(rep.unjudged)),
    }


def _rotation(value: float | None) -> str:
    return "not known" if value is None or value != value else rotation_words(value)
