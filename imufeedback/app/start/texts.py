"""What the first screen says of a step, a person, a sensor: texts of `imufeedback.phrases`, chosen and filled in."""

from __future__ import annotations

from collections.abc import Mapping

from imufeedback.app.start.readiness import Mark, Readiness, StartStep
from imufeedback.app.words import level_word, link_word, segment_word
from imufeedback.people import Homework, Person, open_homework
from imufeedback.phrases import phrase
from imufeedback.records import Hand, Level, LinkState, Segment


def title(step: StartStep) -> str:
    return phrase(f"start.title.{step}")


def mark_word(mark: Mark) -> str:
    return phrase(f"start.mark.{mark}")


def hand_word(hand: Hand) -> str:
    return phrase(f"hand.{hand}")


def places(segments: tuple[Segment, ...]) -> str:
    return ", ".join(segment_word(one) for one in segments)


def says(step: StartStep, ready: Readiness, work_title: str = "") -> str:
    """One line: what is there, or what is missing."""
    if step is StartStep.PLAYER:
        return _player(ready)
    if step is StartStep.SENSORS:
        return _sensors(ready)
    if step is StartStep.CALIBRATION:
        return _calibration(ready)
    return work_title or phrase("start.says")


def _player(ready: Readiness) -> str:
    if ready.person is None:
        return phrase("start.player.choose_or_add_a_player")
    name = f"{ready.person.name}, {hand_word(ready.person.hand)}"
    return name if ready.person.cautions_seen else phrase("start.player.read_the_cautions", name=name)


def _sensors(ready: Readiness) -> str:
    if ready.virtual:
        return phrase("start.sensors.virtual_golfer")
    if ready.lost():
        return phrase("start.sensors.lost", places=places(tuple(ready.roles[one] for one in ready.lost())))
    if ready.double_places():
        return phrase("start.sensors.two_sensors_on", places=places(ready.double_places()))
    if ready.searching:
        return phrase("start.sensors.searching")
    if ready.running:
        waiting = ready.missing_places()
        if waiting:
            return phrase("start.sensors.waiting_for", places=places(waiting))
        return phrase("start.sensors.streaming", count=len(ready.roles))
    if ready.search_trouble and not ready.links:
        return phrase("start.sensors.none_found")
    if ready.others and not ready.links:
        return phrase("start.sensors.which_are_yours")
    if ready.links:
        missing = ready.missing_places()
        return (
            phrase("start.sensors.no_sensor_on", places=places(missing))
            if missing
            else phrase("start.sensors.ready_to_stream")
        )
    return phrase("start.sensors.search_or_try_without")


def _calibration(ready: Readiness) -> str:
    if ready.fit_refused is not None:
        return phrase("start.calibration.refused_once_more")
    if ready.fit_level is not None:
        return phrase("start.calibration.done", level=level_word(ready.fit_level))
    if ready.virtual and not ready.running:
        return phrase("start.calibration.virtual")
    return (
        phrase("start.calibration.under_way")
        if ready.calibrating
        else phrase("start.calibration.after_the_sensors_about_30")
    )


def missing(ready: Readiness) -> str:
    """What keeps the session from beginning and what to do about it: the headline."""
    if not ready.running and not ready.virtual:
        for trouble in (ready.search_trouble, ready.absent):
            if trouble:
                return trouble.replace("\n", " ")
    if ready.lost():
        names = places(tuple(ready.roles[one] for one in ready.lost()))
        return phrase("start.missing.lost_bring_it_close_and", places=names)
    if ready.double_places():
        return phrase("start.missing.two_sensors_on_give_one", places=places(ready.double_places()))
    if ready.fit_refused is not None:
        return phrase("start.missing.calibration_failed_press_ctrl_r", why=ready.fit_refused.rstrip("."))
    if ready.others and not ready.links and not ready.running:
        return phrase("start.missing.the_sensors_in_reach_are")
    if ready.links and ready.missing_places() and not ready.searching and not ready.running:
        return phrase("start.missing.no_sensor_on_say_where", places=places(ready.missing_places()))
    step = ready.first_open()
    if step is None:
        return phrase("start.missing.all_is_ready")
    return phrase("start.missing.missing", step=title(step), what=says(step, ready))


def failed(text: str) -> str:
    """A failure as headline."""
    return phrase("start.failed", what=text.rstrip("."))


def next_button(last: bool) -> str:
    return phrase("start.next_button.begin_ctrl_enter") if last else phrase("start.next_button.go_on_ctrl_enter")


# ── player ───────────────────────────────────────────────────────────────────────────────────────────────────────


