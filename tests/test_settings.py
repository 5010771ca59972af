"""Arguments of ``begin``: there and back, and every wrong key named."""

from __future__ import annotations

import json

import pytest

from imufeedback.commands import Begin, args_of, settings_of
from imufeedback.errors import UsageError
from imufeedback.records import Command, Hand, Segment
from imufeedback.settings import FORMAT, Player, Sensor, Settings

SETTINGS = Settings(
    sensors=(
        Sensor("P-1", Segment.PELVIS, "house"),
        Sensor("L-1", Segment.LEFT_THIGH, "house"),
        Sensor("R-1", Segment.RIGHT_THIGH, "lossless"),
    ),
    layouts={"house": "text of it", "lossless": "text of that"},
    rule_set="format = 1",
    player=Player(hand=Hand.LEFT, name="Invented", height_m=1.8),
    filter="mahony",
    grid_hz=100.0,
)


def read(given: dict) -> Settings:
    return settings_of(Command(0, "begin", given))


def args(**changed) -> dict:
    return args_of(Begin.of(SETTINGS)) | changed


def test_there_and_back_through_json():
    assert read(json.loads(json.dumps(args_of(Begin.of(SETTINGS))))) == SETTINGS


def test_what_is_left_out_has_its_usual_value():
    bare = {key: args_of(Begin.of(SETTINGS))[key] for key in ("sensors", "layouts", "rule_set")}
    found = read(bare)
    assert found.player == Player(Hand.RIGHT, "", None)
    assert (found.filter, found.grid_hz, found.format) == ("vqf", 200.0, FORMAT)


@pytest.mark.parametrize(
    ("changed", "named"),
    [
        ({"grid_hz": 0}, "grid_hz"),
        ({"grid_hz": 5000}, "grid_hz"),
        ({"grid_hz": "fast"}, "grid_hz"),
        ({"player": {"hand": "both"}}, "player.hand"),
        ({"player": {"height_m": 178}}, "player.height_m"),
        ({"sensors": [{"id": "P-1", "role": "elbow", "layout": "house"}]}, "sensors[0].role"),
        ({"sensors": [{"id": "P-1", "role": "pelvis"}]}, "layout"),
        ({"layouts": {"house": 3}}, "layouts"),
        ({"rule_set": None}, "rule_set"),
    ],
)
def test_a_wrong_value_is_named(changed, named):
    with pytest.raises(UsageError) as caught:
        read(args(**changed))
    assert named in str(caught.value)
    assert str(caught.value).startswith("begin: ")


@pytest.mark.parametrize("key", ["sensors", "layouts", "rule_set"])
def test_a_missing_key_is_named(key):
    with pytest.raises(UsageError, match=key):
        read({name: value for name, value in args().items() if name != key})


def test_a_key_of_a_later_version_is_passed_over():
    assert read(args(mood="calm")) == SETTINGS


def test_a_later_format_is_refused():
    with pytest.raises(UsageError, match="newer version"):
        read(args(format=FORMAT + 1))


@pytest.mark.parametrize(
    "second",
    [{"id": "P-2", "role": "pelvis", "layout": "house"}, {"id": "P-1", "role": "left_thigh", "layout": "house"}],
    ids=["one place", "one name"],
)
def test_two_sensors_of_one_place_or_name_are_refused(second):
    first = {"id": "P-1", "role": "pelvis", "layout": "house"}
    with pytest.raises(UsageError, match="two sensors have one place or one name"):
        read(args(sensors=[first, second]))
