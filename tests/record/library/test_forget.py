"""A player deleted: everything of theirs, nothing of others, and what cannot be told is named."""

from __future__ import annotations

import os
import sqlite3
from pathlib import Path

import numpy as np
import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from imufeedback import people
from imufeedback.errors import CannotWrite, UsageError
from imufeedback.measure.edges.forgetting import NAMES, forget_one, left
from imufeedback.measure.edges.library import make_session
from imufeedback.record.files import name_key
from imufeedback.record.library import Library
from imufeedback.record.library.edits import add_edit, read_edits
from imufeedback.record.library.forget import plan
from imufeedback.record.library.owners import loose, named_after
from imufeedback.record.library.places import INDEX, belongings, trace_of


@pytest.mark.parametrize("name", NAMES)
def test_not_a_byte_is_left_and_nothing_of_others_is_touched(name: str, tmp_path: Path) -> None:
    where, changed, untold = forget_one(tmp_path, name, np.random.default_rng(len(name)))
    assert where == []
    assert changed == []
    assert untold == []


@settings(deadline=None, max_examples=15, suppress_health_check=[HealthCheck.function_scoped_fixture])
@given(
    st.text(st.characters(categories=["Lu", "Ll", "Lo", "Mn", "Nd", "Zs", "Pd", "Po"], exclude_characters="ı"),
            min_size=7, max_size=25),
    st.integers(0, 99),
)  # fmt: skip
def test_names_of_any_script(tmp_path_factory: pytest.TempPathFactory, name: str, seed: int) -> None:
    """Capital I without a dot is the large form of two letters: that one name cannot be found by its capitals."""
    name = " ".join(f"{name} Qzx".split())  # no word that stands in every file
    if len(loose(name)) < 5 or name_key(name.upper()) != name_key(name) or name_key(name.lower()) != name_key(name):
        return
    found = forget_one(tmp_path_factory.mktemp("home"), name, np.random.default_rng(seed))
    assert found == ([], [], [])


@pytest.fixture(name="home")
def two_players(tmp_path: Path) -> Path:
    rng = np.random.default_rng(1)
    make_session(tmp_path / "recordings" / "1.mcap", "Ida Blomqvist", 1, rng)
    make_session(tmp_path / "recordings" / "2.mcap", "Bo", 2, rng)
    return tmp_path


@pytest.mark.parametrize("name", ["", "  ", "\t\n"])
def test_an_empty_name_is_refused_before_anything_is_looked_for(home: Path, name: str) -> None:
    make_session(home / "recordings" / "3.mcap", "", 3, np.random.default_rng(3))
    (home / "recordings" / "broken.mcap").write_bytes(b"x" * 100)
    with Library(home / "recordings") as library, pytest.raises(UsageError, match="a name is needed"):
        plan(library, name, home)
    assert len(list((home / "recordings").glob("*.mcap"))) == 4


def test_a_recording_that_was_corrected_to_another_stays_and_is_told(home: Path) -> None:
    mine, other = home / "recordings" / "1.mcap", home / "recordings" / "2.mcap"
    add_edit(mine, "player", text="Bo")
    add_edit(other, "player", text="Ida Blomqvist")
    add_edit(other, "player", text="Bo")
    with Library(home / "recordings") as library:
        doing = plan(library, "ida blomqvist", home)
        assert doing.going == []
        assert [(path, "keeps the first name" in why) for path, why in doing.staying] == [(mine, True)]
        assert doing.corrected == [other]
        assert doing.carry_out() == []
    assert read_edits(other).players == ["Bo"]
    assert read_edits(other).notes == ["left hip tight"]


def test_two_players_with_one_file_name_keep_what_cannot_be_told(home: Path) -> None:
    everybody = people.load(home / "players")
    for name in ("Ida/Blomqvist", "Ida Blomqvist"):
        everybody.save(people.Person(name))
    (home / "fits").mkdir()
    (home / "fits" / "Ida_Blomqvist.json").write_text("{", encoding="utf-8")
    with Library(home / "recordings") as library:
        doing = plan(library, "Ida Blomqvist", home)
    assert [path.name for path, why in doing.staying if "2 players" in why] == ["Ida_Blomqvist.json"]
    assert home / "players" / "Ida Blomqvist.toml" in doing.going
    assert home / "players" / "Ida_Blomqvist.toml" not in doing.going


def test_whoever_only_mentions_the_name_is_told_and_stays(home: Path) -> None:
    other = home / "recordings" / "2.mcap"
    add_edit(other, "note", text="trained with IDA BLOMQVIST")
    with Library(home / "recordings") as library:
        doing = plan(library, "Ida Blomqvist", home)
        doing.carry_out()
    assert [path.name for path, why in doing.staying if "mentions" in why] == ["2.edits.jsonl"]
    assert other.exists()


