"""``sensors conform`` against the firmware's process: it keeps every rule, and each planted mistake is found."""

from __future__ import annotations

import os
import re
from contextlib import AbstractAsyncContextManager
from pathlib import Path
from typing import Any

import pytest
from commands import Commands, Ended
from desktop_sensor import DesktopSensor, Process
from firmware_build import HERE, desktop, needs_cc

from imufeedback.ble import conform
from imufeedback.ble.sensor_check import Desk, virtual_desk
from imufeedback.cli import sensors
from imufeedback.packets import Layout

pytestmark = needs_cc

FOUND_BY = {
    "another-service-advertised": "advertising: the complete list",
    "no-name": "advertising: a local name",
    "announces-another-serial": "scan response: .* byte 6 is 30, expected 31",
    "motion-elsewhere": "table: motion",
    "motion-cannot-notify": "table: motion .* lacks notify",
    "control-unreadable": "table: control .* lacks read",
    "battery-in-the-wrong-service": "table: battery level .* stands in service 0000180a",
    "uuid-in-big-endian": "table: serial number",
    "layout-2": "layout: .* byte 6 is 32, expected 31",
    "battery-of-255": "battery level: .* bf, expected 00 to 64",
    "no-serial": "serial number: .* it is empty",
    "serial-changes": "serial number: .* read twice",
    "model-with-an-end": "model: .* byte 7 is 00",
    "temperature-in-degrees": "temperature: two bytes",
    "status-in-big-endian": "status: tells what was set: byte 1 is 00, expected c8",
    "status-says-factory": "status: tells what was set: byte 1 is 64, expected c8",
    "status-of-three-bytes": "status: 4 bytes, .* 3 bytes, expected 4",
    "streams-unasked": "nothing is sent before START, .* packets came",
    "unknown-command-taken": "a command that is not known .* answered with 00",
    "one-error-for-all": "START with a byte too many .* answered with 80",
    "extra-bytes-taken": "START with a byte too many .* answered with 00, the status has changed",
    "version-2": "packet: version 1 .* packet 0: byte 0 is 02",
    "flags": "packet: flags .* byte 0 is 11, expected 01",
    "count-is-one-less": "packet: byte 1 counts .* byte 1 is 03: 44 bytes expected, 56 came",
    "cut-tail": "packet: byte 1 counts .* 56 bytes expected, 54 came",
    "number-in-big-endian": "packet: bytes 2 and 3",
    "number-stands-still": "packet: bytes 2 and 3, .* after 00 00 came 00 00",
    "tick-in-ms": "packet: bytes 4 to 7, .* 20 µs for 1 packets",
    "tick-when-sent": "packet: bytes 4 to 7",
    "tick-of-a-slow-clock": "packet: the tick runs as this computer's clock does",
    "samples-in-big-endian": "samples: lying still, .* high bytes come first",
    "range-of-8-g": "samples: lying still, .* bytes 14 to 19: 2.00 g",
    "samples-frozen": "samples: change",
    "settings-wait-for-start": "SETTINGS take effect at once",
    "no-blink": "BLINK .* answered with 80",
    "stop-does-nothing": "nothing is sent after STOP",
    "tick-begins-anew": "the tick runs on over STOP and START: bytes 4 to 7",
    "number-begins-anew": "the packets' number runs on over STOP and START: bytes 2 and 3",
    "silent-after-a-link": "it advertises again",
    "streams-on-after-a-link": "status: the end of a link stops it: byte 0 is 01, expected 00",
    "forgets-settings-with-the-link": "status: settings outlast a link, .* byte 1 is 64, expected c8",
}


@pytest.fixture(scope="module", name="wrong_program")
def build_it_with_mistakes(tmp_path_factory: pytest.TempPathFactory) -> Path:
    return desktop(tmp_path_factory.mktemp("mistakes") / "sensor", mistakes=True)


def judged(imufeedback: Commands, monkeypatch: pytest.MonkeyPatch, process: Process) -> Ended:
    def desk(layout: Layout, *_: Any) -> AbstractAsyncContextManager[Desk]:
        return virtual_desk(layout, realtime=False, made=[DesktopSensor("AB-0041", process)], own=False)

    monkeypatch.setattr(sensors, "_desk", desk)
    monkeypatch.setattr(conform, "HEAR_S", 0.5)
    monkeypatch.setattr(conform, "AGAIN_S", 0.5)
    return imufeedback("sensors", "conform", "C0:00:00:00:00:01")


def wrong_lines(ended: Ended) -> list[str]:
    return [line for line in ended.out.splitlines() if line.startswith("WRONG")]


def test_the_firmware_keeps_every_rule(imufeedback: Commands, monkeypatch: pytest.MonkeyPatch, program: Path) -> None:
    with Process(program) as process:
        ended = judged(imufeedback, monkeypatch, process)
    assert not wrong_lines(ended)
    assert ended.status == 0
    assert "60 rules kept, 0 broken" in ended.out


def test_every_mistake_that_can_be_planted_is_in_the_list() -> None:
    source = (HERE / "mistakes.c").read_text(encoding="utf-8")
    assert set(re.findall(r'\bis\("([a-z0-9-]+)"\)', source)) == set(FOUND_BY)
    assert len(FOUND_BY) >= 20


@pytest.mark.parametrize("mistake", FOUND_BY)
def test_each_planted_mistake_is_found(
    imufeedback: Commands, monkeypatch: pytest.MonkeyPatch, wrong_program: Path, mistake: str
) -> None:
    with Process(wrong_program, environment={**os.environ, "MISTAKE": mistake}) as process:
        ended = judged(imufeedback, monkeypatch, process)
    assert ended.status == 1
    wrong = wrong_lines(ended)
    assert any(re.search(FOUND_BY[mistake], line) for line in wrong), wrong
    assert len(wrong) <= 14, wrong


def test_without_a_planted_mistake_the_same_program_keeps_every_rule(
    imufeedback: Commands, monkeypatch: pytest.MonkeyPatch, wrong_program: Path
) -> None:
    with Process(wrong_program) as process:
        assert not wrong_lines(judged(imufeedback, monkeypatch, process))
