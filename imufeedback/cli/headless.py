"""``live --headless``: a session of real sensors without a window. Ctrl-C, or the end of the plan, closes it well."""

from __future__ import annotations

import datetime
import time
from collections.abc import Mapping
from dataclasses import dataclass
from pathlib import Path
from threading import Event as Flag
from typing import TYPE_CHECKING

import msgspec
import typer

from imufeedback import people, resources
from imufeedback.cli.output import check_writable, print_notes, print_reps, say, show, write_json
from imufeedback.cli.radio_script import radio_script
from imufeedback.cli.stopping import Stopped
from imufeedback.cli.telling import LinkTeller, LiveTeller
from imufeedback.errors import ImuFeedbackError, RadioError, UsageError
from imufeedback.people import People, Person

if TYPE_CHECKING:
    from collections.abc import Iterable

    from imufeedback.app.practice_choices import Work
    from imufeedback.ble.roster import Known, Roster
    from imufeedback.commands import SetFit
    from imufeedback.document import Document
    from imufeedback.live.practice import Practice
    from imufeedback.live.session import Sink
    from imufeedback.live.station import Station
    from imufeedback.live.unattended import Unattended
    from imufeedback.live.worn_golfer import WornGolfer
    from imufeedback.packets import Layout
    from imufeedback.records import Fitted, Segment
    from imufeedback.report.summary import Summary

USUAL_WORK = "swing"
VIRTUAL_PLAYER = "virtual golfer"
LOOK_S = 0.5
CLOSE_S = 20.0
"""A whole search with its attempts to connect: longer than that the station has failed. Chosen."""


@dataclass(frozen=True, slots=True)
class Wanted:
    """What the command line asks for."""

    recordings: Path
    layout: str
    player: str | None
    handed: str | None
    work: str | None
    minutes: float | None
    wait_s: float
    stored_fit: bool
    accept: bool
    sound: bool
    virtual: bool
    reps: int
    radio: str | None
    json_file: Path | None
    overwrite: bool


def run(wanted: Wanted) -> None:
    """The whole session. Raises UsageError for a player or work that there is not, RadioError when the sensors cannot
    be reached; typer.Exit 1 when something in the session failed."""
    from imufeedback.ble.roster import Roster
    from imufeedback.ble.roster import load as load_roster
    from imufeedback.constants import CAUTIONS
    from imufeedback.packets import parse_layout

    if wanted.json_file is not None:
        check_writable(wanted.json_file, overwrite=wanted.overwrite)
    if wanted.radio is not None and not wanted.virtual:
        raise UsageError("--radio disturbs virtual sensors only", where="live", hint="add --virtual")
    layout = parse_layout(resources.text("layouts", wanted.layout), f"layout {wanted.layout}")
    for line in CAUTIONS:
        say(f"! {line}")
    everybody = people.load(resources.data_folder() / "players")
    person = _virtual_person(wanted) if wanted.virtual else _person(everybody, wanted)
    work = _work(wanted.work or person.drill)
    over = Flag()
    golfer = _golfer(wanted, person, over) if wanted.virtual else None
    roster = Roster(Path()) if golfer else load_roster(resources.data_folder())
    known = golfer.known if golfer else tuple(roster.known.values())
    _check_places(known, layout)
    if not wanted.virtual:
        _keep(everybody, person, work)
    station, searched = _station(layout, known, golfer)
    try:
        roles = _find(station, searched, known, wanted.wait_s)
        _play(wanted, person, work, layout, station, roles, roster, over)
    finally:
        station.close()


# ── before the sensors ───────────────────────────────────────────────────────────────────────────────────────────


def _virtual_person(wanted: Wanted) -> Person:
    from imufeedback.records import Hand

    return Person(wanted.player or VIRTUAL_PLAYER, Hand(wanted.handed or "right"))


