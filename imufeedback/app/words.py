"""What the windows say of a state, a sensor, a rep: texts of `imufeedback.phrases`, chosen and filled in."""

from __future__ import annotations

from collections.abc import Sequence

from imufeedback.app import numerals
from imufeedback.app.palette import PanelState
from imufeedback.app.tracks import Choice, Track
from imufeedback.cues.telling import UNTOLD
from imufeedback.figure.drawing import View
from imufeedback.figure.shapes import BodyPart
from imufeedback.phrases import PHRASES, phrase
from imufeedback.records import BlockBegun, Finding, Level, LinkState, Mode, Phase, Segment, Side, StepTold, Verdict
from imufeedback.report.plain_words import turn_words
from imufeedback.rules import Whose
from imufeedback.sounds import BY_NAME


def state_word(shown: PanelState) -> str:
    return phrase(f"state.{shown}")


def state_hint(shown: PanelState) -> str:
    return phrase(f"state_hint.{shown}")


def phase_word(phase: Phase) -> str:
    return phrase(f"phase.{phase}")


def link_word(state: LinkState) -> str:
    return phrase(f"link.{state}")


def segment_word(segment: Segment) -> str:
    return phrase(f"segment.{segment}")


def side_word(side: Side) -> str:
    return phrase(f"side.{side}")


def level_word(level: Level) -> str:
    return phrase(f"level.{level}")


def sound_word(sound: str) -> str:
    return BY_NAME[sound].word if sound in BY_NAME else sound.replace("-", " ")


def finding_words(finding: Finding, meaning: str | None = None) -> str:
    """One finding: what it means (the text of the rule, unless `meaning` is given), then value and limit."""
    verdict = phrase("finding_words.fault") if finding.verdict is Verdict.FAULT else phrase("finding_words.unsure")
    value, limit = with_spread(finding), numerals.quantity(finding.limit, finding.unit)
    said = meaning or finding.text or finding.rule
    return phrase("finding_words.limit", verdict=verdict, said=said, value=value, limit=limit)


def with_spread(finding: Finding) -> str:
    """What was measured with its error bar; where that is not the same on both sides, with what is certain of it."""
    value = numerals.quantity(finding.value, finding.unit)
    if finding.least is not None:
        return phrase("with_spread", value=value, least=numerals.quantity(finding.least, finding.unit))
    return plus_minus(value, numerals.quantity(finding.sd, finding.unit) if finding.sd else "")


def target(angle: str) -> str:
    return phrase("target", angle=angle)


def phase_short(phase: Phase) -> str:
    return phrase(f"phase_short.{phase}")


def spread(sd_deg: float) -> str:
    return f"± {numerals.spread(sd_deg)}"


def table_heads() -> list[str]:
    return [
        phrase(head)
        for head in (
            "table_heads.rep",
            "table_heads.time",
            "table_heads.top",
            "table_heads.impact",
            "table_heads.finish",
            "table_heads.lowest",
            "table_heads.found",
        )
    ]


def result(faults: int, unsure: int, not_judged: int = 0) -> str:
    """What was found in a rep, in a word; a rule that could not be judged is not clean."""
    if faults:
        return phrase("result.1_fault") if faults == 1 else phrase("result.faults", count=faults)
    word = phrase("result.unsure") if unsure else phrase("result.nothing")
    return phrase("result.not_checked", word=word, count=not_judged) if not_judged else word


def unjudged(lack: str, text: str, rules: Sequence[str]) -> str:
    """Rules that could not be judged on a rep, and why."""
    names = ", ".join(rule.replace("-", " ") for rule in rules)
    return f"{lack.capitalize()}: {names}. {text}"


def sensor_chip(name: str, state: LinkState, rate_hz: float | None, battery: float | None, lost: int) -> str:
    """A sensor in a few words; what is not known is left out."""
    parts = [f"{name}: {link_word(state)}"]
    if state is LinkState.STREAMING and rate_hz is not None:
        parts.append(f"{rate_hz:.0f} Hz")
    if battery is not None:
        parts.append(phrase("sensor_chip.battery", percent=battery))
    if lost:
        parts.append(phrase("sensor_chip.samples_lost", lost=lost))
    return " · ".join(parts)


def short_chip(name: str, state: LinkState, battery: float | None) -> str:
    """The same where room is short: the sign beside it says that a sensor streams."""
    if state is not LinkState.STREAMING:
        return f"{name}: {link_word(state)}"
    return name if battery is None else f"{name} {battery:.0f} %"


def recording_line(path: str | None) -> str:
    return phrase("recording_line.recording", path=path) if path else phrase("recording_line.not_recording")


