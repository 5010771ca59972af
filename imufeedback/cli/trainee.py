"""Who trains without a window, what, and with which stored calibration."""

from __future__ import annotations

import datetime
from typing import TYPE_CHECKING

import msgspec

from imufeedback import resources
from imufeedback.cli.output import say
from imufeedback.errors import ImuFeedbackError, UsageError
from imufeedback.people import People, Person

if TYPE_CHECKING:
    from imufeedback.app.practice_choices import Work
    from imufeedback.commands import SetFit
    from imufeedback.records import Fitted

USUAL_WORK = "swing"
VIRTUAL_PLAYER = "virtual golfer"


def virtual_person(name: str | None, handed: str | None) -> Person:
    from imufeedback.records import Hand

    return Person(name or VIRTUAL_PLAYER, Hand(handed or "right"))


def person_of(everybody: People, name: str | None, handed: str | None, *, accept: bool) -> Person:
    """Who trains; the cautions are accepted."""
    from imufeedback.records import Hand

    for line in everybody.troubles:
        say(line)
    if name is None:
        person = next(iter(everybody.all), None)
        if person is None:
            raise UsageError("no player is known here", where="live", hint="add --player NAME --handed right")
    else:
        person = everybody.find(name)
        if person is None and handed is not None:
            person = Person(" ".join(name.split()), Hand(handed))
        if person is None:
            names = ", ".join(one.name for one in everybody.all) or "nobody yet"
            hint = f"known: {names}; a new one needs --handed right or left"
            raise UsageError(f"no player {name!r}", where="live", hint=hint)
    if person.cautions_seen is None and not accept:
        raise UsageError(
            f"{person.name} has not accepted the cautions above",
            where="live",
            hint="read them, then add --accept-cautions",
        )
    if person.cautions_seen is None:
        person = msgspec.structs.replace(person, cautions_seen=today())
    return person


def today() -> datetime.date:
    return datetime.datetime.now().astimezone().date()


def keep(everybody: People, person: Person, work: Work) -> None:
    kept = msgspec.structs.replace(person, last_used=today(), drill=work.key)
    everybody.save(kept, was=person.name if everybody.find(person.name) else None)


def work_of(name: str) -> Work:
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


def stored_calibration(person: Person, *, virtual: bool) -> SetFit:
    from imufeedback.record.fits import last

    found = None if virtual else last(resources.data_folder(), person.name)
    if found is None:
        raise UsageError(
            f"{person.name} has no stored calibration", where="live", hint="leave out --stored-calibration"
        )
    return found.command(today())


def keep_calibration(name: str, event: Fitted) -> None:
    """For later today. Called in the session's thread: what fails is said, and the session goes on."""
    from imufeedback.record.fits import StoredFit, store

    try:
        store(resources.data_folder(), StoredFit(name, today(), event.fit))
    except ImuFeedbackError as error:
        say(str(error))
