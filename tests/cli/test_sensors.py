"""``sensors`` on the virtual bench, and without any Bluetooth."""

from __future__ import annotations

from contextlib import AbstractAsyncContextManager
from pathlib import Path
from typing import Any

import pytest
from commands import Commands

from imufeedback.ble.roster import load
from imufeedback.ble.sensor_check import Desk, virtual_desk
from imufeedback.ble.virtual import FaultScript, parse_faults
from imufeedback.ble.virtual.bench import NAMES, QUIRKS, Quirk
from imufeedback.cli import sensors
from imufeedback.packets import Layout
from imufeedback.record.files import write_own
from imufeedback.records import Segment


class Bench:
    """Stands in for real sensors, and does not wait: what a test wants different it sets here."""

    def __init__(self) -> None:
        self.quirks: tuple[Quirk, ...] = QUIRKS
        self.faults = FaultScript()
        self.neighbours = 0

    def desk(self, layout: Layout, _virtual: bool, neighbours: int) -> AbstractAsyncContextManager[Desk]:
        return virtual_desk(
            layout,
            seconds=120.0,
            realtime=False,
            quirks=self.quirks,
            faults=self.faults,
            neighbours=max(neighbours, self.neighbours),
            own=False,
        )


@pytest.fixture(name="bench")
def use_the_bench(monkeypatch: pytest.MonkeyPatch, tmp_path: Path) -> Bench:
    bench = Bench()
    monkeypatch.setenv("IMUFEEDBACK_HOME", str(tmp_path))
    monkeypatch.setattr(sensors, "_desk", bench.desk)
    monkeypatch.setattr("imufeedback.ble.sensor_check.SCAN_S", 0.3)
    roster = load(tmp_path)
    for name in NAMES:
        roster.meet(name, {"serial": name}, "house")
    roster.save(write_own)
    return bench


def test_scan_assign_and_scan_again(imufeedback: Commands, bench: Bench, tmp_path: Path) -> None:
    ended = imufeedback("sensors", "scan")
    assert ended.status == 0
    assert all(name in ended.out for name in NAMES)
    assert "without a place: BENCH-1, BENCH-2, BENCH-3" in ended.err
    for name, place in zip(NAMES, ("pelvis", "left_thigh", "right_thigh"), strict=True):
        assert imufeedback("sensors", "assign", name.lower(), place).status == 0
    ended = imufeedback("sensors", "scan")
    assert "left thigh" in ended.out
    assert "without a place" not in ended.err
    assert load(tmp_path).role_of("BENCH-3") is Segment.RIGHT_THIGH
    assert imufeedback("sensors", "assign", "BENCH-3", "none").status == 0
    assert load(tmp_path).role_of("BENCH-3") is None


def test_h16_a_missing_sensor_is_named_after_its_place(imufeedback: Commands, bench: Bench, tmp_path: Path) -> None:
    roster = load(tmp_path)
    roster.meet("GONE-9", {"serial": "GONE-9"}, "house")
    roster.assign("GONE-9", Segment.LEFT_THIGH)
    roster.save(write_own)
    ended = imufeedback("sensors", "scan")
    assert ended.status == 0
    assert "left thigh (GONE-9) was not heard" in ended.err


def test_assign_refuses_what_makes_no_sense(imufeedback: Commands, bench: Bench) -> None:
    ended = imufeedback("sensors", "assign", "BENCH-7", "pelvis")
    assert ended.status == 1
    assert "BENCH-7 was not heard – here are BENCH-1" in ended.error
    ended = imufeedback("sensors", "assign", "BENCH-1", "nose")
    assert ended.status == 2
    assert "left_thigh" in ended.error


def test_check_gives_one_line_a_sensor_and_a_status(imufeedback: Commands, bench: Bench) -> None:
    ended = imufeedback("sensors", "check", "--seconds", "3")
    assert ended.status == 0
    assert [line.split()[2] for line in ended.out.splitlines()] == ["place):"] * 3
    assert ended.out.count("good") == 3
    bench.quirks = (QUIRKS[0], Quirk(acc_gain=0.5), QUIRKS[2])
    ended = imufeedback("sensors", "check", "--seconds", "3")
    assert ended.status == 1
    assert "BENCH-2 (no place): poor: at rest it measures 4.9" in ended.out


def test_check_with_a_turn(imufeedback: Commands, bench: Bench) -> None:
    bench.quirks = (QUIRKS[0], Quirk(gyr_gain=0.5), QUIRKS[2])
    ended = imufeedback("sensors", "check", "--turn", "--seconds", "12.9")
    assert ended.status == 1
    assert "the turn of 90° reads 45°" in ended.out
    assert ended.out.count("good") == 2