def _person(everybody: People, wanted: Wanted) -> Person:
    """Who trains; the cautions are accepted."""
    from imufeedback.records import Hand

    for line in everybody.troubles:
        say(line)
    if wanted.player is None:
        person = next(iter(everybody.all), None)
        if person is None:
            raise UsageError("no player is known here", where="live", hint="add --player NAME --handed right")
    else:
        person = everybody.find(wanted.player)
        if person is None and wanted.handed is not None:
            person = Person(" ".join(wanted.player.split()), Hand(wanted.handed))
        if person is None:
            names = ", ".join(one.name for one in everybody.all) or "nobody yet"
            hint = f"known: {names}; a new one needs --handed right or left"
            raise UsageError(f"no player {wanted.player!r}", where="live", hint=hint)
    if person.cautions_seen is None and not wanted.accept:
        raise UsageError(
            f"{person.name} has not accepted the cautions above",
            where="live",
            hint="read them, then add --accept-cautions",
        )
    if person.cautions_seen is None:
        person = msgspec.structs.replace(person, cautions_seen=_today())
    return person


def _today() -> datetime.date:
    return datetime.datetime.now().astimezone().date()


def _keep(everybody: People, person: Person, work: Work) -> None:
    kept = msgspec.structs.replace(person, last_used=_today(), drill=work.key)
    everybody.save(kept, was=person.name if everybody.find(person.name) else None)


def _work(name: str) -> Work:
    """By its key, or by its name alone. Raises UsageError."""
    from imufeedback.app.practice_choices import available

    works = available()
    for line in works.troubles:
        say(line)
    name = name or USUAL_WORK
    found = works.find(name) or next((one for one in works.all if one.name == name), None)
    if found is None:
        names = ", ".join(dict.fromkeys(one.name for one in works.all))
        raise UsageError(f"nothing to train is called {name!r}", where="live", hint=f"choose of {names}")
    return found


def _golfer(wanted: Wanted, person: Person, over: Flag) -> WornGolfer:
    from dataclasses import replace

    from imufeedback.live.golfer import LAYOUT, TRY_FLAWS, trial_plan
    from imufeedback.live.worn_golfer import WornGolfer

    if wanted.layout != LAYOUT:
        raise UsageError(f"virtual sensors have the layout {LAYOUT}", where="live", hint="leave out --layout")
    flaws = tuple(TRY_FLAWS[k % len(TRY_FLAWS)] for k in range(wanted.reps))
    plan = replace(trial_plan(person.hand), flaw=flaws, reps=wanted.reps, radio=radio_script(wanted.radio))
    return WornGolfer(plan, over.set)


def _check_places(known: Iterable[Known], layout: Layout) -> None:
    """Raises UsageError when there is no sensor for a place that is needed: looking for one would be in vain."""
    from imufeedback.app.start.readiness import NEEDED

    roles = {one.role for one in known if one.layout == layout.name}
    missing = [one for one in NEEDED if one not in roles]
    if missing:
        names = ", ".join(one.replace("_", " ") for one in missing)
        hint = "`imufeedback sensors scan`, then `imufeedback sensors assign SENSOR PLACE`"
        raise UsageError(f"no sensor is assigned to: {names}", where="live", hint=hint)


# ── the sensors ──────────────────────────────────────────────────────────────────────────────────────────────────


class _Searched:
    """How the last search ended."""

    def __init__(self) -> None:
        self.done = Flag()
        self.trouble: str | None = None

    def __call__(self, trouble: str | None) -> None:
        self.trouble = trouble
        self.done.set()


def _station(layout: Layout, known: Iterable[Known], golfer: WornGolfer | None) -> tuple[Station, _Searched]:
    from imufeedback.live.station import Station

    searched = _Searched()
    make = None if golfer is None else golfer.backends
    return Station(layout, LiveTeller(), searched, known=lambda: known, make_backends=make), searched


def _find(station: Station, searched: _Searched, known: Iterable[Known], wait_s: float) -> Mapping[str, Segment]:
    """Search until all that is needed is connected; who wears what. Raises RadioError."""
    from imufeedback.app.start.readiness import NEEDED
    from imufeedback.ble.roster import key, why_missing

    places = {key(one.serial): one.role for one in known if one.role is not None}
    until = time.monotonic() + wait_s
    told: set[str] = set()
    say("looking for your sensors …")
    while True:
        searched.done.clear()
        station.search()
        _wait(searched.done)
        roles = {one: role for one in station.sensors if (role := places.get(key(one))) is not None}
        missing = [one for one in NEEDED if one not in roles.values()]
        lines = [*why_missing(station.absent), *station.troubles]
        if searched.trouble is not None:
            lines.insert(0, searched.trouble)
        if not missing:
            for sensor, role in roles.items():
                say(f"{role.replace('_', ' ')}: {sensor}")
            return roles
        for line in (one for one in lines if one not in told):
            say(line)
        told.update(lines)
        if time.monotonic() > until:
            names = ", ".join(one.replace("_", " ") for one in missing)
            raise RadioError(f"not in reach: {names}", where="live", hint="switch them on, bring them close, try again")