def test_rules_and_drills_of_that_name_belong_to_everybody(home: Path) -> None:
    for folder in ("rules", "drills", "plans", "layouts"):
        (home / folder).mkdir()
        (home / folder / "Ida Blomqvist.toml").write_text('name = "Ida Blomqvist"\n', encoding="utf-8")
    with Library(home / "recordings") as library:
        gone = plan(library, "Ida Blomqvist", home).carry_out()
    assert not [path for path in gone if path.suffix == ".toml"]


def test_an_index_of_a_folder_inside_forgets_too(home: Path) -> None:
    inside = make_session(home / "recordings" / "May" / "4.mcap", "Ida Blomqvist", 4, np.random.default_rng(4))
    Library(inside.parent).close()
    with Library(home / "recordings") as library:
        plan(library, "Ida Blomqvist", home).carry_out()
    assert not inside.parent.exists()
    assert left(home, "Ida Blomqvist") == []


def test_recordings_beside_the_library_are_whose_the_correction_says(home: Path) -> None:
    rng = np.random.default_rng(5)
    mine = make_session(home / "old" / "5.mcap", "Ida Blomqvist", 5, rng)
    other = make_session(home / "old" / "6.mcap", "Ida Blomqvist", 6, rng)
    add_edit(other, "player", text="Bo")
    with Library(home / "recordings") as library:
        gone = plan(library, "Ida Blomqvist", home).carry_out()
    assert set(belongings(mine)) - set(gone) == {trace_of(mine)}
    assert set(gone) & set(belongings(other)) == set()


def test_an_exported_folder_goes_and_what_lies_beside_it_stays(home: Path) -> None:
    out = home / "export"
    (out / "more").mkdir(parents=True)
    (out / "session.json").write_text('{"player": {"name": "Ida Blomqvist"}}', encoding="utf-8")
    for one in (out / "pelvis.csv", out / "theirs.txt", out / "more" / "theirs.csv"):
        one.write_text("1", encoding="utf-8")
    with Library(home / "recordings") as library:
        gone = plan(library, "Ida Blomqvist", home).carry_out()
    assert {one.name for one in gone if out in one.parents} == {"session.json", "pelvis.csv"}


def test_a_library_elsewhere_leaves_the_data_folder_alone(home: Path, tmp_path_factory: pytest.TempPathFactory) -> None:
    away = tmp_path_factory.mktemp("away")
    make_session(away / "1.mcap", "Ida Blomqvist", 1, np.random.default_rng(1))
    with Library(away) as library:
        plan(library, "Ida Blomqvist", home).carry_out()
    assert not (away / "1.mcap").exists()
    assert (home / "recordings" / "1.mcap").exists()


def test_an_index_that_another_program_holds_is_told(home: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr("imufeedback.record.library.index.WAIT_S", 0.3)
    with Library(home / "recordings") as library:
        other = sqlite3.connect(home / "recordings" / INDEX, isolation_level=None)
        other.execute("BEGIN")
        other.execute("SELECT * FROM sessions").fetchone()  # a reader that holds what it sees
        with pytest.raises(CannotWrite, match="another program uses it"):
            plan(library, "Ida Blomqvist", home).carry_out()
        other.execute("ROLLBACK")
        other.close()
    assert not (home / "recordings" / "1.mcap").exists()


@pytest.mark.skipif(os.name != "posix", reason="needs links")
def test_a_link_goes_and_what_it_leads_to_is_told(home: Path, tmp_path_factory: pytest.TempPathFactory) -> None:
    away = make_session(tmp_path_factory.mktemp("disk") / "9.mcap", "Ida Blomqvist", 9, np.random.default_rng(9))
    link = home / "recordings" / "9.mcap"
    link.symlink_to(away)
    with Library(home / "recordings") as library:
        doing = plan(library, "Ida Blomqvist", home)
        doing.carry_out()
    assert (away, "9.mcap is only a link to it") in doing.staying
    assert away.exists()
    assert not link.is_symlink()


def test_file_names_tell_whose_they_are_only_as_a_whole() -> None:
    players = ["anna", "anna maria", "j. smith"]
    for name, found in {
        "Anna.toml.bak": {"anna"}, "anna maria_2026-01-01_10-00-00.mcap.part": {"anna maria"},
        "Anna try-it_2026-01-01_10-00-00.trace": {"anna"}, "J_ Smith.reps.json": {"j. smith"},
        "J. Smith_2026-01-01_10-00-00-2.edits.jsonl": {"j. smith"}, "Annabel.json": set(), "Anna Maria B.json": set(),
        ".Anna.json.part-2": {"anna"},
    }.items():  # fmt: skip
        assert named_after(Path(name), players) == found, name
