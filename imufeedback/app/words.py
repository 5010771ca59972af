"""Every text of the windows. All go through `tr`, so that a translation needs no change elsewhere."""

from __future__ import annotations

from collections.abc import Sequence

from PySide6.QtCore import QCoreApplication

from imufeedback.app import numerals
from imufeedback.app.palette import Shown
from imufeedback.app.tracks import Choice, Track
from imufeedback.cues.telling import UNTOLD
from imufeedback.figure.drawing import View
from imufeedback.figure.shapes import Part
from imufeedback.records import BlockBegun, Finding, Level, LinkState, Mode, Phase, Segment, Side, Verdict
from imufeedback.rules import Whose
from imufeedback.sounds import BY_NAME


def tr(text: str) -> str:
    """The text in the language of the application; the English text itself when there is no translation."""
    return QCoreApplication.translate("imufeedback", text)


_STATES = {
    Shown.NO_SENSORS: ("waiting for sensors", "no data has come yet"),
    Shown.CALIBRATION: ("calibration", "the sensors stream: stand still, then do the calibration movements"),
    Shown.WAITING: ("waiting", "the next downswing will be judged"),
    Shown.FALLING: ("falling", "the trail thigh angle is falling"),
    Shown.STALLED: ("stalled", "the trail thigh angle has stopped falling"),
    Shown.GROWING: ("growing", "the trail thigh angle is growing"),
    Shown.NO_SIGNAL: ("no signal", "no fresh angles: look at the sensors below"),
    Shown.PAUSED: ("paused", "no tones, and reps do not count"),
    Shown.UNTOLD: ("swing", "no tones and no results before this block is over"),
    Shown.ASKING: ("your call?", "was that one good? 1: yes · 2: no · 3: not sure"),
    Shown.FINISHED: ("finished", "the session is over and the recording is closed"),
}

_PHASES = {
    Phase.WAITING: "between reps",
    Phase.ADDRESS: "address",
    Phase.BACKSWING: "backswing",
    Phase.DOWNSWING: "downswing",
    Phase.THROUGH_SWING: "through-swing",
    Phase.FINISH: "finish",
}

_LINKS = {
    LinkState.SEARCHING: "searching",
    LinkState.CONNECTING: "connecting",
    LinkState.CONNECTED: "connected, no data yet",
    LinkState.STREAMING: "streaming",
    LinkState.SILENT: "no signal",
    LinkState.LOST: "lost, searching again",
    LinkState.CLOSED: "closed",
}

_SEGMENTS = {
    Segment.PELVIS: "pelvis",
    Segment.LEFT_THIGH: "left thigh",
    Segment.RIGHT_THIGH: "right thigh",
    Segment.LEFT_SHANK: "left shank",
    Segment.RIGHT_SHANK: "right shank",
    Segment.LEAD_FOREARM: "lead forearm",
}

_LEVELS = {Level.GOOD: "good", Level.FAIR: "fair", Level.POOR: "poor"}
_SIDES = {Side.LEFT: "left", Side.RIGHT: "right"}


def state_word(shown: Shown) -> str:
    return tr(_STATES[shown][0])


def state_hint(shown: Shown) -> str:
    return tr(_STATES[shown][1])


def phase_word(phase: Phase) -> str:
    return tr(_PHASES[phase])


def link_word(state: LinkState) -> str:
    return tr(_LINKS[state])


def segment_word(segment: Segment) -> str:
    return tr(_SEGMENTS[segment])


def side_word(side: Side) -> str:
    return tr(_SIDES[side])


def level_word(level: Level) -> str:
    return tr(_LEVELS[level])


def sound_word(sound: str) -> str:
    return tr(BY_NAME[sound].word) if sound in BY_NAME else sound.replace("-", " ")


def finding_words(finding: Finding, meaning: str | None = None) -> str:
    """One finding: verdict, value and limit, then what it means: the text of the rule, unless `meaning` is given."""
    verdict = tr("Fault") if finding.verdict is Verdict.FAULT else tr("Unsure")
    value, limit = with_spread(finding), numerals.quantity(finding.limit, finding.unit)
    head = tr("{verdict}: {value} (limit {limit})").format(verdict=verdict, value=value, limit=limit)
    return f"{head} – {meaning or finding.text or finding.rule}"