def form_heading(new: bool) -> str:
    return phrase("start.form_heading.new_player") if new else phrase("start.form_heading.change_a_player")


def person_line(person: Person, height: str) -> str:
    parts = [person.name, hand_word(person.hand)]
    if height:
        parts.append(f"{height} m")
    parts.append(
        phrase("start.person_line.last_here", day=person.last_used.isoformat())
        if person.last_used
        else phrase("start.person_line.not_here_before")
    )
    homework = open_homework(person)
    if homework is not None:
        parts.append(phrase("start.person_line.homework_of_days", done=len(homework.done), days=homework.days))
    return "  ·  ".join(parts)


def homework_now(homework: Homework, title: str) -> str:
    """What a coach gave, at the next start."""
    return phrase("start.homework_now", title=title, reps=homework.reps, days=homework.days, done=len(homework.done))


# ── sensors ──────────────────────────────────────────────────────────────────────────────────────────────────────


def search_button(again: bool) -> str:
    return phrase("start.search_button.search_again_ctrl_f") if again else phrase("start.search_button.search_ctrl_f")


def others_button(count: int) -> str:
    if count == 1:
        return phrase("start.others_button.1_other_sensor_is_in")
    return phrase("start.others_button.other_sensors_are_in_reach", count=count)


def which_are_yours(ask: bool) -> str:
    if ask:
        return phrase("start.which_are_yours.new_sensors_in_reach_which")
    return phrase("start.which_are_yours.is_one_of_these_yours")


def other_words(name: str, signal_dbm: int) -> str:
    """Name and strength; the borders are chosen: an arm's length, a room, beyond."""
    near = (
        phrase("start.other_words.close_by")
        if signal_dbm >= -60
        else phrase("start.other_words.near")
        if signal_dbm >= -80
        else phrase("start.other_words.far")
    )
    return f"{name}  ·  {near} (−{abs(signal_dbm)} dBm)"


def absent_words(segment: Segment | None, serial: str) -> str:
    return serial if segment is None else f"{segment_word(segment)} ({serial})"


def not_heard(names: list[str]) -> str:
    """Own sensors that are missing, as "place (serial number)"."""
    return phrase("start.not_heard", names=", ".join(names))


def sensor_words(state: LinkState, battery: float | None) -> str:
    words = _here_word(state)
    return words if battery is None else phrase("start.sensor_words", state=words, percent=battery)


def sensor_tip(state: LinkState, battery: float | None) -> str:
    """The same at length."""
    words = link_word(state)
    return words if battery is None else phrase("start.sensor_tip", state=words, percent=battery)


def place_words(segment: Segment, state: LinkState | None) -> str:
    return f"{segment_word(segment)}: {phrase('start.place_words') if state is None else _here_word(state)}"


def _here_word(state: LinkState) -> str:
    """Before a session nobody expects data, and a closed link was closed by the person."""
    if state is LinkState.CONNECTED:
        return phrase("start.here_word.connected")
    return phrase("start.here_word.left_out") if state is LinkState.CLOSED else link_word(state)


# ── calibration ──────────────────────────────────────────────────────────────────────────────────────────────────────


def fit_list() -> list[str]:
    return [
        phrase(line)
        for line in (
            "start.fit_list.stand_still_for_3_seconds",
            "start.fit_list.right_knee_up_twice",
            "start.fit_list.left_knee_up_twice",
            "start.fit_list.bow_twice_with_straight_legs",
            "start.fit_list.stand_still",
        )
    ]


def fit_stored(days: int | None) -> str:
    """A calibration that is so old; empty without one."""
    if days is None:
        return ""
    if days == 0:
        return phrase("start.fit_stored.straps_untouched_since_todays_calibration")
    return phrase("start.fit_stored.use_the_calibration_of_days", days=days)


def says_fitted(level: Level) -> str:
    return phrase("start.says_fitted", level=level_word(level))


def fit_now(number: int) -> str:
    return phrase("start.fit_now", what=fit_list()[number])


def swap_offered(roles: Mapping[Segment, Segment]) -> str:
    pairs = ", ".join(f"{segment_word(stored)} → {segment_word(seen)}" for stored, seen in roles.items())
    return phrase("start.swap_offered", pairs=pairs)


# ── work ─────────────────────────────────────────────────────────────────────────────────────────────────────────


def rules_word() -> str:
    return phrase("start.rules_word")


def drill_word() -> str:
    return phrase("start.drill_word")


def plan_word() -> str:
    return phrase("start.plan_word")


# ── keys that have no button of their own ────────────────────────────────────────────────────────────────────────
