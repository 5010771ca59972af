"""Players' files: what is written is read, what is broken is named and left alone."""

from __future__ import annotations

import datetime
import os
from pathlib import Path

import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from imufeedback import people
from imufeedback.errors import BadToml, CannotWrite, UsageError
from imufeedback.people import Homework, Person, load, parse, parse_height, to_toml
from imufeedback.records import Hand
from imufeedback.review.reporting import homework_of
from imufeedback.rules import parse_limits

FULL = Person(
    "Robin Ö", Hand.LEFT, 1.8, 'tight "left" hip\nslow \\ first\x7f', datetime.date(2026, 5, 1), None, "swing"
)


@pytest.mark.parametrize("person", [FULL, Person("A"), Person("tall", height_m=2.0)])
def test_file_says_what_was_saved(person: Person, tmp_path: Path) -> None:
    assert parse(to_toml(person), "here") == person
    load(tmp_path).save(person)
    assert load(tmp_path).all == (person,)


def test_names_differ_by_more_than_case_and_blanks(tmp_path: Path) -> None:
    store = load(tmp_path)
    store.save(Person("Robin"))
    with pytest.raises(UsageError, match="already"):
        store.save(Person(" ROBIN "))
    assert store.find("robin") == Person("Robin")


def test_two_names_that_give_one_file_name_get_two_files(tmp_path: Path) -> None:
    store = load(tmp_path)
    store.save(Person("a/b"))
    store.save(Person("a?b"))
    assert {one.name for one in load(tmp_path).all} == {"a/b", "a?b"}


def test_a_changed_name_keeps_its_file(tmp_path: Path) -> None:
    store = load(tmp_path)
    store.save(Person("Robin"))
    store.save(Person("Robin K", notes="x"), was="Robin")
    assert [one.name for one in load(tmp_path).all] == ["Robin K"]
    assert len(list(tmp_path.iterdir())) == 1


def test_who_trained_last_comes_first(tmp_path: Path) -> None:
    store = load(tmp_path)
    for name, day in (("b", None), ("a", None), ("z", datetime.date(2026, 1, 2)), ("y", datetime.date(2026, 1, 3))):
        store.save(Person(name, last_used=day))
    assert [one.name for one in load(tmp_path).all] == ["y", "z", "a", "b"]


@pytest.mark.parametrize(
    "text", ["name = 3", 'name = "x"\nshoe = 44', 'name = "x"\nformat = 2', 'name = "x"\nhand = "up"']
)
def test_a_broken_file_is_named_and_the_others_open(text: str, tmp_path: Path) -> None:
    (tmp_path / "broken.toml").write_text(text)
    load(tmp_path).save(Person("fine"))
    store = load(tmp_path)
    assert [one.name for one in store.all] == ["fine"]
    assert "broken.toml" in store.troubles[0]
    assert (tmp_path / "broken.toml").read_text() == text
    with pytest.raises(BadToml):
        parse(text, "here")


def test_a_second_file_of_one_name_is_told(tmp_path: Path) -> None:
    for name in ("a", "b"):
        (tmp_path / f"{name}.toml").write_text('name = "one"')
    assert "second" in load(tmp_path).troubles[0]


@pytest.mark.parametrize("bad", [Person(""), Person("x" * 61), Person("x", height_m=9.0)])
def test_what_is_out_of_range_is_refused(bad: Person, tmp_path: Path) -> None:
    with pytest.raises(UsageError):
        load(tmp_path).save(bad)
    assert not list(tmp_path.iterdir())


@pytest.mark.parametrize(
    ("text", "height_m"), [("1.78", 1.78), ("1,78 m", 1.78), ("178", 1.78), ("178 cm", 1.78), ("  ", None)]
)
def test_height_in_metres_or_centimetres(text: str, height_m: float | None) -> None:
    assert parse_height(text) == height_m


@pytest.mark.parametrize("text", ["tall", "17", "9.9", "nan"])
def test_a_height_that_is_none_is_refused(text: str) -> None:
    with pytest.raises(UsageError):
        parse_height(text)


def test_a_folder_that_cannot_be_made_is_told(tmp_path: Path) -> None:
    (tmp_path / "file").write_text("")
    with pytest.raises(CannotWrite):
        load(tmp_path / "file").save(Person("x"))
    assert people.load(tmp_path / "nowhere").all == ()


NAMES = st.text(st.characters(codec="utf-8"), min_size=1, max_size=people.NAME_MAX)


@settings(deadline=None, max_examples=150, suppress_health_check=[HealthCheck.function_scoped_fixture])
@given(st.binary(max_size=300) | st.text(max_size=200).map(lambda text: f"name = {text}".encode(errors="replace")))
def test_any_file_is_a_player_or_is_told(tmp_path: Path, data: bytes) -> None:
    (tmp_path / "a.toml").write_bytes(data)
    (tmp_path / "b.toml").write_text('name = "Bo"', encoding="utf-8")
    found = load(tmp_path)
    assert found.find("bo") is not None
    assert len(found.all) + len(found.troubles) == 2