def with_spread(finding: Finding) -> str:
    """What was measured with its error bar; where that is not the same on both sides, with what is certain of it."""
    value = numerals.quantity(finding.value, finding.unit)
    if finding.least is not None:
        return tr("{value} (at least {least})").format(
            value=value, least=numerals.quantity(finding.least, finding.unit)
        )
    return plus_minus(value, numerals.quantity(finding.sd, finding.unit) if finding.sd else "")


def thigh_title(side: str) -> str:
    return tr("Trail thigh angle ({side}), degrees · minus: behind the pelvis").format(side=side)


def rotations_title() -> str:
    return tr("Hip rotation, degrees · internal +, external −")


def pelvis_title() -> str:
    return tr("Pelvis, degrees · turn towards the target +, lead side up +")


def knees_title() -> str:
    return tr("Knee bend, degrees")


def trail_word() -> str:
    return tr("trail")


def lead_word() -> str:
    return tr("lead")


def turn_word() -> str:
    return tr("turn")


def tilt_word() -> str:
    return tr("side tilt")


def traces_name() -> str:
    return tr("Traces of the last ten seconds")


def target(angle: str) -> str:
    return tr("target: below {angle}°").format(angle=angle)


_PHASES_SHORT = {Phase.BACKSWING: "back", Phase.DOWNSWING: "down", Phase.THROUGH_SWING: "through"}


def phase_short(phase: Phase) -> str:
    return tr(_PHASES_SHORT[phase])


def lines_key() -> str:
    return tr("- - top   — impact   ··· finish    band: ± 1 sd    ■ stalled   ▲ growing")


def angle_title(side: str) -> str:
    return tr("trail thigh angle ({side})").format(side=side)


def not_known() -> str:
    """Beside the place of an angle that was known before."""
    return tr("not known")


def spread(sd_deg: float) -> str:
    return f"± {numerals.spread(sd_deg)}"


def rep_name(number: int) -> str:
    return tr("rep {number}").format(number=number)


def table_heads() -> list[str]:
    return [tr(head) for head in ("Rep", "Time", "Top", "Impact", "Finish", "Lowest", "Found")]


def table_title() -> str:
    return tr("Reps, newest first · trail thigh angle at the marks")


def no_reps_yet() -> str:
    return tr("No rep yet. The first one appears here as soon as it is over.")


def result(faults: int, unsure: int, not_judged: int = 0) -> str:
    """What was found in a rep, in a word; a rule that could not be judged is not clean."""
    if faults:
        return tr("1 fault") if faults == 1 else tr("{count} faults").format(count=faults)
    word = tr("unsure") if unsure else tr("nothing")
    return tr("{word}, {count} not judged").format(word=word, count=not_judged) if not_judged else word


def unjudged(lack: str, text: str, rules: Sequence[str]) -> str:
    """Rules that could not be judged on a rep, and why."""
    names = ", ".join(tr(rule.replace("-", " ")) for rule in rules)
    return f"{tr(lack.capitalize())}: {names}. {tr(text)}"


def no_sensor_yet() -> str:
    return tr("no sensor yet")


def sensor_chip(name: str, state: LinkState, rate_hz: float | None, battery: float | None, lost: int) -> str:
    """A sensor in a few words; what is not known is left out."""
    parts = [f"{name}: {link_word(state)}"]
    if state is LinkState.STREAMING and rate_hz is not None:
        parts.append(f"{rate_hz:.0f} Hz")
    if battery is not None:
        parts.append(tr("battery {percent:.0f} %").format(percent=battery))
    if lost:
        parts.append(tr("{lost} samples lost").format(lost=lost))
    return " · ".join(parts)


def short_chip(name: str, state: LinkState, battery: float | None) -> str:
    """The same where room is short: the sign beside it says that a sensor streams."""
    if state is not LinkState.STREAMING:
        return f"{name}: {link_word(state)}"
    return name if battery is None else f"{name} {battery:.0f} %"


