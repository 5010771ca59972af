"""Every text of the first screen."""

from __future__ import annotations

from collections.abc import Mapping

from imufeedback.app.start.readiness import Mark, Readiness, Step
from imufeedback.app.words import level_word, link_word, segment_word, tr
from imufeedback.people import Homework, Person, open_homework
from imufeedback.records import Hand, Level, LinkState, Segment

TITLES = {Step.PLAYER: "Player", Step.SENSORS: "Sensors", Step.CALIBRATION: "Calibration", Step.WORK: "What to train"}
_MARKS = {Mark.DONE: "done", Mark.OPEN: "to do", Mark.BUSY: "under way", Mark.TROUBLE: "look here"}
HANDS = {Hand.RIGHT: "right-handed", Hand.LEFT: "left-handed"}


def title(step: Step) -> str:
    return tr(TITLES[step])


def mark_word(mark: Mark) -> str:
    return tr(_MARKS[mark])


def hand_word(hand: Hand) -> str:
    return tr(HANDS[hand])


def places(segments: tuple[Segment, ...]) -> str:
    return ", ".join(segment_word(one) for one in segments)


def says(step: Step, ready: Readiness, work_title: str = "") -> str:
    """One line: what is there, or what is missing."""
    if step is Step.PLAYER:
        return _player(ready)
    if step is Step.SENSORS:
        return _sensors(ready)
    if step is Step.CALIBRATION:
        return _calibration(ready)
    return work_title or tr("choose a drill or a plan")


def _player(ready: Readiness) -> str:
    if ready.person is None:
        return tr("choose or add a player")
    name = f"{ready.person.name}, {hand_word(ready.person.hand)}"
    return name if ready.person.cautions_seen else tr("{name}: read the cautions").format(name=name)


def _sensors(ready: Readiness) -> str:
    if ready.lost():
        return tr("lost: {places}").format(places=places(tuple(ready.roles[one] for one in ready.lost())))
    if ready.double_places():
        return tr("two sensors on: {places}").format(places=places(ready.double_places()))
    if ready.searching:
        return tr("searching …")
    if ready.running:
        waiting = ready.missing_places()
        if waiting:
            return tr("waiting for: {places}").format(places=places(waiting))
        return tr("virtual golfer") if ready.virtual else tr("{count} streaming").format(count=len(ready.roles))
    if ready.search_trouble and not ready.links:
        return tr("none found")
    if ready.others and not ready.links:
        return tr("which are yours?")
    if ready.links:
        missing = ready.missing_places()
        return tr("no sensor on: {places}").format(places=places(missing)) if missing else tr("ready to stream")
    return tr("search, or try without")


def _calibration(ready: Readiness) -> str:
    if ready.fit_refused is not None:
        return tr("refused – once more")
    if ready.fit_level is not None:
        return tr("done: {level}").format(level=level_word(ready.fit_level))
    return tr("under way") if ready.calibrating else tr("after the sensors, about 30 s")


def missing(ready: Readiness) -> str:
    """What keeps the session from beginning, for the line beside the button."""
    step = ready.first_open()
    if step is None:
        return tr("All is ready.")
    return tr("Missing: {step} – {what}").format(step=title(step), what=says(step, ready))


def window_title() -> str:
    return tr("imufeedback · before the session")


def heading() -> str:
    return tr("Before the session")


def keys() -> str:
    return tr("Alt+1 to Alt+4: steps · Tab: from field to field · Ctrl+Enter: go on · F1: cautions · Esc: leave")


def next_button(last: bool) -> str:
    return tr("Begin  (Ctrl+Enter)") if last else tr("Go on  (Ctrl+Enter)")


# ── player ───────────────────────────────────────────────────────────────────────────────────────────────────────


def who() -> str:
    return tr("Who is training? Press Enter to choose the highlighted player.")


def nobody_yet() -> str:
    return tr("Nobody is here yet. Add a player, with Ctrl+N: a name and the hand are enough.")


def add_player() -> str:
    return tr("Add a player  (Ctrl+N)")


def change_player() -> str:
    return tr("Change  (Ctrl+E)")


def save_player() -> str:
    return tr("Save  (Enter)")


def back_button() -> str:
    return tr("Back")


def form_heading(new: bool) -> str:
    return tr("New player") if new else tr("Change a player")


def name_label() -> str:
    return tr("&Name")


def hand_label() -> str:
    return tr("&Hand")


def height_label() -> str:
    return tr("H&eight, m (may stay empty)")


def notes_label() -> str:
    return tr("N&otes (tight sides, what to look after)")


def person_line(person: Person, height: str) -> str:
    parts = [person.name, hand_word(person.hand)]
    if height:
        parts.append(f"{height} m")
    parts.append(
        tr("last here {day}").format(day=person.last_used.isoformat()) if person.last_used else tr("not here before")
    )
    homework = open_homework(person)
    if homework is not None:
        parts.append(tr("homework: {done} of {days} days").format(done=len(homework.done), days=homework.days))
    return "  ·  ".join(parts)


def homework_now(homework: Homework, title: str) -> str:
    """What a coach gave, at the next start."""
    return tr("Homework: {title}, {reps} reps a day on {days} days; {done} done. It is chosen for you.").format(
        title=title, reps=homework.reps, days=homework.days, done=len(homework.done)
    )


def accept_cautions(name: str) -> str:
    return tr("{name} has read this  (Enter)").format(name=name)


def locked() -> str:
    return tr("The session has begun: it belongs to this player. Stop it to choose another one.")


# ── sensors ──────────────────────────────────────────────────────────────────────────────────────────────────────