def sound_line(muted: bool, last: str | None, delay_ms: float | None = None, trouble: str = "") -> str:
    if trouble:
        return phrase("sound_line.no_sound", trouble=trouble)
    parts = [phrase("sound_line.sound_off_space_on") if muted else phrase("sound_line.sound_on_space_off")]
    if last is not None:
        parts.append(phrase("sound_line.last_tone", last=sound_word(last)))
    if delay_ms is not None:
        parts.append(phrase("sound_line.motion_to_sound_about_ms", delay=delay_ms))
    return " · ".join(parts)


def fitted(level: Level) -> str:
    return phrase("fitted", level=level_word(level))


def ago(seconds: int) -> str:
    return phrase("ago") if seconds == 0 else f"−{seconds} s"


def mark_word(mark: str) -> str:
    return phrase(f"mark.{mark}")


def last_rep(number: int | None) -> str:
    return phrase("last_rep.last_rep") if number is None else phrase("last_rep.rep_the_last", number=number)


def choice_word(choice: Choice) -> str:
    return phrase(f"choice.{choice}")


def reference_name(choice: Choice, track: Track | None, *, itself: bool = False) -> str:
    """What the last rep is compared with, and the key that changes it."""
    name = choice_word(choice)
    if track is not None:
        name = f"{name}, {track.label}" if track.label else phrase("reference_name.rep", name=name, number=track.number)
    elif itself:
        name = phrase("reference_name.this_one", name=name)
    elif choice is not Choice.NONE:
        name = phrase("reference_name.none_yet", name=name)
    return phrase("reference_name.c_another", name=name)


def reference_short(choice: Choice, track: Track) -> str:
    """The rep that the live one is compared with."""
    return f"{choice_word(choice)}, {track.label or phrase('rep_name', number=track.number)}"


# ── what is wrong, worst first ───────────────────────────────────────────────────────────────────────────────────


def sensor_gone(names: list[str]) -> str:
    which = ", ".join(names)
    if len(names) == 1:
        return phrase("sensor_gone.sensor_lost_reps_do_not", which=which.capitalize())
    return phrase("sensor_gone.sensors_lost_reps_do_not", which=which)


def battery_low(name: str, percent: float) -> str:
    return phrase("battery_low", name=name.capitalize(), percent=percent)


# ── the result of a rep ──────────────────────────────────────────────────────────────────────────────────────────


def close_call(what: str) -> str:
    return phrase("close_call", what=what[:1].lower() + what[1:])


def plus_minus(value: str, spread: str) -> str:
    return f"{value} ± {spread}" if spread else value


def value_and_limit(finding: Finding) -> str:
    return phrase("value_and_limit", value=with_spread(finding), limit=numerals.quantity(finding.limit, finding.unit))


def lowest(value: str, spread: str, target: str | None) -> str:
    """Of a rep without a fault: how low the trail thigh angle came."""
    text = phrase("lowest.lowest_angle", value=plus_minus(value, spread))
    return text if target is None else phrase("lowest.target", text=text, target=target)


# ── the end of a session ─────────────────────────────────────────────────────────────────────────────────────────


def before_after(count: int, before: str, after: str) -> str:
    return phrase("before_after", count=count, before=before, after=after)


def best_rep(number: int, flat: str) -> str:
    text = phrase("best_rep.best_rep_number", number=number)
    return phrase("best_rep.stalled_for_of_turn", text=text, flat=flat) if flat else text


# ── the coach's keys ─────────────────────────────────────────────────────────────────────────────────────────────


def marked_good(number: int, good: bool) -> str:
    return phrase("marked_good.rep_is_marked_good" if good else "marked_good.rep_is_not_marked_good", number=number)


def discarded(number: int, gone: bool) -> str:
    return phrase("discarded.rep_does_not_count" if gone else "discarded.rep_counts_again", number=number)


def note_title(number: int | None) -> str:
    return phrase("note_title.note") if number is None else phrase("note_title.note_on_rep", number=number)


def for_player(name: str) -> str:
    return phrase("for_player", name=name.replace("&", "&&"))


def origin(whose: Whose | None, *, baseline: bool = False) -> str:
    """Where a limit comes from; `baseline`: the player's own counts or narrows it."""
    text = phrase(f"whose.{whose or 'usual'}")
    return phrase("origin.your_own_baseline_where_there", text=text) if baseline else text


def limit_of(name: str, value: str, whose: Whose | None) -> str:
    """A limit as it was set, and for whom."""
    return phrase("limit_of", name=name, value=value, whose=origin(whose))


def rep_flags(good: bool, discarded: bool, note: str) -> str:
    """What a person said about a rep, in short."""
    parts = [phrase("rep_flags.good")] if good else []
    if discarded:
        parts.append(phrase("rep_flags.does_not_count"))
    if note:
        parts.append(phrase("rep_flags.note", note=note))
    return " · ".join(parts)