@settings(deadline=None, max_examples=100, suppress_health_check=[HealthCheck.function_scoped_fixture])
@given(NAMES)
def test_any_name_is_kept_or_refused_in_one_line(tmp_path_factory: pytest.TempPathFactory, name: str) -> None:
    folder = tmp_path_factory.mktemp("players")
    try:
        kept = load(folder).save(Person(name))
    except UsageError as error:
        said = str(error)
    else:
        said = ""
    if said:
        assert len(said.splitlines()) == 1
        return
    assert load(folder).troubles == []
    assert load(folder).find(name) == kept


@pytest.mark.skipif(os.name != "posix", reason="needs a pipe and links")
def test_pipes_devices_and_links_are_told_and_never_waited_for(tmp_path: Path) -> None:
    os.mkfifo(tmp_path / "pipe.toml")
    (tmp_path / "zero.toml").symlink_to("/dev/zero")
    (tmp_path / "gone.toml").symlink_to("nowhere")
    (tmp_path / "round.toml").symlink_to("round.toml")
    (tmp_path / os.fsdecode(b"\xff.toml")).write_bytes(b"name = 1")
    (tmp_path / "deep.toml").write_text("a = " + "[" * 100_000, encoding="utf-8")
    (tmp_path / "good.toml").write_text('name = "Bo"', encoding="utf-8")
    found = load(tmp_path)
    assert [one.name for one in found.all] == ["Bo"]
    assert len(found.troubles) == 6


def test_half_a_character_is_refused(tmp_path: Path) -> None:
    with pytest.raises(UsageError, match="cannot be kept"):
        load(tmp_path).save(Person("a\udc80"))


def test_what_a_save_left_behind_goes_when_the_file_is_good_and_is_told_when_not(tmp_path: Path) -> None:
    load(tmp_path).save(Person("Bo"))
    (tmp_path / "Bo.new").write_text("half", encoding="utf-8")
    (tmp_path / "Ida.new").write_text('name = "Ida"', encoding="utf-8")
    found = load(tmp_path)
    assert not (tmp_path / "Bo.new").exists()
    assert (tmp_path / "Ida.new").exists()
    assert ["rename it to Ida.toml" in line for line in found.troubles] == [True]


def test_a_players_own_limits_are_kept_and_can_be_put_back(tmp_path: Path) -> None:
    kept = people.with_limit(
        people.with_limit(people.Person("Robin"), "live.target_deg", 4.0), "turns-in-the-hips", 0.4
    )
    people.load(tmp_path).save(kept)
    again = people.load(tmp_path).find("Robin")
    assert again == kept
    limits = parse_limits(people.limits_text(again), "robin")
    assert (limits.live, limits.limits) == ({"target_deg": 4.0}, {"turns-in-the-hips": 0.4})
    back = people.with_limit(people.with_limit(again, "live.target_deg", None), "turns-in-the-hips", None)
    assert back == people.Person("Robin")
    assert people.limits_text(back) == ""


def homework(drill: str = "half-swings", days: int = 2, *done: datetime.date) -> people.Homework:
    return people.Homework(drill, 20, days, datetime.date(2026, 5, 1), done)


def test_homework_is_kept_ticked_off_by_doing_once_a_day_and_then_over(tmp_path: Path) -> None:
    robin = people.with_homework(Person("Robin", limits={"turns-in-the-hips": 0.4}), homework())
    load(tmp_path).save(robin)
    again = load(tmp_path).find("Robin")
    assert again == robin
    first, second = datetime.date(2026, 5, 2), datetime.date(2026, 5, 3)
    assert people.with_done(robin, {"half-swings": 19}, first) == robin, "too few"
    assert people.with_done(robin, {"full-swings": 99}, first) == robin, "another drill"
    once = people.with_done(robin, {"half-swings": 20}, first)
    assert once.homework[0].done == (first,)
    assert people.with_done(once, {"half-swings": 20}, first) == once
    assert people.open_homework(once) == once.homework[0]
    load(tmp_path).save(once, was="Robin")
    assert load(tmp_path).find("Robin") == once
    assert people.open_homework(people.with_done(once, {"half-swings": 25}, second)) is None


def test_the_same_drill_given_again_begins_anew() -> None:
    robin = people.with_homework(Person("Robin"), homework("half-swings", 2, datetime.date(2026, 5, 2)))
    robin = people.with_homework(robin, homework("full-swings"))
    robin = people.with_homework(robin, homework("half-swings", 3))
    assert [(one.drill, one.done) for one in robin.homework] == [("full-swings", ()), ("half-swings", ())]


def test_the_report_tells_homework_and_the_days_on_which_it_was_done(tmp_path, monkeypatch):
    monkeypatch.setenv("IMUFEEDBACK_HOME", str(tmp_path))
    done = Homework("half-swings", 12, 5, datetime.date(2026, 5, 1), (datetime.date(2026, 5, 2),))
    everybody = load(tmp_path / "players")
    everybody.save(Person("Robin", homework=(done, Homework("my-own", 3, 1, datetime.date(2026, 5, 3)))))
    assert homework_of("robin") == (
        "Half swings: 12 reps on 5 days, given on 01 May. Done on 02 May.",
        "my-own: 3 reps on 1 days, given on 03 May. Not done yet.",
    )
    assert homework_of("Kim") == homework_of("") == ()
