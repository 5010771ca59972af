"""The report: one HTML file that needs nothing else, for the screen, a phone and A4 paper. Every text is escaped."""

from __future__ import annotations

from collections import Counter
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field
from datetime import datetime
from html import escape

import numpy as np

from imufeedback import __version__
from imufeedback.constants import CAUTIONS
from imufeedback.document import Document, JudgedRep
from imufeedback.figure.drawing import Shown, View, drawing
from imufeedback.figure.shapes import Label, Part
from imufeedback.records import Floats, Hand, Verdict
from imufeedback.report import story, svg
from imufeedback.report.likewise import FEW, Kind, kinds_of, point
from imufeedback.report.retention import Retention, retention
from imufeedback.report.screened import screening_of, screening_words
from imufeedback.report.style import STYLE
from imufeedback.rules.screening import Screening

TREND_FEATURES = (
    ("trail_thigh_loss_top_finish_deg", "Thigh angle lost from top to finish", "degrees"),
    ("trail_thigh_flat_turn_deg", "Longest stretch of turn in which the angle stalled", "degrees of turn"),
)
REP_COLUMNS = (
    ("Top", "trail_thigh_angle_top_deg"),
    ("Impact", "trail_thigh_angle_impact_deg"),
    ("Finish", "trail_thigh_angle_finish_deg"),
    ("Lowest", "trail_thigh_angle_min_deg"),
    ("±", "thigh_angle_sd_deg"),
    ("Trail hip rotation at impact", "trail_hip_rotation_impact_deg"),
    ("Lead hip rotation at impact", "lead_hip_rotation_impact_deg"),
)

KINDS_MAX = 8
"""Kinds of rep whose trend is drawn, tests first."""
NOT_KNOWN = "because an angle was not known all along (the reason stands in the table of all reps)"


@dataclass(frozen=True, slots=True)
class Curve:
    """The trail thigh angle of one rep against the turn of the pelvis, degrees, from top to finish."""

    turn_deg: Floats
    thigh_deg: Floats
    sd_deg: Floats


@dataclass(frozen=True, slots=True)
class Drill:
    """What the report says of a drill."""

    title: str
    instructions: Sequence[str]
    stop: str
    """When to stop."""


@dataclass(frozen=True, slots=True)
class Frame:
    """The body at one mark of a rep."""

    name: str
    pose: Floats
    """(11,) `imufeedback.figure.pose.POSE`."""
    angle_sd_deg: float | None = None
    turn_sd_deg: float | None = None


@dataclass(frozen=True, slots=True)
class Frames:
    """One rep at its marks."""

    rep: int
    """Index."""
    hand: Hand
    frames: Sequence[Frame]
    target_deg: float | None = None


@dataclass(frozen=True, slots=True)
class Session:
    """One session to report on."""

    summary: Document
    player: str = ""
    title: str = ""
    started: datetime | None = None
    """In the zone of the session."""
    rule_title: str = "Swing"
    curves: Mapping[int, Curve] = field(default_factory=dict)
    """By rep index."""
    notes: Sequence[str] = ()
    """What the player or coach wrote."""
    tags: Sequence[str] = ()
    drill: Drill | None = None
    """The drill that comes next, when there is one for it."""
    positions: Frames | None = None
    """The body at the marks of the best rep, or of the least bad one."""
    next: story.Next | None = None
    """What comes next, and why; None without reps."""
    discarded: frozenset[int] = frozenset()
    """Reps that a person took out; they count nowhere."""

    @property
    def reps(self) -> list[JudgedRep]:
        """Those that count."""
        return story.counted(self._kept)

    @property
    def void(self) -> list[JudgedRep]:
        """Those that could not be judged."""
        return [rep for rep in self._kept if rep.void]

    @property
    def _kept(self) -> list[JudgedRep]:
        return [rep for rep in self.summary.reps if rep.index not in self.discarded]

    @property
    def when(self) -> str:
        """Start in the session's own zone, with its offset: at the end of summer an hour comes twice."""
        return "date not known" if self.started is None else f"{self.started:%Y-%m-%d %H:%M (%Z)}"