def cautions_title() -> str:
    return tr("Before you begin")


def agree_button() -> str:
    return tr("I have read this: begin  (Enter)")


def close_button() -> str:
    return tr("Close  (Enter)")


def window_title() -> str:
    return tr("imufeedback · bay")


def recording_line(path: str | None) -> str:
    return tr("Recording: {path}").format(path=path) if path else tr("Not recording")


def sound_line(muted: bool, last: str | None, delay_ms: float | None = None, trouble: str = "") -> str:
    if trouble:
        return tr("No sound: {trouble}").format(trouble=trouble)
    parts = [tr("Sound off (Space: on)") if muted else tr("Sound on (Space: off)")]
    if last is not None:
        parts.append(tr("last tone: {last}").format(last=sound_word(last)))
    if delay_ms is not None:
        parts.append(tr("motion to sound about {delay:.0f} ms").format(delay=delay_ms))
    return " · ".join(parts)


def sounds_menu() -> str:
    return tr("S&ounds")


def tones_menu() -> str:
    return tr("Which so&und")


def waiting_for_sensors() -> str:
    return tr("waiting for sensors")


def waiting_for_calibration() -> str:
    return tr("angles come after the calibration")


def no_angle() -> str:
    return tr("no data")


def closing() -> str:
    return tr("Closing the recording …")


def fitted(level: Level) -> str:
    return tr("Calibration done: {level}").format(level=level_word(level))


def fit_step(number: int, of: int, say: str) -> str:
    return tr("Calibration {number}/{of}: {say}").format(number=number, of=of, say=say)


def fit_refused(reason: str) -> str:
    return tr("Calibration refused: {reason}").format(reason=reason)


def zeroed(reason: str) -> str:
    return tr("Pelvis turn and hip rotations zeroed ({reason})").format(reason=reason)


def restarted(sensor: str) -> str:
    return tr("Sensor {sensor} started again").format(sensor=sensor)


def fault(where: str, what: str) -> str:
    return tr("Fault in {where}: {what}").format(where=where, what=what)


def dismiss_button() -> str:
    return tr("Dismiss")


def session_menu() -> str:
    return tr("&Session")


def help_menu() -> str:
    return tr("&Help")


def mute_action() -> str:
    return tr("Mute the tones")


def stop_action() -> str:
    return tr("Stop and close")


def cautions_action() -> str:
    return tr("Cautions")


def delays_action() -> str:
    return tr("Drawing and delays")


def delays_text(frames: int, median_ms: float, p99_ms: float, age_ms: float, waiting: int, peak: int, lost: int) -> str:
    """How well the window keeps up, for the help dialog."""
    return tr(
        "Frames drawn: {frames}\nTime for a frame: {median:.1f} ms (99 of 100 within {p99:.1f} ms)\n"
        "Age of the newest sample: {age:.0f} ms\nEvents waiting: {waiting}, at most {peak}; never shown: {lost}\n\n"
        "Drawing never holds up the measurement, the tones or the recording: late frames are left out."
    ).format(frames=frames, median=median_ms, p99=p99_ms, age=age_ms, waiting=waiting, peak=peak, lost=lost)


def ago(seconds: int) -> str:
    return tr("now") if seconds == 0 else f"−{seconds} s"


def turn_plot_title() -> str:
    return tr("Trail thigh angle against pelvis turn, degrees · stalled: falls less than 1° in 9° of turn")


_MARKS = {"top": "top", "impact": "impact*", "finish": "finish"}


def mark_word(mark: str) -> str:
    return tr(_MARKS[mark])


def last_rep(number: int | None) -> str:
    return tr("━  last rep") if number is None else tr("━  rep {number}, the last").format(number=number)


_CHOICES = {
    Choice.BEST: "best rep",
    Choice.FIRST: "first rep",
    Choice.COACH: "marked good",
    Choice.EARLIER: "earlier session",
    Choice.NONE: "nothing",
}


def choice_word(choice: Choice) -> str:
    return tr(_CHOICES[choice])


