from __future__ import annotations

import pytest
from pytestqt.qtbot import QtBot

from imufeedback.app.palette import PaintedSign
from imufeedback.app.sensor_line import SensorLine
from imufeedback.records import ClockFitted, Gap, Link, LinkState, Segment


@pytest.fixture
def line(qtbot: QtBot) -> SensorLine:
    made = SensorLine()
    qtbot.addWidget(made)
    made.rescale(1.0)
    made.show()
    return made


def link(sensor: str, state: LinkState, **facts: object) -> Link:
    return Link(sensor, 1.0, state, "", facts)


def test_a_chip_says_where_state_rate_battery_and_losses(line: SensorLine) -> None:
    line.show_roles({"A1": Segment.RIGHT_THIGH})
    assert line.chips["A1"].text.text() == "right thigh: searching"
    line.hear(link("A1", LinkState.CONNECTED, battery_percent=76))
    line.hear(link("A1", LinkState.STREAMING))
    line.hear(ClockFitted("A1", 2.0, 199.96, 12.0, 0.002))
    line.hear(Gap("A1", 3.0, 0.02, 4))
    assert line.chips["A1"].text.text() == "right thigh: streaming · 200 Hz · battery 76 % · 4 samples lost"
    assert line.streaming


def test_a_silent_sensor_says_so_with_a_sign(line: SensorLine) -> None:
    line.hear(link("A1", LinkState.STREAMING))
    line.hear(ClockFitted("A1", 2.0, 200.0, 12.0, 0.002))
    line.hear(link("A1", LinkState.SILENT))
    assert line.chips["A1"].text.text() == "A1: no signal"
    assert line.chips["A1"].sign.sign is PaintedSign.CROSS
    assert not line.streaming


def test_an_address_gives_way_to_the_serial_number(line: SensorLine) -> None:
    line.hear(link("C0:00:00:00:00:01", LinkState.CONNECTING))
    line.hear(link("A1", LinkState.CONNECTED, address="C0:00:00:00:00:01"))
    assert list(line.chips) == ["A1"]


def test_many_sensors_get_short_chips(line: SensorLine) -> None:
    roles = {f"S{count}": segment for count, segment in enumerate(Segment)}
    line.show_roles(roles)
    for sensor in roles:
        line.hear(link(sensor, LinkState.STREAMING, battery_percent=50))
    assert {chip.text.text() for chip in line.chips.values()} >= {"pelvis 50 %", "lead forearm 50 %"}
    assert "streaming" in line.chips["S0"].toolTip()


@pytest.mark.parametrize("nonsense", ["full", None, True])
def test_a_battery_that_is_no_number_is_left_out(line: SensorLine, nonsense: object) -> None:
    line.hear(link("A1", LinkState.STREAMING, battery_percent=nonsense))
    assert line.chips["A1"].text.text() == "A1: streaming"
