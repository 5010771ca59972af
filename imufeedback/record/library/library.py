"""The index over a folder of recordings: found quickly, and never the only home of anything."""

from __future__ import annotations

import os
import sqlite3
import zlib
from collections.abc import Callable, Iterable, Mapping, Sequence
from contextlib import suppress
from dataclasses import dataclass
from datetime import UTC, datetime, timedelta, timezone
from pathlib import Path
from typing import Any, Self

from imufeedback.errors import CannotWrite, ImuFeedbackError, UsageError
from imufeedback.record.library import places
from imufeedback.record.library.edits import add_edit, read_edits
from imufeedback.record.library.verdicts import read_verdicts
from imufeedback.record.window import open_window
from imufeedback.settings import from_args

_SCHEMA = """
CREATE TABLE sessions (
  id INTEGER PRIMARY KEY, path TEXT UNIQUE NOT NULL, signature TEXT NOT NULL, player TEXT NOT NULL, title TEXT NOT NULL,
  start_utc TEXT, zone_offset_s INTEGER, duration_s REAL, hand TEXT, rules TEXT, reps INTEGER, faults INTEGER,
  void INTEGER, judged_version TEXT, notes TEXT NOT NULL, trouble TEXT NOT NULL, closed INTEGER NOT NULL);
CREATE INDEX sessions_by_player ON sessions (player, start_utc);
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
            self.root.mkdir(parents=True, exist_ok=True)
        except OSError as error:
            raise CannotWrite(f"cannot be made ({error.strerror})", where=str(root), hint="choose another") from None
        self._index = _opened(self.root / places.INDEX)
        self._features = {row[1] for row in self._index.execute("PRAGMA table_info(reps)")} - set(_FIXED)
        self.refresh(on_progress)

    def close(self) -> None:
        self._index.close()

    def __enter__(self) -> Self:
        return self

    def __exit__(self, *_: object) -> None:
        self.close()

    # ── from the files ───────────────────────────────────────────────────────────────────────────────────────────

    def refresh(self, on_progress: Callable[[int, int], None] = lambda done, of: None) -> int:
        """Read what has changed on the disk since the last time; returns how many recordings that were."""
        known = dict(self._index.execute("SELECT path, signature FROM sessions"))
        there = {self._name(path): (path, places.signature(states)) for path, states in places.recordings(self.root)}
        changed = [(name, *there[name]) for name in there if known.get(name) != there[name][1]]
        with self._index:
            self._index.executemany("DELETE FROM sessions WHERE path = ?", [(one,) for one in known.keys() - there])
            for done, (name, path, signature) in enumerate(changed, 1):
                self._put(name, path, signature)
                on_progress(done, len(changed))
        return len(changed)

    def _name(self, path: Path) -> str:
        """The path inside the folder, written the same on every system: the folder may be moved and copied."""
        return path.relative_to(self.root).as_posix()

    def _put(self, name: str, path: Path, signature: str) -> None:
        facts, edits, verdicts = _facts(path), read_edits(path), read_verdicts(path)
        newest = verdicts[-1] if verdicts else None
        reps = [] if newest is None else newest["summary"]["reps"]
        self._index.execute("DELETE FROM sessions WHERE path = ?", (name,))
        cursor = self._index.execute(
            f"INSERT INTO sessions VALUES (NULL{', ?' * 16})",
            (
                name, signature, edits.player if edits.player is not None else facts["player"],
                edits.title if edits.title is not None else facts["title"], facts["start_utc"], facts["zone_offset_s"],
                facts["duration_s"], facts["hand"], None if newest is None else newest.get("rules"),
                None if newest is None else sum(not one.get("void") for one in reps),
                None if newest is None else sum(_count(one, "fault") > 0 for one in reps),
                None if newest is None else sum(bool(one.get("void")) for one in reps),
                None if newest is None else newest["version"], "\n".join(edits.notes), facts["trouble"],
                int(facts["closed"]),
            ),
        )  # fmt: skip
        session = cursor.lastrowid
        self._index.executemany("INSERT INTO tags VALUES (?, ?)", [(session, one) for one in edits.tags])
        if newest is not None:
            self._put_blocks(session, newest["summary"].get("blocks") or ())
            self._put_reps(session, reps, edits.discarded)

    def _put_blocks(self, session: int | None, blocks: Iterable[Mapping[str, Any]]) -> None:
        rows = [
            (session, k, *(one.get(name) for name in ("name", "role", "drill", "begin_s", "reps")))
            for k, one in enumerate(blocks)
        ]
        self._index.executemany("INSERT INTO blocks VALUES (?, ?, ?, ?, ?, ?, ?)", rows)

    def _put_reps(self, session: int | None, reps: Sequence[Mapping[str, Any]], discarded: set[int]) -> None:
        for name in sorted({name for one in reps for name in one["features"]} - self._features - set(_FIXED)):
            self._index.execute(f"ALTER TABLE reps ADD COLUMN {_quoted(name)} REAL")
            self._features.add(name)
        names = sorted(self._features)
        columns = ", ".join([*_FIXED, *map(_quoted, names)])
        marks = ", ".join("?" * (len(_FIXED) + len(names)))
        rows = [
            (
                session, one["index"], one["kind"], one["start_s"],
                None if one.get("tones") is None else int(one["tones"]), _count(one, "fault"), _count(one, "unsure"),
                " ".join(sorted({each["rule"] for each in one["findings"]})), int(one["index"] in discarded),
                one.get("void") or "",
                *(one["features"].get(name) for name in names),
            )
            for one in reps
        ]  # fmt: skip
        self._index.executemany(f"INSERT INTO reps ({columns}) VALUES ({marks})", rows)

    # ── questions ────────────────────────────────────────────────────────────────────────────────────────────────

    @property
    def features(self) -> tuple[str, ...]:
        """Features that any rep has, sorted."""
        return tuple(sorted(self._features))

    def players(self) -> list[tuple[str, int]]:
        """Players and their number of sessions, by name."""
        return list(self._index.execute("SELECT player, count(*) FROM sessions GROUP BY player ORDER BY player"))

    def sessions(self, player: str | None = None, tag: str | None = None) -> list[SessionRow]:
        """Sessions in the order of time (UTC), those without a date first."""
        rows = self._index.execute(
            "SELECT id, path, player, title, start_utc, zone_offset_s, duration_s, hand, reps, faults, void, notes,"
            " trouble, closed FROM sessions WHERE (?1 IS NULL OR player = ?1)"
            " AND (?2 IS NULL OR id IN (SELECT session FROM tags WHERE tag = ?2)) ORDER BY start_utc, path",
            (player, tag),
        ).fetchall()
        tags: dict[int, list[str]] = {}
        for session, name in self._index.execute("SELECT session, tag FROM tags"):
            tags.setdefault(session, []).append(name)
        return [self._session(row, tags.get(row[0], [])) for row in rows]

    def _session(self, row: Sequence[Any], tags: list[str]) -> SessionRow:
        _, path, player, title, utc, offset, duration_s, hand, reps, faults, void, notes, trouble, closed = row
        started = _started(utc, offset)
        return SessionRow(
            self.root / path,
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
        )

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
            conditions.append("s.player = ?")
            values.append(player)
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
        cursor = self._index.execute(
            f"SELECT s.path, s.player, s.start_utc, r.* FROM reps r JOIN sessions s ON s.id = r.session"
            f" WHERE {' AND '.join(conditions)} ORDER BY {by} {'DESC' if descending and sort != 'start_utc' else ''}"
            " LIMIT ?",
            (*values, limit),
        )
        names = [one[0] for one in cursor.description]
        return [dict(zip(names, row, strict=True)) for row in cursor]

    def trend(self, feature: str, player: str | None = None) -> list[TrendPoint]:
        """Mean and spread of a feature, session by session, reps with and without tones apart. Raises UsageError."""
        self._check_feature(feature)
        name = _quoted(feature)
        # first the sums, then the sessions: half the time of joining every rep
        rows = self._index.execute(
            "SELECT s.path, s.start_utc, s.zone_offset_s, r.tones, r.many, r.mean, r.square FROM ("
            f"SELECT session, tones, count({name}) many, avg({name}) mean, avg({name} * {name}) square FROM reps"
            f" WHERE discarded = 0 AND void = '' AND {name} IS NOT NULL GROUP BY session, tones"
            ") r JOIN sessions s ON s.id = r.session WHERE ?1 IS NULL OR s.player = ?1 ORDER BY s.start_utc, s.path",
            (player,),
        )
        return [
            TrendPoint(
                self.root / path, _started(utc, zone), None if tones is None else bool(tones), count, mean,
                max(square - mean * mean, 0.0) ** 0.5,
            )
            for path, utc, zone, tones, count, mean, square in rows
        ]  # fmt: skip

    def _check_feature(self, name: str) -> None:
        if name not in self._features:
            raise UsageError(f"no rep has the feature {name!r}", hint="see report/SUMMARY.md for their names")

    # ── changes ──────────────────────────────────────────────────────────────────────────────────────────────────

    def edit(self, recording: Path, verb: str, *, text: str = "", rep: int | None = None) -> None:
        """Journal an edit beside the recording, then bring the index up to date. Raises UsageError, CannotWrite."""
        add_edit(recording, verb, text=text, rep=rep)
        self.refresh()

    def delete_player(self, player: str) -> list[Path]:
        """Remove every file of a player's recordings and every trace of them in the index; returns what was removed.

        Raises UsageError for a player who has no recording, CannotWrite when a file cannot be removed.
        """
        found = [one.path for one in self.sessions(player)]
        if not found:
            raise UsageError(f"there is no recording of {player!r}", hint="see recordings list")
        gone = []
        for path in (one for recording in found for one in places.belongings(recording)):
            try:
                path.unlink()
                gone.append(path)
            except FileNotFoundError:
                continue
            except OSError as error:
                raise CannotWrite(f"cannot be removed ({error.strerror})", where=str(path), hint="close it") from None
        for folder in {path.parent for path in found} - {self.root}:
            with suppress(OSError):
                folder.rmdir()  # only when nothing else is in it
        self.refresh()
        self._index.execute("VACUUM")
        self._index.execute("PRAGMA wal_checkpoint(TRUNCATE)")
        return gone


def _count(rep: Mapping[str, Any], verdict: str) -> int:
    return sum(one["verdict"] == verdict for one in rep["findings"])


def _quoted(name: str) -> str:
    return '"' + name.replace('"', '""') + '"'


def _started(utc: str | None, zone_offset_s: int | None) -> datetime | None:
    if utc is None:
        return None
    return datetime.fromisoformat(utc).astimezone(timezone(timedelta(seconds=zone_offset_s or 0)))


def _opened(path: Path) -> sqlite3.Connection:
    """A usable index, empty when it is new; in memory when the folder cannot be written."""
    for _ in range(2):
        try:
            return _prepared(sqlite3.connect(path))
        except sqlite3.DatabaseError:  # damaged, of another version, or not to be written
            with suppress(OSError):
                for end in ("", "-wal", "-shm"):
                    Path(f"{path}{end}").unlink(missing_ok=True)
    return _prepared(sqlite3.connect(":memory:"))


def _prepared(index: sqlite3.Connection) -> sqlite3.Connection:
    try:
        index.execute("PRAGMA journal_mode = WAL")
        index.execute("PRAGMA synchronous = NORMAL")
        index.execute("PRAGMA foreign_keys = ON")
        index.execute("PRAGMA secure_delete = ON")
        found = index.execute("PRAGMA user_version").fetchone()[0]
        if found == 0:
            index.executescript(f"BEGIN; {_SCHEMA} PRAGMA user_version = {VERSION}; COMMIT;")
        elif found != VERSION:
            raise sqlite3.DatabaseError("another version")
        index.execute("SELECT count(*) FROM reps").fetchone()
    except sqlite3.DatabaseError:
        index.close()
        raise
    return index


def _facts(path: Path) -> dict[str, Any]:
    """What the recording itself says, from both its ends."""
    out: dict[str, Any] = {
        "player": "", "title": path.stem, "start_utc": None, "zone_offset_s": None, "duration_s": 0.0, "hand": "",
        "trouble": "", "closed": False,
    }  # fmt: skip
    try:
        window = open_window(path)
        out["duration_s"], out["closed"] = window.duration_s, window.closed
        out["title"] = window.title or path.stem
        if window.started is not None:
            offset = window.started.utcoffset() or timedelta()
            out["start_utc"] = window.started.astimezone(UTC).isoformat(timespec="microseconds")
            out["zone_offset_s"] = round(offset.total_seconds())
        if window.begin is None:
            out["trouble"] = "its beginning is damaged"
        else:
            settings = from_args(window.begin.args)
            out["player"], out["hand"] = settings.player.name, str(settings.player.hand)
    except ImuFeedbackError as error:
        out["trouble"] = error.what
    return out
