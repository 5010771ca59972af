"""Baselines of players, kept between sessions: one small JSON file a player in the data folder's ``baselines``.

Only what rules compare is kept of a rep, and the recording that it is from: a rep that was discarded there since, or
whose recording is gone, counts no more.
"""

from __future__ import annotations

from collections import Counter
from collections.abc import Collection, Iterable, Mapping
from datetime import date, timedelta
from pathlib import Path

import msgspec

from imufeedback import resources
from imufeedback.errors import BadFile, BadToml
from imufeedback.record.files import cannot_write, make_folder, safe_stem, write_own
from imufeedback.records import BlockBegun, Event, Rep, Role
from imufeedback.rules import parse_rule_set
from imufeedback.settings import EarlierBaseline
from imufeedback.texts import read_bytes

FOLDER = "baselines"
COUNTED, KEPT = 20, 60
"""Newest reps of a kind that are compared with, and that are kept: those of some days may be discarded. Chosen."""
OLDEST = timedelta(days=60)
"""A body and a swing change: what is older counts no more. Chosen."""


class KeptRep(msgspec.Struct, frozen=True):
    """One rep of a baseline."""

    day: date
    recording: str
    """Its path."""
    rep: int
    kind: str
    features: dict[str, float]


class _File(msgspec.Struct, frozen=True):
    player: str
    reps: list[KeptRep] = []
    """The newest last."""
    format: int = 1


class Taken:
    """Hears a session and takes down the reps of its baseline."""

    def __init__(self) -> None:
        self._baseline = False
        self.reps: list[Rep] = []

    def __call__(self, events: Iterable[Event]) -> None:
        for event in events:
            if isinstance(event, BlockBegun):
                self._baseline = event.role is Role.BASELINE
            elif isinstance(event, Rep) and self._baseline and not event.void:
                self.reps.append(event)


def keep(
    folder: Path, player: str, day: date, recording: Path, taken: Iterable[Rep], discarded: Collection[int] = ()
) -> None:
    """Keep a session's baseline for those to come. Raises CannotWrite."""
    compared = _compared()
    new = [
        KeptRep(day, str(recording), one.index, one.kind, _only(one.features, compared))
        for one in taken
        if one.index not in discarded
    ]
    if not new:
        return
    place = folder / FOLDER
    try:
        make_folder(place)
    except OSError as error:
        raise cannot_write(place, error) from None
    reps = [*(one for one in _read(folder, player) if one.recording != str(recording)), *new]
    many: Counter[str] = Counter()
    kept: list[KeptRep] = []
    for one in reversed(reps):
        many[one.kind] += 1
        if many[one.kind] <= KEPT:
            kept.insert(0, one)
    write_own(_path(folder, player), msgspec.json.encode(_File(player, kept)))


def earlier(folder: Path, player: str, today: date) -> EarlierBaseline | None:
    """What rules may compare this player with; None without a baseline that still counts."""
    from imufeedback.record.library.edits import read_edits  # the library is not needed before somebody trains

    counted: list[KeptRep] = []
    discarded: dict[str, Collection[int]] = {}
    for one in reversed(_read(folder, player)):
        path = Path(one.recording)
        if today - one.day > OLDEST or not path.exists():
            continue
        if one.recording not in discarded:
            discarded[one.recording] = read_edits(path).discarded
        if one.rep not in discarded[one.recording] and sum(other.kind == one.kind for other in counted) < COUNTED:
            counted.append(one)
    if not counted:
        return None
    days = sorted(one.day.isoformat() for one in counted)
    kinds = dict.fromkeys(one.kind for one in counted)
    reps = {kind: tuple(one.features for one in counted if one.kind == kind) for kind in kinds}
    return EarlierBaseline(reps, days[0], days[-1])


def _path(folder: Path, player: str) -> Path:
    return folder / FOLDER / f"{safe_stem(player or 'player')}.json"


def _read(folder: Path, player: str) -> list[KeptRep]:
    """Nothing of a file that cannot be read, or is another player's: a baseline can be hit again."""
    try:
        found = msgspec.json.decode(read_bytes(_path(folder, player)), type=_File)
    except (OSError, BadFile, msgspec.MsgspecError, ValueError, RecursionError):
        return []
    return found.reps if found.player == player else []


def _only(features: Mapping[str, float], names: Collection[str]) -> dict[str, float]:
    return {name: value for name, value in features.items() if name in names}


def _compared() -> frozenset[str]:
    """Features that any rule set or drill compares with a baseline."""
    names: set[str] = set()
    for kind in ("rules", "drills"):
        for one in resources.available(kind):
            try:
                rule_set = parse_rule_set(resources.text(kind, one), one)
            except BadToml:
                continue  # it cannot be trained by either
            names |= {rule.feature for rule in rule_set.rules if rule.compares}
    return frozenset(names)
