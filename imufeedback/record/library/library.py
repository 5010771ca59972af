"""The index over a folder of recordings: found quickly, and never the only home of anything."""

from __future__ import annotations

import os
import sqlite3
import zlib
from collections.abc import Callable, Iterable, Mapping, Sequence
from dataclasses import dataclass
from datetime import datetime, timedelta, timezone
from itertools import islice
from pathlib import Path
from typing import Any, Self

from imufeedback.document import BlockTally, JudgedRep
from imufeedback.errors import CannotWrite, UsageError
from imufeedback.record.files import make_folder, name_key
from imufeedback.record.library import places
from imufeedback.record.library.entries import Entry, read_entry
from imufeedback.record.library.index import Index, why
from imufeedback.records import Verdict

_SCHEMA = """
CREATE TABLE sessions (
  id INTEGER PRIMARY KEY, path BLOB UNIQUE NOT NULL, signature TEXT NOT NULL, player TEXT NOT NULL, title TEXT NOT NULL,
  start_utc TEXT, zone_offset_s INTEGER, duration_s REAL, hand TEXT, rules TEXT, reps INTEGER, faults INTEGER,
  void INTEGER, judged_version TEXT, notes TEXT NOT NULL, trouble TEXT NOT NULL, closed INTEGER NOT NULL,
  beside TEXT NOT NULL, player_key TEXT NOT NULL);
CREATE INDEX sessions_by_player ON sessions (player_key, start_utc);
CREATE TABLE tags (session INTEGER NOT NULL REFERENCES sessions ON DELETE CASCADE, tag TEXT NOT NULL);
CREATE TABLE blocks (
  session INTEGER NOT NULL REFERENCES sessions ON DELETE CASCADE, number INTEGER, name TEXT, role TEXT, drill TEXT,
  begin_s REAL, reps INTEGER);
CREATE TABLE reps (
  session INTEGER NOT NULL REFERENCES sessions ON DELETE CASCADE, number INTEGER NOT NULL, kind TEXT, start_s REAL,
  tones INTEGER, faults INTEGER NOT NULL, unsure INTEGER NOT NULL, rules TEXT NOT NULL, discarded INTEGER NOT NULL,
  void TEXT NOT NULL);
CREATE INDEX reps_by_session ON reps (session);
CREATE INDEX tags_by_session ON tags (session);
"""
VERSION = zlib.crc32(_SCHEMA.encode()) & 0x7FFFFFFF
"""An index with any other tables is another version, and is made again."""
FEATURES_MAX = 1000
"""Ten times what there is; SQLite takes 2000 columns. Chosen."""
BATCH = 50
"""Recordings that are written into the index in one go. Chosen: other programs wait for it."""
_FIXED = ("session", "number", "kind", "start_s", "tones", "faults", "unsure", "rules", "discarded", "void")


@dataclass(frozen=True, slots=True)
class SessionRow:
    """One recording as the index knows it."""

    path: Path
    player: str
    title: str
    started: datetime | None
    """In the zone of the session."""
    duration_s: float
    hand: str
    reps: int | None
    """Those that count. None: not judged yet."""
    faults: int | None
    """Reps with a fault."""
    void: int | None
    """Reps that could not be judged, because an angle was not known."""
    tags: tuple[str, ...]
    notes: str
    trouble: str
    """Why it cannot be read; empty when it can."""
    closed: bool
    """False: the recording was cut off; what was written until then is there."""
    beside: str
    """What is wrong with the files beside it (verdicts, notes); empty when nothing is."""


@dataclass(frozen=True, slots=True)
class TrendPoint:
    """One session's reps of one kind of feedback."""

    path: Path
    started: datetime | None
    tones: bool | None
    """None: not recorded."""
    reps: int
    mean: float
    sd: float