def session_page(session: Session) -> str:
    """The report of one session."""
    parts = [_head(session.player, f"{session.title or 'Session'}, {session.when}"), *_session_body(session)]
    return _document(f"{session.player or session.title or 'Session'} – {session.when}", parts)


def player_page(player: str, sessions: Sequence[Session]) -> str:
    """The report of a player: the newest session, and the trend over all. `sessions` in the order of time."""
    newest = sessions[-1]
    span = f"{story.count(len(sessions), 'session')}, {sessions[0].when} to {newest.when}"
    parts = [_head(player, span)]
    if len(sessions) > 1:
        parts.append(_section("Over the sessions", _trends(sessions)))
    parts.append(f"<h2>The newest session: {escape(newest.title or 'session')}, {escape(newest.when)}</h2>")
    before = next((one for other in reversed(sessions[:-1]) if (one := screening_of(other.reps)) is not None), None)
    return _document(f"{player} – {span}", parts + _session_body(newest, before))


def _document(title: str, parts: Sequence[str]) -> str:
    return (
        '<!doctype html>\n<html lang="en"><head><meta charset="utf-8">'
        '<meta name="viewport" content="width=device-width, initial-scale=1">'
        f"<title>{escape(title)}</title><style>{STYLE}</style></head><body><main>\n"
        + "\n".join(parts)
        + f"\n<footer>Made by imufeedback {escape(__version__)} on this computer; nothing was sent anywhere.</footer>"
        "</main></body></html>\n"
    )


def _head(player: str, line: str) -> str:
    return f"<header><h1>{escape(player or 'Player without a name')}</h1><p>{escape(line)}</p></header>"


def _section(title: str, body: str, css: str = "") -> str:
    kind = f" class='{css}'" if css else ""
    return f"<section{kind}><h2>{escape(title)}</h2>{body}</section>"


def _list(lines: Sequence[str]) -> str:
    return "<ul>" + "".join(f"<li>{escape(one)}</li>" for one in lines) + "</ul>"


def _session_body(session: Session, earlier: Screening | None = None) -> list[str]:
    """What a player should take along comes first and fits on a sheet; the rest is behind a fold. `earlier` is the
    screening of an earlier day."""
    reps = session.reps
    parts = [_section("In short", _in_short(session))]
    if reps:
        parts.append(_section("Next", _next(session)))
        if session.positions is not None:
            parts.append(_section(*_positions(session.positions)))
        parts.append(_section("Best and worst reps", _best_and_worst(session)))
    screening = screening_of(reps)
    if screening is not None:
        parts.append(_section("How far each hip turns", _list(screening_words(screening, earlier))))
    parts.append(_section("How sure the numbers are", _list(story.certainty(session.summary)), "small"))
    open_rules = story.unjudged(one for rep in reps for one in rep.unjudged)
    if open_rules:
        parts.append(_section("Rules without a result", _list([_open(*one) for one in open_rules])))
    if session.summary.limits:
        parts.append(_section("Limits that were changed", _list(story.changed_limits(session.summary))))
    if session.notes or session.tags:
        tags = [f"Tags: {', '.join(session.tags)}"] if session.tags else []
        parts.append(_section("Notes", _list([*session.notes, *tags])))
    parts.append(_section("Please remember", _list(CAUTIONS), "small"))
    return parts + _folded(session)


def _folded(session: Session) -> list[str]:
    parts = []
    work = story.worked_on(session.summary, session.rule_title)
    if work:
        parts.append(_fold("What was worked on", _list(work)))
    if session.reps:
        parts.append(_fold("The reps and why", _reasons(session)))
        parts.append(_fold("Through the session", _course(session)))
    if session.reps or session.void:
        every = sorted([*session.reps, *session.void], key=lambda rep: rep.index)
        parts.append(_fold("All reps", _table(every)))
    return parts


def _open(lack: str, text: str, rules: Sequence[str]) -> str:
    return f"{lack.capitalize()}: {', '.join(rule.replace('-', ' ') for rule in rules)}. {text}"


