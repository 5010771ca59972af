"""The library: nothing lives in the index alone, and no folder has to stay where it is."""

from __future__ import annotations

import shutil
import sqlite3
from datetime import UTC, datetime, timedelta, timezone
from pathlib import Path

import pytest
from msgspec import structs

from imufeedback import __version__
from imufeedback.begin import unworn_settings
from imufeedback.commands import Begin, recorded
from imufeedback.document import Document, JudgedRep, RuleFinding
from imufeedback.errors import UsageError
from imufeedback.record.files import safe_stem
from imufeedback.record.journal import JournalWriter
from imufeedback.record.library import Library
from imufeedback.record.library.edits import add_edit, read_edits
from imufeedback.record.library.forget import plan
from imufeedback.record.library.places import INDEX, belongings, edits_of, trace_of, verdicts_of
from imufeedback.record.library.verdicts import add_verdict, key_of, read_verdicts
from imufeedback.records import RawPacket, Verdict
from imufeedback.review.judging import way_of
from imufeedback.settings import Player

START = datetime(2025, 7, 1, 10, tzinfo=timezone(timedelta(hours=2)))


def edit(library: Library, path: Path, verb: str, *, text: str = "", rep: int | None = None) -> None:
    add_edit(path, verb, text=text, rep=rep)
    library.refresh()


def record(path: Path, player: str = "Ida", started: datetime = START) -> Path:
    path.parent.mkdir(parents=True, exist_ok=True)
    settings = unworn_settings(Player(name=player))
    with JournalWriter(path, title="Tuesday", started=started) as journal:
        journal.write(recorded(0, Begin.of(settings)))
        journal.write(RawPacket("A", 60_000_000_000, b"x"))
    return journal.path


def rep(index: int, tones: bool | None = None, *rules: str, **features: float) -> JudgedRep:
    findings = [RuleFinding(rule=one, verdict=Verdict.FAULT, t_s=1.0, value=4.0, limit=3.0) for one in rules]
    return JudgedRep(
        index=index, kind="swing", start_s=float(index), end_s=index + 0.5, positions={}, cues=[], features=features,
        findings=findings, tones=tones,
    )  # fmt: skip


def judge(path: Path, *reps: JudgedRep, key: str = "a") -> None:
    add_verdict(path, Document(version=key, reps=list(reps)), key=key, rules="Swing", duration_s=60.0)


@pytest.fixture(name="root")
def filled(tmp_path: Path) -> Path:
    """Two players, three sessions, one of them judged."""
    root = tmp_path / "lib"
    one = record(root / "Ida" / "1.mcap")
    record(root / "Ida" / "2.mcap", started=START + timedelta(days=7))
    record(root / "Bo" / "3.mcap", "Bo", START + timedelta(days=1))
    judge(one, rep(0, True, "r1", x_deg=1.0), rep(1, False, x_deg=3.0), rep(2, False, "r1", "r2", x_deg=5.0))
    return root


def test_sessions_by_player_and_time(root):
    with Library(root) as library:
        assert library.players() == [("Bo", 1), ("Ida", 2)]
        found = library.sessions("Ida")
        assert [one.path.name for one in found] == ["1.mcap", "2.mcap"]
        assert [(one.reps, one.faults) for one in found] == [(3, 2), (None, None)]
        assert found[0].started == START
        assert found[0].title == "Tuesday"
        assert found[0].duration_s == pytest.approx(60.0)


def test_filter_sort_and_rule(root):
    with Library(root) as library:
        assert library.features == ("x_deg",)
        got = library.reps(where={"x_deg": (2.0, None)}, sort="x_deg", descending=True)
        assert [one["number"] for one in got] == [2, 1]
        assert [one["number"] for one in library.reps("Ida", rule="r1")] == [0, 2]
        assert library.reps("Bo") == []
        assert len(library.reps(limit=1)) == 1


def test_trend_keeps_tones_apart(root):
    with Library(root) as library:
        points = {one.tones: one for one in library.trend("x_deg", "Ida")}
    assert (points[True].reps, points[True].mean, points[True].sd) == (1, 1.0, 0.0)
    assert (points[False].reps, points[False].mean, points[False].sd) == (2, 4.0, 1.0)