class Library:
    """A folder of recordings with its index. Opening brings the index up to date; close it, or use `with`."""

    def __init__(
        self, root: str | os.PathLike[str], on_progress: Callable[[int, int], None] = lambda done, of: None
    ) -> None:
        """`on_progress` is told how many of the changed recordings have been read.

        Raises CannotWrite when the folder cannot be made. An index that is damaged, of another version or cannot be
        written is replaced, or kept in memory: it holds nothing that the files do not.
        """
        self.root = Path(root)
        try:
            make_folder(self.root)
        except OSError as error:
            raise CannotWrite(f"cannot be made ({error.strerror})", where=str(root), hint="choose another") from None
        self.troubles: list[str] = []
        """What could not be looked at, one line each; the sessions' own troubles are in their rows."""
        self._index = Index(self.root / places.INDEX, _SCHEMA, VERSION)
        self.refresh(on_progress)

    def close(self) -> None:
        self._index.close()

    def __enter__(self) -> Self:
        return self

    def __exit__(self, *_: object) -> None:
        self.close()

    # ── from the files ───────────────────────────────────────────────────────────────────────────────────────────

    def refresh(self, on_progress: Callable[[int, int], None] = lambda done, of: None) -> int:
        """Read what has changed on the disk since the last time; returns how many recordings that were.

        When another program holds the index for long, or it turns out damaged, one in memory takes its place.
        """
        try:
            return self._refresh(on_progress)
        except sqlite3.DatabaseError as error:
            self._leave_file(error)
            return self._refresh(on_progress)

    def _leave_file(self, error: sqlite3.DatabaseError) -> None:
        """Go on in memory. Raises the error again when that is where it came from."""
        if not self._index.on_disk:
            raise error
        self._index.close(good=False)
        self._index = Index(None, _SCHEMA, VERSION)
        self._index.trouble = why(error)

    def _refresh(self, on_progress: Callable[[int, int], None]) -> int:
        self._features = self._columns()
        known = dict(self._index.ask("SELECT path, signature FROM sessions"))
        found = places.look(self.root)
        there = {self._name(path): (path, places.signature(states)) for path, states in found.states.items()}
        self.troubles = [*found.troubles, *([self._index.trouble] if self._index.trouble else [])]
        changed = [(name, *there[name]) for name in there if known.get(name) != there[name][1]]
        gone = [(name,) for name in known.keys() - there]
        if gone:
            with self._index.writing() as index:
                index.executemany("DELETE FROM sessions WHERE path = ?", gone)
        done = 0
        rest = iter(changed)
        while batch := list(islice(rest, BATCH)):
            entries = [(name, signature, read_entry(path)) for name, path, signature in batch]
            with self._index.writing() as index:  # short: other programs wait for it
                self._features = self._columns()
                for name, signature, entry in entries:
                    self._put_safely(index, name, signature, entry)
            done += len(batch)
            on_progress(done, len(changed))
        return len(changed)

    def _columns(self) -> set[str]:
        """Features that have a column; another program may have added some."""
        return {row[1] for row in self._index.ask("PRAGMA table_info(reps)")} - set(_FIXED)

    def _name(self, path: Path) -> bytes:
        """The path inside the folder, written the same on every system: the folder may be moved and copied."""
        return os.fsencode(path.relative_to(self.root).as_posix())

    def _put_safely(self, index: sqlite3.Connection, name: bytes, signature: str, entry: Entry) -> None:
        """What the tables do not take is listed without its reps, with the reason."""
        index.execute("SAVEPOINT entry")
        try:
            self._put(index, name, signature, entry)
        except (sqlite3.OperationalError, sqlite3.InterfaceError, OverflowError, ValueError) as error:
            if getattr(error, "sqlite_errorcode", sqlite3.SQLITE_ERROR) != sqlite3.SQLITE_ERROR:
                raise  # not this entry's fault
            index.execute("ROLLBACK TO entry")
            self._features = self._columns()
            self._put(index, name, signature, entry.without_reps(str(error)))
        index.execute("RELEASE entry")

    def _put(self, index: sqlite3.Connection, name: bytes, signature: str, entry: Entry) -> None:
        newest = entry.newest
        reps = [] if newest is None else newest.summary.reps
        index.execute("DELETE FROM sessions WHERE path = ?", (name,))
        cursor = index.execute(
            f"INSERT INTO sessions VALUES (NULL{', ?' * 18})",
            (
                name, signature, entry.player, entry.title, entry.start_utc, entry.zone_offset_s,
                entry.duration_s, entry.hand, None if newest is None else newest.rules,
                None if newest is None else sum(not rep.void for rep in reps),
                None if newest is None else sum(bool(rep.found(Verdict.FAULT)) for rep in reps),
                None if newest is None else sum(bool(rep.void) for rep in reps),
                None if newest is None else newest.version, entry.notes, entry.trouble,
                int(entry.closed), entry.beside, name_key(entry.player),
            ),
        )  # fmt: skip
        session = cursor.lastrowid
        index.executemany("INSERT INTO tags VALUES (?, ?)", [(session, one) for one in entry.tags])
        if newest is not None:
            self._put_blocks(index, session, newest.summary.blocks or ())
            self._put_reps(index, session, reps, entry.discarded)

    def _put_blocks(self, index: sqlite3.Connection, session: int | None, blocks: Iterable[BlockTally]) -> None:
        rows = [
            (session, k, block.name, block.role, block.drill, block.begin_s, block.reps)
            for k, block in enumerate(blocks)
        ]
        index.executemany("INSERT INTO blocks VALUES (?, ?, ?, ?, ?, ?, ?)", rows)

    def _put_reps(
        self,
        index: sqlite3.Connection,
        session: int | None,
        reps: Sequence[JudgedRep],
        discarded: frozenset[int],
    ) -> None:
        new = {name for rep in reps for name in rep.features} - self._features - set(_FIXED)
        if len(new) + len(self._features) > FEATURES_MAX:
            raise ValueError(f"more than {FEATURES_MAX} features")
        for name in sorted(new):
            index.execute(f"ALTER TABLE reps ADD COLUMN {_quoted(name)} REAL")
            self._features.add(name)
        names = sorted(self._features)
        columns = ", ".join([*_FIXED, *map(_quoted, names)])
        marks = ", ".join("?" * (len(_FIXED) + len(names)))
        rows = [
            (
                session, rep.index, rep.kind, rep.start_s, None if rep.tones is None else int(rep.tones),
                len(rep.found(Verdict.FAULT)), len(rep.found(Verdict.UNSURE)),
                " ".join(sorted({finding.rule for finding in rep.findings})), int(rep.index in discarded),
                rep.void or "", *(rep.features.get(name) for name in names),
            )
            for rep in reps
        ]  # fmt: skip
        index.executemany(f"INSERT INTO reps ({columns}) VALUES ({marks})", rows)

    # ── questions ────────────────────────────────────────────────────────────────────────────────────────────────

    @property
    def features(self) -> tuple[str, ...]:
        """Features that any rep has, sorted."""
        return tuple(sorted(self._features))

    def players(self) -> list[tuple[str, int]]:
        """Players and their number of sessions, by name; one that is written in several ways is one."""
        return self._ask("SELECT min(player), count(*) FROM sessions GROUP BY player_key ORDER BY player_key")

    def sessions(self, player: str | None = None, tag: str | None = None) -> list[SessionRow]:
        """Sessions in the order of time (UTC), those without a date first."""
        rows = self._ask(
            "SELECT id, path, player, title, start_utc, zone_offset_s, duration_s, hand, reps, faults, void, notes,"
            " trouble, closed, beside FROM sessions WHERE (?1 IS NULL OR player_key = ?1)"
            " AND (?2 IS NULL OR id IN (SELECT session FROM tags WHERE tag = ?2)) ORDER BY start_utc, path",
            (_key(player), tag),
        )
        tags: dict[int, list[str]] = {}
        for session, name in self._ask("SELECT session, tag FROM tags"):
            tags.setdefault(session, []).append(name)
        return [self._session(row, tags.get(row[0], [])) for row in rows]

    def spoken(self) -> dict[Path, str]:
        """What each session can be searched by: player, title, notes, rules, drills, tags, and rules not met."""
        rows = self._ask(
            "SELECT path, player || ' ' || title || ' ' || notes || ' ' || coalesce(rules, ''),"
            " (SELECT group_concat(name || ' ' || coalesce(drill, ''), ' ') FROM blocks WHERE session = id),"
            " (SELECT group_concat(tag, ' ') FROM tags WHERE session = id),"
            " (SELECT group_concat(DISTINCT r.rules) FROM reps r WHERE r.session = id AND r.discarded = 0)"
            " FROM sessions"
        )
        return {self._path(row[0]): " ".join(part or "" for part in row[1:]).replace("-", " ") for row in rows}

    def _session(self, row: Sequence[Any], tags: list[str]) -> SessionRow:
        _, path, player, title, utc, offset, duration_s, hand, reps, faults, void, notes, trouble, closed, beside = row
        started = _started(utc, offset)
        return SessionRow(
            self._path(path),
            player,
            title,
            started,
            duration_s,
            hand,
            reps,
            faults,
            void,
            tuple(tags),
            notes,
            trouble,
            bool(closed),
            beside,
        )

    def _path(self, name: bytes) -> Path:
        return self.root / os.fsdecode(name)

    def _ask(self, sql: str, values: Sequence[Any] = ()) -> list[Any]:
        """All rows; when the file turns out damaged, or is held for long, from an index in memory."""
        try:
            return self._index.ask(sql, values).fetchall()
        except sqlite3.DatabaseError as error:
            self._leave_file(error)
            self._refresh(lambda done, of: None)
            return self._index.ask(sql, values).fetchall()

    def reps(
        self,
        player: str | None = None,
        *,
        where: Mapping[str, tuple[float | None, float | None]] | None = None,
        rule: str | None = None,
        sort: str = "start_utc",
        descending: bool = False,
        limit: int = 1000,
    ) -> list[dict[str, Any]]:
        """Reps of all sessions that count (neither discarded nor void), filtered and sorted.

        `where` gives ends (or None) for features; `rule` keeps reps with a finding of that rule; `sort` is a feature,
        ``start_utc``, ``faults`` or ``unsure``. Raises UsageError for a feature that no rep has.
        """
        conditions = ["r.discarded = 0 AND r.void = ''"]
        values: list[str | float] = []
        if player is not None:
            conditions.append("s.player_key = ?")
            values.append(name_key(player))
        if rule is not None:
            conditions.append("' ' || r.rules || ' ' LIKE ?")
            values.append(f"% {rule} %")
        for name, ends in (where or {}).items():
            self._check_feature(name)
            for sign, end in zip((">=", "<="), ends, strict=True):
                if end is not None:
                    conditions.append(f"r.{_quoted(name)} {sign} ?")
                    values.append(float(end))
        if sort not in ("start_utc", "faults", "unsure"):
            self._check_feature(sort)
        by = f"s.start_utc {'DESC' if descending else ''}, r.number" if sort == "start_utc" else f"r.{_quoted(sort)}"
        names = ["path", "player", "start_utc", *(row[1] for row in self._ask("PRAGMA table_info(reps)"))]
        rows = self._ask(
            f"SELECT s.path, s.player, s.start_utc, r.* FROM reps r JOIN sessions s ON s.id = r.session"
            f" WHERE {' AND '.join(conditions)} ORDER BY {by} {'DESC' if descending and sort != 'start_utc' else ''}"
            " LIMIT ?",
            (*values, limit),
        )
        return [{**dict(zip(names, row, strict=True)), "path": os.fsdecode(row[0])} for row in rows]

    def trend(self, feature: str, player: str | None = None) -> list[TrendPoint]:
        """Mean and spread of a feature, session by session, reps with and without tones apart. Raises UsageError."""
        self._check_feature(feature)
        name = _quoted(feature)
        # first the sums, then the sessions: half the time of joining every rep
        rows = self._ask(
            "SELECT s.path, s.start_utc, s.zone_offset_s, r.tones, r.many, r.mean, r.square FROM ("
            f"SELECT session, tones, count({name}) many, avg({name}) mean, avg({name} * {name}) square FROM reps"
            f" WHERE discarded = 0 AND void = '' AND {name} IS NOT NULL GROUP BY session, tones"
            ") r JOIN sessions s ON s.id = r.session WHERE ?1 IS NULL OR s.player_key = ?1"
            " ORDER BY s.start_utc, s.path",
            (_key(player),),
        )
        return [
            TrendPoint(
                self._path(path), _started(utc, zone), None if tones is None else bool(tones), count, mean,
                max(square - mean * mean, 0.0) ** 0.5,
            )
            for path, utc, zone, tones, count, mean, square in rows
        ]  # fmt: skip

    def _check_feature(self, name: str) -> None:
        if name not in self._features:
            raise UsageError(f"no rep has the feature {name!r}", hint="see report/SUMMARY.md for their names")

    # ── changes ──────────────────────────────────────────────────────────────────────────────────────────────────

    def scrub(self) -> bool:
        """Leave nothing of removed recordings in the index; False when another program is in the way."""
        if not self._index.on_disk:  # perhaps it can be used by now
            self._index = Index(self.root / places.INDEX, _SCHEMA, VERSION)
        self.refresh()
        return self._index.scrub() and (self._index.on_disk or not os.path.lexists(self.root / places.INDEX))


def _key(player: str | None) -> str | None:
    return None if player is None else name_key(player)


def _quoted(name: str) -> str:
    return '"' + name.replace('"', '""') + '"'


def _started(utc: str | None, zone_offset_s: int | None) -> datetime | None:
    if utc is None:
        return None
    return datetime.fromisoformat(utc).astimezone(timezone(timedelta(seconds=zone_offset_s or 0)))