def _fold(title: str, body: str) -> str:
    return f"<details><summary>{escape(title)}</summary>{body}</details>"


def _positions(shown: Frames) -> tuple[str, str]:
    """Heading and pictures: square to the pelvis above, from above below."""
    cells = []
    for frame in shown.frames:
        beside = Shown(shown.target_deg, frame.angle_sd_deg, frame.turn_sd_deg)
        views = (drawing(frame.pose, view, shown.hand, beside) for view in (View.PELVIS, View.TOP))
        pictures = "".join(
            svg.body(made, f"The body at {frame.name}", _body_words) for made in views if made is not None
        )
        if pictures:
            cells.append(f"<figure><figcaption>{escape(frame.name.capitalize())}</figcaption>{pictures}</figure>")
    key = (
        "<p class='key'>Above: square to the pelvis, the blue thigh is the trail leg, the green line its target. "
        "Below: from above, the arrow points to the target.</p>"
    )
    return f"Rep {shown.rep + 1} at its positions", f"<div class='four'>{''.join(cells)}</div>{key}"


def _body_words(label: Label) -> str:
    angle = f"{story.minus(label.value_deg, 0)}°"
    said = {Part.TARGET: f"target {angle}", Part.TARGET_LINE: "", Part.TURN: f"turn {angle}"}
    return said.get(label.part, angle)


def _in_short(session: Session) -> str:
    reps = session.reps
    if not reps:
        return f"<p>No rep {'that counts ' if session.void else ''}was found in this session.</p>{_uncounted(session)}"
    clean = sum(not story.faults(one) for one in reps)
    text = f"<p class='big'><b>{clean} of {len(reps)}</b> reps without a fault.</p>"
    found = story.common_faults(reps)
    why = session.next
    if why is not None and why.reps:
        text += f"<p>Most often, in {story.count(why.reps, 'rep')}: {escape(why.text)}</p>"
    elif found:
        _, words, times = found[0]
        text += f"<p>Most often, in {story.count(times, 'rep')}: {escape(words)}</p>"
    return text + "".join(f"<p>{escape(one)}</p>" for one in story.unchecked(session.summary)) + _uncounted(session)


def _uncounted(session: Session) -> str:
    text = ""
    if session.void:
        text += f"<p>Without a result, and counted nowhere: {story.count(len(session.void), 'rep')}, {NOT_KNOWN}.</p>"
    if session.discarded:
        text += f"<p>Taken out by hand, and counted nowhere: {story.count(len(session.discarded), 'rep')}.</p>"
    return text


def _best_and_worst(session: Session) -> str:
    right, wrong = story.best(session.reps), story.worst(session.reps)
    lines = [_overlay(one, session, "good") for one in right] + [_overlay(one, session, "bad") for one in wrong]
    picture = svg.draw(
        svg.Picture(
            "Trail thigh angle against pelvis turn of the best and the worst reps",
            "pelvis turn, degrees (0: as at address, + towards the target)",
            "trail thigh angle, degrees",
            [one for one in lines if one is not None],
            y_include=(0.0,),
        )
    )
    key = (
        "<p class='key'><span class='good'>━━</span> right "
        "<span class='bad'>╍╍</span> not yet. Band: ± one standard deviation. "
        "On the way down the line should fall without a flat stretch.</p>"
    )
    return f"<figure class='curve'>{picture}{key}</figure>"


def _reasons(session: Session) -> str:
    right, wrong = story.best(session.reps), story.worst(session.reps)
    return _told("The best", right) + _told("The ones to learn from", wrong)


def _overlay(told: story.Told, session: Session, css: str) -> svg.Line | None:
    curve = session.curves.get(told.rep.index)
    if curve is None:
        return None
    return svg.Line(curve.turn_deg, curve.thigh_deg, css, f"rep {told.rep.index + 1}", curve.sd_deg)


