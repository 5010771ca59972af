"""The pictures of a report: a rep at its positions, the best and worst reps, features over reps and sessions."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np

from imufeedback.document import JudgedRep
from imufeedback.figure.drawing import DrawnExtras, View, drawing
from imufeedback.figure.shapes import BodyPart, Label
from imufeedback.records import Floats
from imufeedback.report import story, svg
from imufeedback.report.plain_words import turn_words
from imufeedback.report.session import Frame, Frames, SessionReport

TREND_FEATURES = (
    ("trail_thigh_loss_top_finish_deg", "Thigh angle lost from top to finish", "degrees"),
    ("trail_thigh_flat_turn_deg", "Longest stretch of turn in which the angle stalled", "degrees of turn"),
)
TONES = (("good", True, "with tones"), ("quiet", False, "without tones"), ("trail", None, ""))
"""(class of the line, whether tones sounded, label)"""
Captioned = tuple[str, str]
"""(caption, SVG)"""


def at_positions(shown: Frames) -> list[Captioned]:
    """The body at each position: square to the pelvis, and from above."""
    made = [(frame.name.capitalize(), _body(frame, shown)) for frame in shown.frames]
    return [(name, picture) for name, picture in made if picture]


def _body(frame: Frame, shown: Frames) -> str:
    beside = DrawnExtras(shown.target_deg, frame.angle_sd_deg, frame.turn_sd_deg)
    views = (drawing(frame.pose, view, shown.hand, beside) for view in (View.PELVIS, View.TOP))
    return "".join(svg.body(view, f"The body at {frame.name}", _body_words) for view in views if view is not None)


def _body_words(label: Label) -> str:
    angle = f"{story.minus(label.value_deg, 0)}°"
    said = {BodyPart.TARGET: f"target {angle}", BodyPart.TARGET_LINE: "", BodyPart.TURN: turn_words(label.value_deg)}
    return said.get(label.part, angle)


def best_and_worst(session: SessionReport) -> str:
    """The trail thigh angle of the best and the worst reps over the turn of the pelvis."""
    chosen = [(one, "good") for one in story.best(session.reps)] + [(one, "bad") for one in story.worst(session.reps)]
    lines = [
        svg.PlotLine(curve.turn_deg, curve.thigh_deg, css, f"rep {one.rep.index + 1}", curve.sd_deg)
        for one, css in chosen
        if (curve := session.curves.get(one.rep.index)) is not None
    ]
    return svg.draw(
        svg.Plot(
            "Trail thigh angle against pelvis turn of the best and the worst reps",
            "pelvis turn from address, ° (+ to the target)",
            "trail thigh angle, degrees",
            lines,
            y_include=(0.0,),
        )
    )


def rep_by_rep(reps: Sequence[JudgedRep]) -> list[Captioned]:
    """The main features over the reps, those with tones apart from those without."""
    x = np.array([rep.index + 1 for rep in reps], dtype=np.float64)
    step = max(-(-len(x) // 10), 1)
    numbers = [(float(number), f"{number:.0f}") for number in x[::step]]
    out = []
    for feature, title, unit in TREND_FEATURES:
        lines = []
        for css, wanted, label in TONES:
            if any(rep.tones is wanted for rep in reps):
                y = np.array([rep.features.get(feature, np.nan) if rep.tones is wanted else np.nan for rep in reps])
                lines.append(svg.PlotLine(x, y, css, label, dots=True))
        out.append((title, svg.draw(svg.Plot(f"{title}, rep by rep", "rep", unit, lines, numbers, (0.0,)))))
    return out


def session_by_session(
    mean: Floats, spread: Floats, label: str, title: str, unit: str, sessions: Sequence[SessionReport]
) -> Captioned:
    """Mean and spread of one feature over the sessions; NaN where a session has no point."""
    line = svg.PlotLine(np.arange(len(sessions), dtype=np.float64), mean, "good", label, spread, dots=True)
    picture = svg.Plot(f"{title}, session by session", "session", unit, [line], _days(sessions), (0.0,))
    return f"{title}: mean and spread of the reps", svg.draw(picture)


def _days(sessions: Sequence[SessionReport]) -> list[tuple[float, str]]:
    """Days along the axis, with the hour where one came twice."""
    days = [session.day for session in sessions]
    if len(set(days)) < len(days) <= 4:
        days = [f"{session.started:%d %b %H:%M}" if session.started else "?" for session in sessions]
    step = max(-(-len(sessions) // 6), 1)
    return [(float(k), days[k]) for k in range(0, len(sessions), step)]
