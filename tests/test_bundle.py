"""One file between coach and player: out, in, and comments back, with nothing lost; and what a wrong one cannot do."""

from __future__ import annotations

import datetime
import hashlib
import json
import zipfile
from pathlib import Path
from typing import Any

import pytest

from imufeedback import people, resources
from imufeedback.bundle import archive, exchange
from imufeedback.errors import BadFile, UsageError
from imufeedback.people import Homework, People, Person
from imufeedback.record.journal import JournalWriter
from imufeedback.record.library.edits import read_edits
from imufeedback.records import Hand

DAY = datetime.date(2026, 5, 1)
LATER = datetime.date(2026, 5, 4)
HOMEWORK = Homework("hip-turn-trail", 12, 5, DAY)


class Place:
    """A computer of its own: players, drills, recordings."""

    def __init__(self, root: Path) -> None:
        self.root, self.library = root, root / "recordings"
        self.library.mkdir(parents=True)

    @property
    def people(self) -> People:
        return people.load(self.root / "players")

    def person(self, name: str = "Robin") -> Person:
        found = self.people.find(name)
        assert found is not None
        return found

    def recording(self, name: str = "x") -> Path:
        path = self.library / f"{name}.mcap"
        with JournalWriter(path, title=name) as journal:
            del journal
        return path