def _told(title: str, reps: Sequence[story.Told]) -> str:
    if not reps:
        return f"<h3>{escape(title)}</h3><p>None in this session.</p>"
    rows = "".join(
        f"<li><b>Rep {one.rep.index + 1}</b> (at {_clock(one.rep.start_s)}): {escape(one.reason)}</li>" for one in reps
    )
    return f"<h3>{escape(title)}</h3><ul>{rows}</ul>"


def _clock(seconds: float) -> str:
    return f"{int(seconds) // 60}:{int(seconds) % 60:02d}"


def _next(session: Session) -> str:
    following = session.next or story.next_drill(session.reps)
    assert following is not None  # there are reps
    feel = f"<p><b>Feel:</b> {escape(following.feel)}</p>" if following.feel else ""
    if session.drill is None:
        return f"<p class='big'><b>{escape(following.title)}</b></p><p>{escape(following.text)}</p>{feel}"
    drill = session.drill
    why = f"<p>Why this drill: {escape(following.text)}</p>{feel}"
    head = f"<p class='big'><b>{escape(drill.title)}</b></p>{why}"
    return f"{head}{_list(drill.instructions)}<p class='key'>{escape(drill.stop)}</p>"


def _course(session: Session) -> str:
    """The main features over the reps."""
    reps = session.reps
    if len(reps) < 2:
        return "<p>One rep makes no trend.</p>"
    x = np.array([rep.index + 1 for rep in reps], dtype=np.float64)
    out = ""
    for feature, title, unit in TREND_FEATURES:
        lines = []
        for css, wanted, label in (
            ("good", True, "with tones"),
            ("quiet", False, "without tones"),
            ("trail", None, ""),
        ):
            chosen = [rep for rep in reps if rep.tones is wanted]
            if chosen:
                y = np.array([rep.features.get(feature, np.nan) if rep.tones is wanted else np.nan for rep in reps])
                lines.append(svg.Line(x, y, css, label, dots=True))
        picture = svg.Picture(f"{title}, rep by rep", "rep", unit, lines, _whole(x), (0.0,))
        out += f"<figure><figcaption>{escape(title)}</figcaption>{svg.draw(picture)}</figure>"
    return out + _tone_key(any(rep.tones is not None for rep in reps))