def test_reps_without_a_word_on_tones_are_not_counted_to_either(root):
    judge(root / "Ida" / "2.mcap", rep(0, x_deg=1.0))
    with Library(root) as library:
        assert [one.tones for one in library.trend("x_deg")] == [None, False, True] or [
            one.tones for one in library.trend("x_deg")
        ][-1] is None


def test_a_feature_that_no_rep_has_is_wrong_usage(root):
    with Library(root) as library:
        for ask in (
            lambda: library.trend("y"),
            lambda: library.reps(sort='x" --'),
            lambda: library.reps(where={"y": (1, 2)}),
        ):
            with pytest.raises(UsageError, match="no rep has"):
                ask()


def test_a_lost_damaged_or_newer_index_is_made_again(root):
    add_edit(root / "Ida" / "1.mcap", "tag", text="gut")
    Library(root).close()
    index = root / INDEX
    with Library(root) as library:
        before = library.sessions()
    for spoil in (index.unlink, lambda: index.write_bytes(b"x" * 5000), lambda: _set_version(index, 99)):
        spoil()
        for end in ("-wal", "-shm"):
            Path(f"{index}{end}").unlink(missing_ok=True)
        with Library(root) as library:
            assert library.sessions() == before
            assert len(library.reps()) == 3


def _set_version(index: Path, version: int) -> None:
    with sqlite3.connect(index) as connection:
        connection.execute(f"PRAGMA user_version = {version}")
    connection.close()


def test_only_what_changed_is_read_again(root):
    with Library(root) as library:
        assert library.refresh() == 0
        record(root / "Ida" / "4.mcap")
        assert library.refresh() == 1
        (root / "Bo" / "3.mcap").unlink()
        library.refresh()
        assert library.players() == [("Ida", 3)]


def test_the_folder_may_be_moved(root, tmp_path):
    with Library(root) as library:
        edit(library, root / "Ida" / "1.mcap", "note", text="né à 日本")
    moved = tmp_path / "elsewhere" / "Übung"
    moved.parent.mkdir()
    shutil.move(root, moved)
    with Library(moved) as library:
        found = library.sessions("Ida")[0]
        assert found.path == moved / "Ida" / "1.mcap"
        assert found.path.exists()
        assert found.notes == "né à 日本"


def test_edits_win_over_the_recording(root):
    one = root / "Ida" / "1.mcap"
    with Library(root) as library:
        edit(library, one, "player", text="Bo")
        edit(library, one, "title", text="Wednesday")
        edit(library, one, "tag", text="good")
        edit(library, one, "discard", rep=2)
        assert library.players() == [("Bo", 2), ("Ida", 1)]
        assert [s.title for s in library.sessions(tag="good")] == ["Wednesday"]
        assert [r["number"] for r in library.reps()] == [0, 1]
        edit(library, one, "keep", rep=2)
        assert len(library.reps()) == 3


def test_a_torn_edit_costs_itself_only(tmp_path):
    path = tmp_path / "a.mcap"
    add_edit(path, "tag", text="one")
    add_edit(path, "note", text="two")
    data = edits_of(path).read_bytes()
    edits_of(path).write_bytes(data[:-10])
    add_edit(path, "tag", text="three")
    found = read_edits(path)
    assert (found.tags, found.notes, found.damaged) == (["one", "three"], [], 1)
    edits_of(path).write_bytes(edits_of(path).read_bytes().replace(b'"one"', b'"eno"'))
    assert read_edits(path).tags == ["three"]


def test_an_unknown_edit_is_wrong_usage(tmp_path):
    with pytest.raises(UsageError, match="no edit"):
        add_edit(tmp_path / "a.mcap", "explode")


def test_every_verdict_is_kept_beside_the_newest(tmp_path):
    path = tmp_path / "a.mcap"
    judge(path, rep(0), key="old")
    judge(path, rep(0), rep(1), key="new")
    judge(path, rep(0), rep(1), rep(2), key="new")
    assert [(one.key, len(one.summary.reps)) for one in read_verdicts(path)] == [("old", 1), ("new", 3)]
    verdicts_of(path).write_text("{", encoding="utf-8")
    assert read_verdicts(path) == []