def reference_name(choice: Choice, track: Track | None, *, itself: bool = False) -> str:
    """What the last rep is compared with, and the key that changes it."""
    name = choice_word(choice)
    if track is not None:
        name = (
            f"{name}, {track.label}"
            if track.label
            else tr("{name}: rep {number}").format(name=name, number=track.number)
        )
    elif itself:
        name = tr("{name}: this one").format(name=name)
    elif choice is not Choice.NONE:
        name = tr("{name}: none yet").format(name=name)
    return tr("┅  {name}  (C: another)").format(name=name)


def reference_short(choice: Choice, track: Track) -> str:
    """The rep that the live one is compared with."""
    return f"{choice_word(choice)}, {track.label or rep_name(track.number)}"


# ── what is wrong, worst first ───────────────────────────────────────────────────────────────────────────────────


def sensor_gone(names: list[str]) -> str:
    which = ", ".join(names)
    if len(names) == 1:
        return tr("{which} sensor lost: reps do not count until it is back. Move closer, check its battery.").format(
            which=which.capitalize()
        )
    return tr("Sensors lost: {which}. Reps do not count until they are back.").format(which=which)


def not_recorded(why: str) -> str:
    return tr("Not being recorded: {why}").format(why=why)


def unheard(trouble: str) -> str:
    return tr("No tone can be heard: {trouble}. Check the speaker or headphones.").format(trouble=trouble)


def battery_low(name: str, percent: float) -> str:
    return tr("{name} sensor: battery {percent:.0f} %. Charge it before the next session.").format(
        name=name.capitalize(), percent=percent
    )


def all_over() -> str:
    return tr("The recording is closed: nothing more can be kept in it.")


# ── the result of a rep ──────────────────────────────────────────────────────────────────────────────────────────


def no_fault(name: str) -> str:
    return tr("{name}: no fault.").format(name=name)


def not_counted(name: str) -> str:
    return tr("{name} does not count.").format(name=name)


def taken_out() -> str:
    return tr("You took it out.")


def close_call(what: str) -> str:
    return tr("Too close to call: {what}").format(what=what[:1].lower() + what[1:])


def plus_minus(value: str, spread: str) -> str:
    return f"{value} ± {spread}" if spread else value


def value_and_limit(finding: Finding) -> str:
    return tr("{value}, limit {limit}").format(
        value=with_spread(finding), limit=numerals.quantity(finding.limit, finding.unit)
    )


def lowest(value: str, spread: str, target: str | None) -> str:
    """Of a rep without a fault: how low the trail thigh angle came."""
    text = tr("Lowest angle {value}").format(value=plus_minus(value, spread))
    return text if target is None else tr("{text}, target {target}").format(text=text, target=target)


def try_next(text: str) -> str:
    return tr("Next: {text}").format(text=text)


def strip_title() -> str:
    return tr("Last ten reps: stalled turn")


def no_reps_short() -> str:
    return tr("No rep yet")


def golfer_comes() -> str:
    return tr("The virtual golfer is getting ready. It begins by itself in a few seconds.")


# ── the end of a session ─────────────────────────────────────────────────────────────────────────────────────────


def end_title() -> str:
    return tr("Session over")


def no_rep_counted() -> str:
    return tr("No rep counted.")


def clean_reps(clean: int, of: int) -> str:
    return tr("{clean} of {of} reps without a fault").format(clean=clean, of=of)


def before_after(count: int, before: str, after: str) -> str:
    text = tr("Stalled turn: first {count} reps {before}, last {count} reps {after}")
    return text.format(count=count, before=before, after=after)


def best_rep(number: int, flat: str) -> str:
    text = tr("Best rep: number {number}").format(number=number)
    return tr("{text} (stalled for {flat} of turn)").format(text=text, flat=flat) if flat else text


def next_head() -> str:
    return tr("Next time")


def kept_in(path: str) -> str:
    return tr("Recording: {path}").format(path=path)


def report_button() -> str:
    return tr("Report  (R)")


def report_making() -> str:
    return tr("Writing the report …")


def report_written(path: str) -> str:
    return tr("Report: {path}").format(path=path)


def again_button() -> str:
    return tr("Again  (Enter)")


def next_player_button() -> str:
    return tr("Next player  (N)")