def _whole(x: Floats) -> list[tuple[float, str]]:
    step = max(-(-len(x) // 10), 1)
    return [(float(one), f"{one:.0f}") for one in x[::step]]


def _tone_key(known: bool) -> str:
    if not known:
        return "<p class='key'>Whether tones sounded was not recorded in this session.</p>"
    return (
        "<p class='key'><span class='good'>●</span> with tones <span class='quiet'>●</span> without tones. "
        "Reps without tones show what has stuck.</p>"
    )


def _trends(sessions: Sequence[Session]) -> str:
    """Like with like: one line a kind of rep, tests first; kinds that only one session has are none."""
    by_kind = [kinds_of(one.summary, one.reps) for one in sessions]
    times = Counter(kind for one in by_kind for kind in one)
    kinds = sorted(kind for kind, many in times.items() if many > 1)
    out = _stuck(sessions)
    if not kinds:
        out += "<p>Nothing was done twice in the same way (drill, pace, tones): there is no trend yet.</p>"
    for kind in kinds[:KINDS_MAX]:
        out += _trend(kind, [one.get(kind, []) for one in by_kind], sessions)
    clean = [
        f"{one.when}: {sum(not story.faults(rep) for rep in one.reps)} of {len(one.reps)} reps without a fault"
        for one in sessions[-12:]
    ]
    return out + _list(clean)


def _trend(kind: Kind, reps: Sequence[Sequence[JudgedRep]], sessions: Sequence[Session]) -> str:
    """One kind of rep, session by session; days with too few are named and not drawn."""
    x = np.arange(len(sessions), dtype=np.float64)
    out = f"<h3>{escape(kind.words)}</h3>"
    many = [f"{_day(one)}: {len(here)}" for one, here in zip(sessions, reps, strict=True) if here]
    few = sum(0 < len(here) < FEW for here in reps)
    out += f"<p class='key'>Reps: {escape(', '.join(many[-12:]))}.</p>"
    if few:
        out += f"<p class='key'>Fewer than {FEW} reps on {story.count(few, 'day')}: too few to compare, not drawn.</p>"
    for feature, title, unit in TREND_FEATURES:
        points = [point(here, feature) for here in reps]
        told = [one if one is not None and one.tells else None for one in points]
        if sum(one is not None for one in told) < 2:
            continue
        mean = np.array([np.nan if one is None else one.mean for one in told])
        spread = np.array([np.nan if one is None else one.spread for one in told])
        line = svg.Line(x, mean, "good", kind.words, spread, dots=True)
        picture = svg.Picture(f"{title}, session by session", "session", unit, [line], _places(sessions), (0.0,))
        what = f"{title}: mean and spread of the reps"
        out += f"<figure><figcaption>{escape(what)}</figcaption>{svg.draw(picture)}</figure>"
    return out


def _places(sessions: Sequence[Session]) -> list[tuple[float, str]]:
    """Days along the axis."""
    step = max(-(-len(sessions) // 6), 1)
    days = [_day(one) for one in sessions]
    places = [(float(k), days[k]) for k in range(0, len(sessions), step)]
    if len(set(days)) < len(days) and len(days) <= 6:
        places = [(at, f"{text} {sessions[int(at)].started:%H:%M}") for at, text in places if text != "?"]
    return places


def _stuck(sessions: Sequence[Session]) -> str:
    """The newest test against the one before of the same drill."""
    now = sessions[-1]
    for before in reversed(sessions[:-1]):
        found = retention(now.summary, before.summary)
        if found is not None:
            return _list([f"Test, against {before.when}: {_kept(found)}"])
    return ""


def _kept(found: Retention) -> str:
    shares = f"{found.now.reps} reps, {100 * found.now.clean:.0f} % without a fault"
    earlier = f"{found.before.reps} reps, {100 * found.before.clean:.0f} %"
    if min(found.now.reps, found.before.reps) < FEW:
        return f"{shares}; then {earlier}. Too few to tell."
    better = [rule.replace("-", " ") for rule, change in found.rules().items() if change < 0]
    change = f"{100 * found.clean_change:+.0f} points".replace("-", "\N{MINUS SIGN}")
    less = f" Less often: {', '.join(better)}." if better else ""
    return f"{shares}; then {earlier} ({change}).{less}"


def _day(session: Session) -> str:
    return "?" if session.started is None else f"{session.started:%d %b}"


def _table(reps: Sequence[JudgedRep]) -> str:
    heads = "".join(f"<th>{escape(name)}</th>" for name, _ in REP_COLUMNS)
    rows = "".join(_row(one) for one in reps)
    return (
        "<p class='key'>Degrees. Hip rotation counts from address, inward positive.</p>"
        f"<table class='reps'><thead><tr><th>Rep</th><th>At</th>{heads}<th>Rules not met</th></tr></thead>"
        f"<tbody>{rows}</tbody></table>"
    )


def _row(rep: JudgedRep) -> str:
    if rep.void:
        return (
            f"<tr class='void'><td><s>{rep.index + 1}</s></td><td>{_clock(rep.start_s)}</td>"
            f"<td colspan='{len(REP_COLUMNS) + 1}'>does not count: {escape(rep.void)}</td></tr>"
        )
    cells = "".join(
        f"<td data-head='{escape(head)}'>{_cell(rep.features.get(name))}</td>" for head, name in REP_COLUMNS
    )
    found = [
        f"{finding.rule.replace('-', ' ')}{' (unsure)' if finding.verdict is Verdict.UNSURE else ''}"
        for finding in rep.findings
    ]
    css = " class='bad'" if story.faults(rep) else ""
    return (
        f"<tr><td data-head='Rep'>{rep.index + 1}</td><td data-head='At'>{_clock(rep.start_s)}</td>{cells}"
        f"<td{css} data-head='Rules not met'>{escape(', '.join(found) or story.nothing(len(rep.unjudged)))}</td></tr>"
    )


def _cell(value: float | None) -> str:
    return "–" if value is None or value != value else story.minus(value, 1)