def sensors_hint() -> str:
    return tr(
        "Wear them tight: one on the back of the pelvis, one on the outside of each thigh, half way up. "
        "Switch them on, close other programs that use them, then search."
    )


def search_button(again: bool) -> str:
    return tr("Search again  (Ctrl+F)") if again else tr("Search  (Ctrl+F)")


def try_button() -> str:
    return tr("Try it without sensors  (Ctrl+T)")


def try_hint() -> str:
    return tr("A virtual golfer wears virtual sensors: everything else is the real thing, recording and tones too.")


def others_button(count: int) -> str:
    if count == 1:
        return tr("1 other sensor is in reach: left alone  (Ctrl+L)")
    return tr("{count} other sensors are in reach: left alone  (Ctrl+L)").format(count=count)


def others_name() -> str:
    return tr("Other sensors in reach")


def which_are_yours(ask: bool) -> str:
    if ask:
        return tr("New sensors in reach: which are yours? The strongest is nearest. Only what you take is connected.")
    return tr("Is one of these yours? Only what you take is connected.")


def mine_button() -> str:
    return tr("It is mine: connect it  (Ctrl+M)")


def blink_button() -> str:
    return tr("Blink  (Ctrl+B)")


def blink_this(sensor: str) -> str:
    return tr("Let {sensor} blink").format(sensor=sensor)


def blink_short() -> str:
    return tr("Blink")


def other_words(name: str, signal_dbm: int) -> str:
    """Name and strength; the borders are chosen: an arm's length, a room, beyond."""
    near = tr("close by") if signal_dbm >= -60 else tr("near") if signal_dbm >= -80 else tr("far")
    return f"{name}  ·  {near} (−{abs(signal_dbm)} dBm)"


def take_part(sensor: str) -> str:
    return tr("{sensor} takes part").format(sensor=sensor)


def absent_words(segment: Segment | None, serial: str) -> str:
    return serial if segment is None else f"{segment_word(segment)} ({serial})"


def not_heard(names: list[str]) -> str:
    """Own sensors that are missing, as "place (serial number)"."""
    return tr(
        "Not heard: {names}. Switch off and on, bring close, close other programs that use it, then search again."
    ).format(names=", ".join(names))


def stream_button() -> str:
    return tr("Let them stream  (Ctrl+Enter)")


def no_place() -> str:
    return tr("not worn")


def place_of(sensor: str) -> str:
    return tr("Where is {sensor} worn?").format(sensor=sensor)


def sensor_words(state: LinkState, battery: float | None) -> str:
    words = _here_word(state)
    return words if battery is None else tr("{state}, {percent:.0f} %").format(state=words, percent=battery)


def sensor_tip(state: LinkState, battery: float | None) -> str:
    """The same at length."""
    words = link_word(state)
    return words if battery is None else tr("{state} · battery {percent:.0f} %").format(state=words, percent=battery)


def place_words(segment: Segment, state: LinkState | None) -> str:
    return f"{segment_word(segment)}: {tr('no sensor') if state is None else _here_word(state)}"


def _here_word(state: LinkState) -> str:
    """Before a session nobody expects data, and a closed link was closed by the person."""
    if state is LinkState.CONNECTED:
        return tr("connected")
    return tr("left out") if state is LinkState.CLOSED else link_word(state)


# ── calibration ──────────────────────────────────────────────────────────────────────────────────────────────────────


def fit_before() -> str:
    return tr("The calibration finds how the sensors sit. It comes when they stream.")


def fit_can_begin() -> str:
    return tr("Start, stand still, then move at your own pace.")


def fit_virtual() -> str:
    return tr("The virtual golfer does the movements. You may choose what to train meanwhile.")


def fit_list() -> list[str]:
    return [
        tr(line)
        for line in (
            "stand still for 3 seconds",
            "right knee up, twice",
            "left knee up, twice",
            "bow twice, with straight legs",
            "stand still",
        )
    ]


def fit_start() -> str:
    return tr("Start the calibration  (Ctrl+R)")


def fit_again() -> str:
    return tr("Fit once more  (Ctrl+R)")


def fit_stored(days: int | None) -> str:
    """A calibration that is so old; empty without one."""
    if days is None:
        return ""
    if days == 0:
        return tr("Straps untouched since today's calibration: use that  (Ctrl+O)")
    return tr("Use the calibration of {days} days ago, though straps were off  (Ctrl+O)").format(days=days)


def says_fitted(level: Level) -> str:
    return tr("The calibration is done: {level}.").format(level=level_word(level))


def fit_now(number: int) -> str:
    return tr("Now: {what}").format(what=fit_list()[number])


def swap_offered(roles: Mapping[Segment, Segment]) -> str:
    pairs = ", ".join(f"{segment_word(stored)} → {segment_word(seen)}" for stored, seen in roles.items())
    return tr("The movements say that sensors are elsewhere: {pairs}. Are they?").format(pairs=pairs)


def swap_button() -> str:
    return tr("Yes, they are  (Ctrl+Y)")


def keep_button() -> str:
    return tr("No, I began with the other knee  (Ctrl+K)")


def fit_refused(reason: str) -> str:
    return tr("That was no calibration: {reason}").format(reason=reason)


# ── work ─────────────────────────────────────────────────────────────────────────────────────────────────────────


def work_hint() -> str:
    return tr("Slow before fast. The arrows choose, Ctrl+Enter begins.")


def rules_word() -> str:
    return tr("swings")


def drill_word() -> str:
    return tr("drill")


def plan_word() -> str:
    return tr("plan")