def end_close_button() -> str:
    return tr("Close  (Esc)")


# ── the coach's keys ─────────────────────────────────────────────────────────────────────────────────────────────


def view_menu() -> str:
    return tr("&View")


def rep_menu() -> str:
    return tr("&Rep")


def pause_action() -> str:
    return tr("Pause")


def paused() -> str:
    return tr("Paused: no tones, and reps do not count. P goes on.")


def goes_on() -> str:
    return tr("It goes on.")


def good_action() -> str:
    return tr("This one was good")


def discard_action() -> str:
    return tr("Discard the last rep")


def note_action() -> str:
    return tr("Note …")


def reference_action() -> str:
    return tr("Compare with another rep")


def limits_action() -> str:
    return tr("Limits …")


def higher_action() -> str:
    return tr("Target higher")


def lower_action() -> str:
    return tr("Target lower")


def range_action() -> str:
    return tr("Range view")


def range_title() -> str:
    return tr("imufeedback · range")


def second_action() -> str:
    return tr("Range view in a window of its own")


def full_action() -> str:
    return tr("Full screen")


def theme_action() -> str:
    return tr("Dark range view")


def calm_action() -> str:
    return tr("Less motion")


def zero_action() -> str:
    return tr("Zero now")


def no_rep_to_mark() -> str:
    return tr("No rep yet.")


def marked_good(number: int, good: bool) -> str:
    text = tr("Rep {number} is marked good.") if good else tr("Rep {number} is not marked good any more.")
    return text.format(number=number)


def discarded(number: int, gone: bool) -> str:
    text = tr("Rep {number} does not count.") if gone else tr("Rep {number} counts again.")
    return text.format(number=number)


def void_rep(number: int, reason: str) -> str:
    return tr("Rep {number} does not count: {reason}").format(number=number, reason=reason)


def void_result() -> str:
    """Of a rep that could not be judged, in a word."""
    return tr("not judged")


def void_stays(number: int) -> str:
    """Answer to a coach who says something about a rep that could not be judged."""
    return tr("Rep {number} could not be judged: it counts neither way.").format(number=number)


def noted(text: str) -> str:
    return tr("Noted: {text}").format(text=text)


def note_title(number: int | None) -> str:
    return tr("Note") if number is None else tr("Note on rep {number}").format(number=number)


def note_hint() -> str:
    return tr("Kept in the recording. Enter keeps it, Esc does not.")


def limits_title() -> str:
    return tr("Limits of this session")


def limits_hint() -> str:
    return tr("From the next rep on, and written into the recording. Arrows change, Tab goes on.")


def for_today() -> str:
    return tr("for &today")


def for_player(name: str) -> str:
    return tr("for {name}, from now &on").format(name=name.replace("&", "&&"))


_WHOSE = {None: "usual", Whose.PLAYER: "the player's own", Whose.TODAY: "for today"}


def origin(whose: Whose | None, *, baseline: bool = False) -> str:
    """Where a limit comes from; `baseline`: the player's own counts or narrows it."""
    text = tr(_WHOSE[whose])
    return tr("{text}; your own baseline where there is one").format(text=text) if baseline else text


def no_target() -> str:
    return tr("no target set")


def own_baseline() -> str:
    return tr("your own baseline")


def put_back() -> str:
    return tr("Put back")


def limit_of(name: str, value: str, whose: Whose | None) -> str:
    """A limit as it was set, and for whom."""
    return tr("From the next rep on: {name} {value} ({whose})").format(name=name, value=value, whose=origin(whose))


def homework_action() -> str:
    return tr("Homework …")


def homework_title(player: str) -> str:
    return tr("Homework for {player}").format(player=player)


def homework_hint() -> str:
    return tr("Kept in the player's file, shown at the next start, and ticked off by doing it.")


def homework_drill() -> str:
    return tr("&Drill")


def homework_reps() -> str:
    return tr("&Reps a day")


def homework_days() -> str:
    return tr("D&ays")


def homework_give() -> str:
    return tr("Give it  (Enter)")


def homework_given(title: str, reps: int, days: int) -> str:
    return tr("Homework: {title}, {reps} reps a day on {days} days.").format(title=title, reps=reps, days=days)