def test_h112_h113_sessions_stand_in_their_own_zone_and_in_the_order_of_time(tmp_path):
    """The hour that comes twice in autumn: 02:50 summer time, then 02:10 winter time, 20 minutes later."""
    first = datetime(2025, 10, 26, 2, 50, tzinfo=timezone(timedelta(hours=2)))
    second = datetime(2025, 10, 26, 2, 10, tzinfo=timezone(timedelta(hours=1)))
    record(tmp_path / "b.mcap", started=first)
    record(tmp_path / "a.mcap", started=second)
    record(tmp_path / "c.mcap", started=datetime(2025, 7, 1, 10, tzinfo=timezone(timedelta(hours=5.75))))
    record(tmp_path / "d.mcap", started=datetime(2025, 1, 1, 10, tzinfo=timezone(timedelta(hours=-3.5))))
    with Library(tmp_path) as library:
        found = library.sessions()
    assert [one.path.stem for one in found] == ["d", "c", "b", "a"]
    whens = [f"{one.started:%H:%M %z}" for one in found if one.started is not None]
    assert whens == ["10:00 -0330", "10:00 +0545", "02:50 +0200", "02:10 +0100"]
    assert second.astimezone(UTC) - first.astimezone(UTC) == timedelta(minutes=20)


def test_what_cannot_be_read_is_listed_with_the_reason(root):
    (root / "bad.mcap").write_bytes(b"no recording")
    with Library(root) as library:
        found = next(one for one in library.sessions() if one.path.name == "bad.mcap")
    assert found.trouble == "this is no recording"


def test_deleting_a_player_leaves_nothing(root):
    one = root / "Ida" / "1.mcap"
    add_edit(one, "note", text="secretword")
    trace_of(one).write_bytes(b"x")
    Library(root).close()
    with Library(root) as library:
        gone = plan(library, "Ida", None).carry_out()
        assert library.players() == [("Bo", 1)]
        assert library.reps() == []
        assert set(belongings(one)) <= set(gone)
    assert not (root / "Ida").exists()
    assert (root / "Bo" / "3.mcap").exists()
    left = b"".join(path.read_bytes() for path in root.rglob("*") if path.is_file())
    assert b"secretword" not in left
    assert b"Ida" not in left


def test_deleting_nobody_is_wrong_usage(root):
    with Library(root) as library, pytest.raises(UsageError, match="no recording of"):
        plan(library, "Nobody", None).carry_out()
    assert (root / "Ida" / "1.mcap").exists()


def test_h109_folders_of_players_in_every_script(tmp_path):
    for name in ("Øyvind: 1/2?", "日本", "CON", "", "a" * 300):
        path = record(tmp_path / safe_stem(name or "without a name") / "1.mcap", name)
        assert path.exists()
    with Library(tmp_path) as library:
        assert {one for one, _ in library.players()} == {"Øyvind: 1/2?", "日本", "CON", "", "a" * 300}


def test_h98_a_recording_that_was_cut_off_is_listed_and_told(root):
    path = root / "Bo" / "3.mcap"
    path.write_bytes(path.read_bytes()[:-30])
    with Library(root) as library:
        found = library.sessions("Bo")[0]
        assert (found.closed, found.trouble) == (False, "")
        assert all(one.closed for one in library.sessions("Ida"))


def test_reps_that_could_not_be_judged_are_counted_apart(tmp_path):
    """They are in no list, no trend and not among the clean ones; older verdicts do not know of them."""
    one = record(tmp_path / "lib" / "1.mcap")
    void = structs.replace(rep(2, True, x_deg=100.0), void="right hip: rotation not known")
    judge(one, rep(0, True, "r1", x_deg=1.0), rep(1, True, x_deg=3.0), void)
    with Library(tmp_path / "lib") as library:
        (session,) = library.sessions()
        assert (session.reps, session.faults, session.void) == (2, 1, 1)
        assert [one["x_deg"] for one in library.reps()] == [1.0, 3.0]
        assert [(one.reps, one.mean) for one in library.trend("x_deg")] == [(2, 2.0)]


def test_verdicts_of_before_void_reps_are_made_again():
    """They call reps good that today could not be judged."""
    settings = unworn_settings(Player())
    assert way_of(settings) != key_of(__version__, "\0", settings.filter)