def test_watch_shows_everything_that_is_known(imufeedback: Commands, bench: Bench) -> None:
    bench.faults = parse_faults("[[fault]]\nkind = 'loss'\nshare = 0.1\nsensors = ['BENCH-2']", "x")
    ended = imufeedback("sensors", "watch", "--seconds", "7")
    assert ended.status == 0
    for head in ("place", "link", "Hz", "lost %", "battery %", "signal dBm", "skew ppm", "spread ms", "saturated %"):
        assert head in ended.out
    rows = {line.split()[1]: line for line in ended.out.splitlines() if line.startswith("│ BENCH")}
    assert "streaming" in rows["BENCH-1"]
    assert "200.0" in rows["BENCH-1"]
    assert " 0.00 " in rows["BENCH-1"]
    assert " 0.00 " not in rows["BENCH-2"].split("streaming")[1][:25]
    assert "waiting 0" in ended.out


def test_align_keeps_the_delays_with_the_sensors(imufeedback: Commands, bench: Bench, tmp_path: Path) -> None:
    ended = imufeedback("sensors", "align")
    assert ended.status == 0
    roster = load(tmp_path)
    apart = [roster.offset_s(name) * 1e3 for name in NAMES]
    assert apart == pytest.approx([-2.0, 4.0, 0.0], abs=1.0)
    assert "BENCH-2 (no place): +" in ended.out