def short_buttons() -> list[str]:
    return [
        phrase(text)
        for text in (
            "short_buttons.pause",
            "short_buttons.good",
            "short_buttons.discard",
            "short_buttons.note",
            "short_buttons.range",
            "short_buttons.stop",
        )
    ]


def mode_word(mode: Mode) -> str:
    return phrase(f"mode.{mode}")


def block_large(block: BlockBegun) -> str:
    """Name of a block and how its reps are told about."""
    told = mode_word(block.mode)
    if block.role in UNTOLD:
        told = phrase("block_large")
    elif block.estimate:
        told = f"{phrase('estimate_word')}; {told}"
    return f"{block.name}\n{told}"


def step_head(told: StepTold) -> str:
    """Which step of a drill, and how many good reps there are."""
    if told.over:
        return phrase("step_head.drill_done") if told.over == "done" else phrase("step_head.drill_stopped")
    return phrase(
        "step_head.step_of_of", number=told.number + 1, of=told.of, name=told.name, good=told.good, reps=told.reps
    )


def step_still(still: str) -> str:
    return phrase("step_still", still=still)


def step_why(told: StepTold) -> str:
    """What came of the rep that was just done; empty before the first."""
    if told.rep is None or told.over:
        return ""
    return phrase("step_why.did_not_count", why=told.why) if told.why else phrase("step_why.that_one_counted")


def estimated(number: int, answer: str) -> str:
    return phrase("estimated", number=number, answer=answer)


def last_reps(reps: list[tuple[int, int, int]]) -> str:
    """The last reps for a screen reader: number, faults, doubts of each."""
    return phrase(
        "last_reps", reps="; ".join(f"{number}: {result(faults, unsure)}" for number, faults, unsure in reps) or "–"
    )


# ── the body ─────────────────────────────────────────────────────────────────────────────────────────────────────


def view_word(view: View) -> str:
    return phrase(f"view.{view}")


def body_label(part: BodyPart, value_deg: float) -> str:
    """A few words beside a part of the body."""
    angle = numerals.degrees(value_deg)
    if part is BodyPart.TARGET:
        return phrase("body_label.target", angle=angle)
    if part is BodyPart.TARGET_LINE:
        return phrase("body_label.to_the_target")
    return turn_words(value_deg) if part is BodyPart.TURN else angle


# ── keys ─────────────────────────────────────────────────────────────────────────────────────────────────────────


def screen_word(screen: str) -> str:
    return phrase(f"screen.{screen}")


def key_and_text(key: str, text: str) -> str:
    """A key as a screen reader says it."""
    return f"{key}: {text}"


# ── what is wrong, with what to do ───────────────────────────────────────────────────────────────────────────────


def as_sentence(text: str) -> str:
    """With a capital at its beginning and a stop at its end."""
    text = text[:1].upper() + text[1:]
    return text if text.endswith((".", "!", "?", "…")) else f"{text}."


def no_signal_word() -> str:
    return state_word(PanelState.NO_SIGNAL)


def not_recorded_and_help(why: str) -> str:
    return phrase("not_recorded_and_help", why=why.rstrip("."))


def refused_and_help(why: str) -> str:
    return phrase("refused_and_help", why=why.rstrip("."))


def fault_and_help(where: str, what: str) -> str:
    return phrase("fault_and_help", where=where, what=what.rstrip("."))


def restarted_and_help(name: str) -> str:
    return phrase("restarted_and_help", name=name.capitalize())


# ── limits, explained ────────────────────────────────────────────────────────────────────────────────────────────


def limit_meaning(key: str, otherwise: str) -> str:
    """What a limit limits, in a sentence; of a coach's own rule its text."""
    return phrase(f"limit.{key}") if f"limit.{key}" in PHRASES else otherwise


def usual_limit(value: str, basis: str) -> str:
    """The rule set's own value, and what it rests on."""
    text = phrase("usual_limit", value=value)
    return f"{text} {basis}" if basis else text


def values_today(count: int, middle: str, least: str, most: str) -> str:
    if count == 1:
        return phrase("values_today.today_1_rep", middle=middle)
    return phrase("values_today.today_reps_half_are_below", count=count, middle=middle, least=least, most=most)


# ── review ───────────────────────────────────────────────────────────────────────────────────────────────────────


def position_word(position: str) -> str:
    return phrase(f"position.{position}")


def note_at(rep: int | None, place: str) -> str:
    """What stands before a note of the review: where it belongs."""
    if rep is None:
        return ""
    name = phrase("rep_name", number=rep + 1).capitalize()
    return f"{name}, {place}: " if place else f"{name}: "


def trend_story(word: str, first: str, last: str, sessions: int) -> str:
    """A trend as a sentence."""
    if sessions == 1:
        return phrase("trend_story.in_the_only_session_so", word=word, last=last)
    return phrase("trend_story.in_the_first_of_sessions", word=word, first=first, last=last, sessions=sessions)