def _wait(done: Flag) -> None:
    until = time.monotonic() + CLOSE_S * 3
    while not done.wait(LOOK_S):
        if time.monotonic() > until:
            raise RadioError("Bluetooth does not answer", where="live", hint="switch Bluetooth off and on, try again")


# ── the session ──────────────────────────────────────────────────────────────────────────────────────────────────


def _play(
    wanted: Wanted,
    person: Person,
    work: Work,
    layout: Layout,
    station: Station,
    roles: Mapping[str, Segment],
    roster: Roster,
    over: Flag,
) -> None:
    from imufeedback.audio import open_player
    from imufeedback.live.practice import Practice, new_recording
    from imufeedback.live.station_source import WornSensors
    from imufeedback.live.unattended import Stint, Unattended
    from imufeedback.record import baselines
    from imufeedback.report.summary import Summary

    summary = Summary(person.hand)
    coach = Unattended(
        [Stint(one.command, one.reps) for one in work.blocks],
        lambda event: None if wanted.virtual else _keep_fit(person.name, event),
    )
    stored = _stored(wanted, person)
    today, taken = _today(), baselines.Taken()
    worn = WornSensors(
        *(station, roles, layout, person.player),
        offsets_s={sensor: roster.offset_s(sensor) for sensor in roles},
        earlier=None if wanted.virtual else baselines.earlier(resources.data_folder(), person.name, today),
    )
    with new_recording(wanted.recordings, person.name) as journal:
        sinks: list[Sink] = [summary, LiveTeller(), LinkTeller(roles), coach, taken]
        practice = Practice(worn, journal, sinks, open_sound=open_player if wanted.sound else None)
        stopped: Stopped | None = None
        try:
            practice.start()
            coach.begin(practice.command, stored)
            say(f"{person.name}: {work.title}. Ctrl-C ends the session.")
            _until_over(practice, coach, over, wanted.minutes)
        except Stopped as error:
            stopped = error  # the usual way to end it: what was trained is shown all the same
        finally:
            practice.stop()
    if not wanted.virtual:  # a virtual golfer's reps are nobody's
        baselines.keep(resources.data_folder(), person.name, today, journal.path, taken.reps)
    document = _document(summary, practice)
    print_notes(summary)
    print_reps(summary)
    show(f"Recording: {journal.path}")
    if wanted.json_file is not None:
        from imufeedback.document import to_json

        write_json(wanted.json_file, to_json(document), overwrite=wanted.overwrite)
    if stopped is not None:
        raise stopped
    if document.errors or practice.error is not None:
        raise typer.Exit(1)


def _until_over(practice: Practice, coach: Unattended, over: Flag, minutes: float | None) -> None:
    until = time.monotonic() + (float("inf") if minutes is None else minutes * 60)
    while time.monotonic() < until and practice.error is None and not coach.over.is_set():
        practice.delay_ms()  # also tells what the sound output has to say
        if over.wait(LOOK_S):
            return


def _document(summary: Summary, practice: Practice) -> Document:
    sound, recording = practice.sound, str(practice.recording)
    if sound is None:
        return summary.document(recording=recording)
    sound.collect()
    return summary.document(
        played=lambda cue: (cue.sound, cue.t_s) in sound.played,
        heard_s=lambda cue: sound.heard_s(cue.sound, cue.t_s),
        late=sound.late,
        recording=recording,
    )


def _stored(wanted: Wanted, person: Person) -> SetFit | None:
    from imufeedback.record.fits import last

    if not wanted.stored_fit:
        return None
    found = None if wanted.virtual else last(resources.data_folder(), person.name)
    if found is None:
        raise UsageError(
            f"{person.name} has no stored calibration", where="live", hint="leave out --stored-calibration"
        )
    return found.command(_today())


def _keep_fit(name: str, event: Fitted) -> None:
    """For later today. Called in the session's thread: what fails is said, and the session goes on."""
    from imufeedback.record.fits import StoredFit, store

    try:
        store(resources.data_folder(), StoredFit(name, _today(), event.fit))
    except ImuFeedbackError as error:
        say(str(error))