def test_align_without_a_shake_gives_up(imufeedback: Commands, bench: Bench, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(sensors, "SETTLE_S", 0.5)
    monkeypatch.setattr(sensors, "SHAKE_WAIT_S", 2.0)
    ended = imufeedback("sensors", "align")
    assert ended.status == 1
    assert "no shake was seen" in ended.error


def test_blink_reaches_the_one_that_is_named(imufeedback: Commands, bench: Bench) -> None:
    ended = imufeedback("sensors", "blink", "bench-2")
    assert (ended.status, ended.out) == (0, "BENCH-2 blinks for 5 s\n")
    ended = imufeedback("sensors", "blink", "BENCH-7")
    assert ended.status == 1
    assert "here are BENCH-1" in ended.error


def test_others_are_listed_after_own_ones_and_left_alone(imufeedback: Commands, bench: Bench, tmp_path: Path) -> None:
    bench.neighbours = 17
    ended = imufeedback("sensors", "scan")
    assert ended.status == 0
    rows = [line for line in ended.out.splitlines() if "│" in line]
    assert len(rows) == 20
    assert all("BENCH" in row and "87" in row for row in rows[:3])
    assert all("not yours" in row and "87" not in row.split("│")[4] for row in rows[3:])
    assert "17 not yours, or new: left alone" in ended.err
    assert sorted(load(tmp_path).known) == sorted(NAMES)


def test_a_new_sensor_becomes_own_by_assign_and_a_stranger_by_forget(
    imufeedback: Commands, bench: Bench, tmp_path: Path
) -> None:
    assert imufeedback("sensors", "forget", "bench-3").status == 0
    assert "BENCH-3" not in load(tmp_path).known
    ended = imufeedback("sensors", "check", "--seconds", "2")
    assert "BENCH-3" not in ended.out
    ended = imufeedback("sensors", "assign", "bench-3", "left_thigh")
    assert ended.status == 0
    assert "BENCH-3: left thigh" in ended.out
    assert load(tmp_path).get("BENCH-3").address == "C0:00:00:00:00:03"
    assert imufeedback("sensors", "forget", "BENCH-9").status == 2


def test_when_none_is_own_none_is_touched(imufeedback: Commands, bench: Bench, tmp_path: Path) -> None:
    for name in NAMES:
        imufeedback("sensors", "forget", name)
    ended = imufeedback("sensors", "check", "--seconds", "2")
    assert ended.status == 1
    assert "no sensor is known here as yours" in ended.error
    assert "`imufeedback sensors assign` makes one yours" in ended.error
    assert load(tmp_path).known == {}


@pytest.mark.parametrize("layout", ["lossless", "none-of-these"])
def test_a_layout_that_cannot_be_used_is_one_line(imufeedback: Commands, bench: Bench, layout: str) -> None:
    ended = imufeedback("sensors", "scan", "--layout", layout)
    assert ended.status == 1
    assert layout in ended.error


def test_without_bluetooth_one_line_with_advice(
    imufeedback: Commands, monkeypatch: pytest.MonkeyPatch, tmp_path: Path
) -> None:
    class NoBluetooth:
        def __init__(self, *args: Any, **kwargs: Any) -> None:
            raise FileNotFoundError(2, "No such file or directory")

    monkeypatch.setenv("IMUFEEDBACK_HOME", str(tmp_path))
    monkeypatch.setattr("imufeedback.ble.scan.BleakScanner", NoBluetooth)
    ended = imufeedback("sensors", "watch")
    assert ended.status == 1
    assert "no Bluetooth" in ended.error
    assert "imufeedback demo" in ended.error


def test_check_with_turns_names_the_axis(imufeedback: Commands, bench: Bench) -> None:
    bench.faults = parse_faults(
        "[[fault]]\nkind = 'wrong-axes'\nsensors = ['BENCH-2']\ngyr = ['x', 'y', '-z']", "script"
    )
    ended = imufeedback("sensors", "check", "--turn")
    assert ended.status == 1
    assert "BENCH-2 (no place): poor: gyr_z has the wrong sign" in ended.out
    assert ended.out.count("good") == 2


# ── calibrate ────────────────────────────────────────────────────────────────────────────────────────────────────


def _in_a_hand(monkeypatch: pytest.MonkeyPatch, quick_to: float | None = None) -> None:
    from imufeedback.ble.virtual.turned import handled_sensor

    def hand(layout: Layout, _virtual: bool, gravity: float) -> AbstractAsyncContextManager[Desk]:
        return virtual_desk(layout, realtime=False, made=[handled_sensor(layout, NAMES[0], gravity)])

    monkeypatch.setattr(sensors, "_hand", hand)


def test_calibrate_finds_the_errors_keeps_them_and_a_session_has_them(
    imufeedback: Commands, bench: Bench, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    from imufeedback.ble.virtual.turned import OFFSET_M_S2
    from imufeedback.live.station_source import WornSensors
    from imufeedback.record.calibrations import calibration
    from imufeedback.settings import Player

    _in_a_hand(monkeypatch)
    ended = imufeedback("sensors", "calibrate", "bench-1", "--no-sound")
    assert ended.status == 0, ended.err
    assert "still missing" in ended.err
    assert "accelerometer offset" in ended.out
    kept = calibration(tmp_path, "BENCH-1")
    assert kept is not None
    assert kept.acc_offset_m_s2 == pytest.approx(OFFSET_M_S2, abs=0.02)
    assert kept.temperature_c == pytest.approx(24.5)
    assert len(kept.day) == 10

    class Station:
        clock = None
        now_c = 24.5

        def temperature_c(self, _sensor: str) -> float:
            return self.now_c

    def used(station: Station) -> list[Any]:
        roles = {"BENCH-1": Segment.PELVIS, "BENCH-2": Segment.LEFT_THIGH}
        worn = WornSensors(station, roles, load_layout(), Player())  # type: ignore[arg-type]
        return [one.calibration for one in worn.settings.sensors]

    assert used(Station()) == [kept, None]
    outside = Station()
    outside.now_c = 9.5
    colder, _ = used(outside)
    assert colder.acc_offset_m_s2 == kept.acc_offset_m_s2
    assert colder.acc_offset_sd_m_s2 > kept.acc_offset_sd_m_s2 + 0.05


def load_layout() -> Layout:
    from imufeedback import resources
    from imufeedback.packets import parse_layout

    return parse_layout(resources.text("layouts", "house"), "house")


def test_calibrate_says_what_was_not_seen(
    imufeedback: Commands, bench: Bench, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """The bench's sensors lie and are turned, but not on six faces."""
    monkeypatch.setattr("imufeedback.cli.calibrate_sensor.LIMIT_S", 20.0)
    monkeypatch.setattr(sensors, "_hand", lambda layout, virtual, gravity: bench.desk(layout, virtual, 0))
    ended = imufeedback("sensors", "calibrate", "BENCH-2", "--no-sound")
    assert ended.status == 1
    assert "not seen" in ended.error
    assert not (tmp_path / "calibrations").exists()


def test_conform_without_hardware(imufeedback: Commands, bench: Bench) -> None:
    ended = imufeedback("sensors", "conform", "BENCH-1", "--virtual")
    assert ended.status == 0, ended.out
    assert "60 rules kept, 0 broken" in ended.out
    assert "WRONG" not in ended.out


def test_conform_names_what_a_cut_tail_breaks(imufeedback: Commands, bench: Bench) -> None:
    bench.faults = parse_faults('[[fault]]\nkind = "garbled"\nshare = 1.0\n', "here")
    ended = imufeedback("sensors", "conform", "BENCH-2")
    assert ended.status == 1
    assert (
        "WRONG  packet: byte 1 counts the samples, and no more and no less follow: packet 0: byte 1 is 04" in ended.out
    )


def test_conform_of_a_sensor_that_is_not_there(
    imufeedback: Commands, bench: Bench, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr("imufeedback.ble.conform.HEAR_S", 0.2)
    assert "NOBODY was not heard" in imufeedback("sensors", "conform", "NOBODY").error


@pytest.mark.parametrize(("mtu", "samples"), [("told_mtu = 23", 4), ("mtu = 23", 1)])
def test_conform_goes_by_the_packets_and_not_by_what_is_said_of_the_mtu(
    imufeedback: Commands, bench: Bench, mtu: str, samples: int
) -> None:
    bench.faults = parse_faults(mtu, "here")
    ended = imufeedback("sensors", "conform", "BENCH-2")
    assert ended.status == 0, ended.out
    assert f"packet: has as many samples as were set, {samples}" in ended.out