@pytest.fixture
def coach(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Place:
    monkeypatch.setenv("IMUFEEDBACK_HOME", str(tmp_path / "data"))
    place = Place(tmp_path / "coach")
    place.people.save(Person("Robin", Hand.LEFT, limits={"trail-thigh-keeps-falling": 7.0}, homework=(HOMEWORK,)))
    return place


@pytest.fixture
def player(tmp_path: Path) -> Place:
    return Place(tmp_path / "player")


def test_homework_limits_notes_and_the_reference_arrive(coach: Place, player: Place, tmp_path: Path) -> None:
    beside = coach.people.beside("Robin", ".reps.json")
    assert beside is not None
    curve = {"day": "2026-04-20", "number": 1, "turn_deg": [0.0, None], "thigh_deg": [1.0, 2.0], "down_from": 0}
    curve |= {"at_marks_deg": [None, 3.0], "more": 1}
    beside.write_text(json.dumps({"reps": [curve, {"day": "2026-04-21"}], "format": 1}))
    exchange.give(coach.people, "robin", tmp_path / "a.zip", DAY, "Slowly.")
    lines = exchange.take(tmp_path / "a.zip", player.people, player.library)
    person = player.person()
    assert (person.hand, person.homework, person.notes) == (Hand.LEFT, (HOMEWORK,), "Slowly.")
    assert person.limits == {"trail-thigh-keeps-falling": 7.0}
    assert "Robin is new here." in lines
    reps = player.people.beside("Robin", ".reps.json")
    assert reps is not None
    assert json.loads(reps.read_text())["reps"] == [curve], "what could not be read is left out"
    exchange.take(tmp_path / "a.zip", player.people, player.library)
    assert player.person() == person, "opened twice it is the same"


def test_what_was_done_comes_back_with_its_recording_and_comments_return(
    coach: Place, player: Place, tmp_path: Path
) -> None:
    exchange.give(coach.people, "Robin", tmp_path / "a.zip", DAY)
    exchange.take(tmp_path / "a.zip", player.people, player.library)
    done = people.with_done(player.person(), {"hip-turn-trail": 12}, LATER)
    player.people.save(done, was="Robin")
    own = player.recording()
    exchange.hand_back(player.people, "Robin", [own], tmp_path / "b.zip", LATER)
    exchange.take(tmp_path / "b.zip", coach.people, coach.library)
    assert coach.person().homework[0].done == (LATER,)
    assert coach.person().limits == {"trail-thigh-keeps-falling": 7.0}
    (came,) = coach.library.rglob("*.mcap")
    assert came.read_bytes() == own.read_bytes()
    assert "was here already" in exchange.take(tmp_path / "b.zip", coach.people, coach.library)[-1]
    exchange.comment(came, "More turn before you stop.", 2)
    assert exchange.comments("Robin", [came], tmp_path / "c.zip", LATER) == 1
    for _ in range(2):
        exchange.take(tmp_path / "c.zip", player.people, player.library)
    assert read_edits(own).notes == ["Coach: Rep 3: More turn before you stop."]


def test_the_same_gives_the_same_bytes(coach: Place, tmp_path: Path) -> None:
    for name in ("a.zip", "b.zip"):
        exchange.give(coach.people, "Robin", tmp_path / name, DAY, "Slowly.")
    assert (tmp_path / "a.zip").read_bytes() == (tmp_path / "b.zip").read_bytes()


def test_what_a_newer_version_wrote_is_kept_and_handed_on(coach: Place, player: Place, tmp_path: Path) -> None:
    def newer(raw: dict) -> None:
        raw |= {"format": 2, "mood": {"of": "the day"}}
        raw["homework"][0]["music"] = "slow"

    exchange.give(coach.people, "Robin", tmp_path / "a.zip", DAY)
    rewrite(tmp_path / "a.zip", newer)
    assert "newer version" in exchange.take(tmp_path / "a.zip", player.people, player.library)[0]
    exchange.hand_back(player.people, "Robin", [player.recording()], tmp_path / "b.zip", LATER)
    with archive.Opened(tmp_path / "b.zip") as opened:
        assert opened.raw["mood"] == {"of": "the day"}
        assert opened.raw["homework"][0]["music"] == "slow"
        assert opened.manifest.homework[0].homework == HOMEWORK


def test_a_drill_of_the_coach_comes_along_and_ones_own_stays(
    coach: Place, player: Place, tmp_path: Path, monkeypatch
) -> None:
    own = resources.text("drills", "half-swings").replace('"half-swings"', '"my-swings"')
    drills = tmp_path / "data" / "drills"
    drills.mkdir(parents=True)
    (drills / "my-swings.toml").write_text(own)
    coach.people.save(Person("Robin", homework=(Homework("my-swings", 5, 1, DAY),)), was="Robin")
    exchange.give(coach.people, "Robin", tmp_path / "a.zip", DAY)
    monkeypatch.setenv("IMUFEEDBACK_HOME", str(tmp_path / "home"))
    assert "Drill my-swings: added" in exchange.take(tmp_path / "a.zip", player.people, player.library)
    assert (tmp_path / "home" / "drills" / "my-swings.toml").read_text() == own
    (tmp_path / "home" / "drills" / "my-swings.toml").write_text(own.replace("Half swings", "Mine"))
    assert any("stays" in one for one in exchange.take(tmp_path / "a.zip", player.people, player.library))


# ── what a wrong one cannot do ───────────────────────────────────────────────────────────────────────────────────


def rewrite(
    path: Path, change=None, *, add: dict[str, bytes] | None = None, parts: dict[str, bytes] | None = None
) -> None:
    """The bundle again, with another manifest or more in it; `parts` are named in the manifest too."""
    with zipfile.ZipFile(path) as found:
        data = {one: found.read(one) for one in found.namelist()}
    raw = json.loads(data["manifest.json"])
    for name, text in (parts or {}).items():
        raw["parts"].append({"name": name, "size": len(text), "sha256": hashlib.sha256(text).hexdigest()})
    if change is not None:
        change(raw)
    data |= {"manifest.json": json.dumps(raw).encode(), **(parts or {}), **(add or {})}
    with zipfile.ZipFile(path, "w", zipfile.ZIP_DEFLATED) as out:
        for name, text in data.items():
            out.writestr(name, text)


@pytest.mark.parametrize(
    "name", ["../out.toml", "/etc/out.toml", "drills/../../out.toml", "drills\\..\\out.toml", "C:/out.toml", "drills/",
             "recordings/x.mcap", "drills/a.exe", "more.json"],
)  # fmt: skip
def test_no_part_has_another_place(coach: Place, player: Place, tmp_path: Path, name: str) -> None:
    exchange.give(coach.people, "Robin", tmp_path / "a.zip", DAY)
    rewrite(tmp_path / "a.zip", parts={name: b"x"})
    before = sorted(tmp_path.rglob("*"))
    with pytest.raises(BadFile, match="which no bundle has"):
        exchange.take(tmp_path / "a.zip", player.people, player.library)
    assert sorted(tmp_path.rglob("*")) == before


def test_a_bomb_is_not_unpacked(coach: Place, player: Place, tmp_path: Path) -> None:
    exchange.give(coach.people, "Robin", tmp_path / "a.zip", DAY)
    rewrite(tmp_path / "a.zip", parts={"reference.json": b"0" * (archive.SMALL_MAX + 1)})
    with pytest.raises(BadFile, match="allowed are"):
        exchange.take(tmp_path / "a.zip", player.people, player.library)


def test_a_part_is_not_read_beyond_what_the_archive_says(coach: Place, player: Place, tmp_path: Path) -> None:
    """The sizes in the archive itself are lies."""
    exchange.give(coach.people, "Robin", tmp_path / "a.zip", DAY)
    bomb = b"0" * (8 << 20)

    def small(raw: dict[str, Any]) -> None:
        raw["parts"].append({"name": "reference.json", "size": 9, "sha256": hashlib.sha256(bomb[:9]).hexdigest()})

    rewrite(tmp_path / "a.zip", small, add={"reference.json": bomb})
    lie = (tmp_path / "a.zip").read_bytes().replace(len(bomb).to_bytes(4, "little"), (9).to_bytes(4, "little"))
    (tmp_path / "a.zip").write_bytes(lie)
    with pytest.raises(BadFile):
        exchange.take(tmp_path / "a.zip", player.people, player.library)
    assert player.people.all == ()


@pytest.mark.parametrize(
    ("wrong", "says"),
    [
        (lambda raw: raw.update(player=""), "manifest cannot be used"),
        (lambda raw: raw.update(kind="virus"), "manifest cannot be used"),
        (lambda raw: raw.update(homework=[{"drill": "x", "reps": -1, "days": 1, "given": "2026-05-01"}]), "manifest"),
        (lambda raw: raw["parts"].clear(), "not those of its manifest"),
        (lambda raw: raw["parts"][0].update(sha256="0" * 64), "damaged on its way"),
    ],
)
def test_what_does_not_fit_is_refused_in_one_line(coach: Place, player: Place, tmp_path: Path, wrong, says) -> None:
    exchange.give(coach.people, "Robin", tmp_path / "a.zip", DAY)
    rewrite(tmp_path / "a.zip", wrong)
    with pytest.raises(BadFile, match=says) as found:
        exchange.take(tmp_path / "a.zip", player.people, player.library)
    assert "\n" not in str(found.value)
    assert player.people.all == (), "nothing was taken"


@pytest.mark.parametrize("data", [b"", b"PK\x03\x04", b"no zip at all", b"\x00" * 1000])
def test_what_is_no_bundle_is_told(player: Place, tmp_path: Path, data: bytes) -> None:
    (tmp_path / "a.zip").write_bytes(data)
    with pytest.raises(BadFile, match="no bundle"):
        exchange.take(tmp_path / "a.zip", player.people, player.library)


def test_a_torn_recording_leaves_nothing_behind(coach: Place, player: Place, tmp_path: Path) -> None:
    name = "recordings/0123456789abcdef.mcap"
    exchange.give(coach.people, "Robin", tmp_path / "a.zip", DAY)
    rewrite(tmp_path / "a.zip", parts={name: b"no recording"})
    with pytest.raises(BadFile, match="is no recording"):
        exchange.take(tmp_path / "a.zip", player.people, player.library)
    assert not list(player.library.rglob("*.mcap"))


def test_only_what_is_there_can_be_given(coach: Place, tmp_path: Path) -> None:
    with pytest.raises(UsageError, match="no player"):
        exchange.give(coach.people, "Nobody", tmp_path / "a.zip", DAY)
    coach.people.save(Person("Kim"))
    with pytest.raises(UsageError, match="no homework"):
        exchange.give(coach.people, "Kim", tmp_path / "a.zip", DAY)
    with pytest.raises(UsageError, match="cannot be read"):
        exchange.hand_back(coach.people, "Robin", [tmp_path / "players"], tmp_path / "b.zip", DAY)
    with pytest.raises(UsageError, match="nothing was written"):
        exchange.comments("Robin", [coach.recording()], tmp_path / "c.zip", DAY)