def nobody_for_homework() -> str:
    return tr("Homework needs a player: choose one on the first screen.")


def target_name() -> str:
    return tr("target of the trail thigh angle")


def ask_title() -> str:
    return tr("Stop the session?")


def ask_text() -> str:
    return tr("The session runs. Stopping closes the recording and lets go of the sensors.")


def ask_stop() -> str:
    return tr("Stop  (Enter)")


def ask_stay() -> str:
    return tr("Go on  (Esc)")


def rep_flags(good: bool, discarded: bool, note: str) -> str:
    """What a person said about a rep, in short."""
    parts = [tr("good")] if good else []
    if discarded:
        parts.append(tr("does not count"))
    if note:
        parts.append(tr("note: {note}").format(note=note))
    return " · ".join(parts)


def short_buttons() -> list[str]:
    return [tr(text) for text in ("Pause", "Good", "Discard", "Note", "Range", "Stop")]


def block_begun(name: str) -> str:
    return tr("Now: {name}").format(name=name)


_MODES = {
    Mode.NONE: "no tones",
    Mode.CONCURRENT: "tones while you move",
    Mode.BANDWIDTH: "a tone after a rep outside your coach's band",
    Mode.AFTER_REP: "the result after each rep",
    Mode.FADED: "tones for some of the reps",
}


def mode_word(mode: Mode) -> str:
    return tr(_MODES[mode])


def estimate_word() -> str:
    return tr("your own call first")


def faded_by_block(shares: str) -> str:
    return tr("Faded tones, block by block: {shares} % of the reps.").format(shares=shares)


def purposes_action() -> str:
    return tr("Why feedback comes when it does")


def block_large(block: BlockBegun) -> str:
    """Name of a block and how its reps are told about."""
    told = mode_word(block.mode)
    if block.role in UNTOLD:
        told = tr("no tones; results when it is over")
    elif block.estimate:
        told = f"{estimate_word()}; {told}"
    return f"{block.name}\n{told}"


def hidden_angles() -> str:
    """In place of the traces in a baseline or test, and where the player says first what he thinks."""
    return tr("hidden in this block: the angle would tell the result")


def estimate_actions() -> list[str]:
    """My own estimate of the last rep, in the order of the keys 1, 2, 3."""
    return [tr(text) for text in ("I think it was good", "I think it was not good", "I am not sure")]


def estimate_menu() -> str:
    return tr("&Estimate")


def estimated(number: int, answer: str) -> str:
    return tr("Rep {number}, your call: {answer}.").format(number=number, answer=tr(answer))


def nothing_asked() -> str:
    return tr("No estimate is waited for.")


def rep_done(number: int) -> str:
    return tr("Rep {number} is in.").format(number=number)


def pain_action() -> str:
    return tr("Stop: something hurts")


def last_reps(reps: list[tuple[int, int, int]]) -> str:
    """The last reps for a screen reader: number, faults, doubts of each."""
    return tr("Last reps: {reps}").format(
        reps="; ".join(f"{number}: {result(faults, unsure)}" for number, faults, unsure in reps) or "–"
    )


# ── the body ─────────────────────────────────────────────────────────────────────────────────────────────────────

_VIEWS = {
    View.FACE_ON: "Face on",
    View.TARGET_LINE: "Along the target line",
    View.TOP: "From above",
    View.PELVIS: "Square to the pelvis",
}


def view_word(view: View) -> str:
    return tr(_VIEWS[view])


def body_name() -> str:
    return tr("The body: pelvis and legs")


def no_body() -> str:
    return tr("No angles to draw")


def ghost(name: str) -> str:
    """What the outline beside the body is."""
    return tr("dashed: {name}").format(name=name)


def body_label(part: Part, value_deg: float) -> str:
    """A few words beside a part of the body."""
    angle = numerals.degrees(value_deg)
    if part is Part.TARGET:
        return tr("target {angle}").format(angle=angle)
    if part is Part.TARGET_LINE:
        return tr("to the target")
    return tr("turn {angle}").format(angle=angle) if part is Part.TURN else angle
