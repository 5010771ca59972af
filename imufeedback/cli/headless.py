"""``live --headless``: a session of real sensors without a window. Ctrl-C, or the end of the plan, closes it well."""

from __future__ import annotations

import time
from collections.abc import Mapping
from dataclasses import dataclass
from pathlib import Path
from threading import Event as Flag
from typing import TYPE_CHECKING

import typer

from imufeedback import people, resources
from imufeedback.cli.output import check_writable, print_notes, print_reps, say, show, write_json
from imufeedback.cli.radio_script import radio_script
from imufeedback.cli.search import LOOK_S, check_places, find, open_station
from imufeedback.cli.stopping import ProgramStopped
from imufeedback.cli.telling import LinkTeller, LiveTeller, spoken
from imufeedback.cli.trainee import (
    keep,
    keep_calibration,
    person_of,
    stored_calibration,
    today,
    virtual_person,
    work_of,
)
from imufeedback.errors import UsageError

if TYPE_CHECKING:
    from imufeedback.app.practice_choices import Work
    from imufeedback.ble.roster import Roster
    from imufeedback.document import Document
    from imufeedback.live.practice import Practice
    from imufeedback.live.session import Sink
    from imufeedback.live.station import Station
    from imufeedback.live.unattended import Unattended
    from imufeedback.live.worn_golfer import WornGolfer
    from imufeedback.packets import Layout
    from imufeedback.people import Person
    from imufeedback.records import Segment
    from imufeedback.report.summary import Summary


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
    speak: bool = False
    limits: str | None = None
    """TOML text of limits in place of the player's own."""


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
    if wanted.virtual:
        person = virtual_person(wanted.player, wanted.handed)
    else:
        person = person_of(everybody, wanted.player, wanted.handed, accept=wanted.accept)
    work = work_of(wanted.work or person.drill)
    over = Flag()
    golfer = _golfer(wanted, person, over) if wanted.virtual else None
    roster = Roster(Path()) if golfer else load_roster(resources.data_folder())
    known = golfer.known if golfer else tuple(roster.known.values())
    check_places(known, layout)
    if not wanted.virtual:
        keep(everybody, person, work)
    station, searched = open_station(layout, known, golfer)
    try:
        roles = find(station, searched, known, wanted.wait_s)
        _play(wanted, person, work, layout, station, roles, roster, over)
    finally:
        station.close()


def _golfer(wanted: Wanted, person: Person, over: Flag) -> WornGolfer:
    from dataclasses import replace

    from imufeedback.live.golfer import LAYOUT, TRY_FLAWS, trial_plan
    from imufeedback.live.worn_golfer import WornGolfer

    if wanted.layout != LAYOUT:
        raise UsageError(f"virtual sensors have the layout {LAYOUT}", where="live", hint="leave out --layout")
    flaws = tuple(TRY_FLAWS[k % len(TRY_FLAWS)] for k in range(wanted.reps))
    plan = replace(trial_plan(person.hand), flaw=flaws, reps=wanted.reps, radio=radio_script(wanted.radio))
    return WornGolfer(plan, over.set)


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
    from imufeedback.live.unattended import Unattended
    from imufeedback.record import baselines
    from imufeedback.report.summary import Summary

    summary = Summary(person.hand)
    coach = Unattended(
        work.blocks,
        lambda event: None if wanted.virtual else keep_calibration(person.name, event),
    )
    stored = stored_calibration(person, virtual=wanted.virtual) if wanted.stored_fit else None
    day, taken = today(), baselines.Taken()
    worn = WornSensors(
        *(station, roles, layout, person.player),
        offsets_s={sensor: roster.offset_s(sensor) for sensor in roles},
        limits=people.limits_text(person) if wanted.limits is None else wanted.limits,
        earlier=None if wanted.virtual else baselines.earlier(resources.data_folder(), person.name, day),
    )
    with new_recording(wanted.recordings, person.name) as journal, spoken(wanted=wanted.speak) as voice:
        sinks: list[Sink] = [summary, LiveTeller(), LinkTeller(roles), *voice, coach, taken]
        practice = Practice(worn, journal, sinks, open_sound=open_player if wanted.sound else None)
        stopped: ProgramStopped | None = None
        try:
            practice.start()
            coach.begin(practice.command, stored)
            say(f"{person.name}: {work.title}. Ctrl-C ends the session.")
            _until_over(practice, coach, over, wanted.minutes)
        except ProgramStopped as error:
            stopped = error  # the usual way to end it: what was trained is shown all the same
        finally:
            practice.stop()
    if not wanted.virtual:  # a virtual golfer's reps are nobody's
        baselines.keep(resources.data_folder(), person.name, day, journal.path, taken.reps)
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
