"""Places belong to serial numbers, on every computer, and never to the order of finding."""

from __future__ import annotations

import os
import stat
from pathlib import Path

import pytest

from imufeedback.ble.roster import KnownSensor, load, why_missing
from imufeedback.errors import BadToml, CannotWrite, UsageError
from imufeedback.record.files import write_own
from imufeedback.records import Segment

P, L, R = Segment.PELVIS, Segment.LEFT_THIGH, Segment.RIGHT_THIGH


def filled(folder: Path) -> None:
    roster = load(folder)
    for serial, role in (("ab-01", P), ("AB-02", L), ("AB-03", R)):
        roster.meet(serial, {"serial": serial, "address": f"C0:{serial}"}, "house")
        roster.assign(serial, role)
    roster.set_offset("AB-02", 0.0041234)
    roster.save(write_own)


def test_h19_the_same_places_whatever_the_system_calls_the_sensors(tmp_path: Path) -> None:
    """Two styles of address and a difference in upper and lower case: the serial number decides."""
    filled(tmp_path)
    roster = load(tmp_path)
    for serial, address in (("AB-01", "C0:00:00:00:00:01"), ("ab-02", "E621E1F8-C36C-495A-93FC-0C247A3E6E5F")):
        roster.meet(serial, {"serial": serial, "address": address}, "house")
    assert roster.role_of("AB-01 ") is P
    assert roster.role_of("ab-02") is L
    assert roster.role_of("AB-03") is R
    assert roster.offset_s("ab-02") == pytest.approx(0.004123)
    assert len(roster.known) == 3


def test_h19_a_sensor_that_was_never_met_has_no_place(tmp_path: Path) -> None:
    filled(tmp_path)
    roster = load(tmp_path)
    assert roster.role_of("AB-04") is None
    assert roster.offset_s("AB-04") == 0.0
    with pytest.raises(UsageError, match=r"AB-04.*ab-01"):
        roster.assign("AB-04", P)


def test_h19_a_sensor_without_a_serial_number_is_marked(tmp_path: Path) -> None:
    roster = load(tmp_path)
    roster.meet("C0:00:00:00:00:07", {"address": "C0:00:00:00:00:07"}, "house")
    roster.save(write_own)
    assert load(tmp_path).get("C0:00:00:00:00:07").by_address
    assert "another computer" in (tmp_path / "sensors.toml").read_text(encoding="utf-8")


def test_a_place_has_one_sensor(tmp_path: Path) -> None:
    filled(tmp_path)
    roster = load(tmp_path)
    roster.assign("AB-03", L)
    assert roster.role_of("AB-02") is None
    assert roster.role_of("AB-03") is L
    roster.assign("AB-03", None)
    assert roster.role_of("AB-03") is None


def test_h16_a_known_sensor_that_is_not_heard_is_named_with_its_causes(tmp_path: Path) -> None:
    filled(tmp_path)
    roster = load(tmp_path)
    (missing,) = roster.missing(["AB-01", "ab-03"])
    (line,) = why_missing([missing])
    assert line.startswith("left thigh (AB-02)")
    for cause in ("empty", "out of reach", "this computer", "phone", "search again"):
        assert cause in line
    assert why_missing(roster.missing(["AB-01", "AB-02", "AB-03"])) == []


def test_names_with_quotes_and_other_scripts_survive(tmp_path: Path) -> None:
    roster = load(tmp_path)
    for serial in ('a"b\\c', "Ü 日本", "tab\there"):
        roster.meet(serial, {"serial": serial}, "house")
    roster.save(write_own)
    assert sorted(one.serial for one in load(tmp_path).known.values()) == sorted(['a"b\\c', "Ü 日本", "tab\there"])


@pytest.mark.parametrize(
    ("text", "says"),
    [
        ("[[sensor]]\nserial = 'a'\nrole = 'nose'", "nose"),
        ("[[sensor]]\nserial = 'a'\nplace = 'pelvis'", "place"),
        ("[[sensor]]\nserial = 'a'\n[[sensor]]\nserial = 'A'", "twice"),
        (
            "[[sensor]]\nserial = 'a'\nrole='pelvis'\n[[sensor]]\nserial = 'b'\nrole='pelvis'",
            "two sensors have one place",
        ),
        ("x = = 1", "Invalid"),
    ],
)
def test_a_broken_file_is_named(tmp_path: Path, text: str, says: str) -> None:
    (tmp_path / "sensors.toml").write_text(text, encoding="utf-8")
    with pytest.raises(BadToml, match=says) as caught:
        load(tmp_path)
    assert "sensors.toml" in str(caught.value)


def test_a_folder_that_cannot_be_written_is_named(tmp_path: Path) -> None:
    (tmp_path / "file").write_text("")
    roster = load(tmp_path / "file")
    roster.known["A"] = KnownSensor("a")
    with pytest.raises(CannotWrite, match=r"sensors\.toml"):
        roster.save(write_own)


def test_the_file_is_for_this_user_alone_and_leaves_nothing_beside_it(tmp_path: Path) -> None:
    (tmp_path / "sensors.new").write_text("left by a save that did not end", encoding="utf-8")
    before = os.umask(0)
    try:
        roster = load(tmp_path)
        serial = '\N{GOLFER}\N{LATIN CAPITAL LETTER L WITH STROKE}\x7f"'
        roster.meet(serial, {"serial": serial}, "house")
        roster.save(write_own)
    finally:
        os.umask(before)
    assert [one.name for one in tmp_path.iterdir()] == ["sensors.toml"]
    assert os.name != "posix" or stat.S_IMODE((tmp_path / "sensors.toml").stat().st_mode) == 0o600
    assert load(tmp_path).known == roster.known
