"""Physics that a sensor must obey: gravity at rest, no turn at rest, a quarter turn that reads as one."""

from __future__ import annotations

import asyncio

import numpy as np
import pytest
from packet_streams import HOUSE, layout_text, load

from imufeedback.ble.roster import Roster
from imufeedback.ble.roster import load as load_roster
from imufeedback.ble.sensor_check import Desk, virtual_desk
from imufeedback.ble.verdict import SensorGrade, judge
from imufeedback.ble.virtual import FaultScript, parse_faults
from imufeedback.ble.virtual.bench import NAMES, QUIRKS, Quirk
from imufeedback.errors import BadToml, RadioError
from imufeedback.packets import Decoder, Layout, encode, parse_layout
from imufeedback.records import DeviceBlock, Level, LinkState, RawPacket


def verdicts(
    tmp_path,
    seconds: float = 12.9,
    *,
    sent: Layout = HOUSE,
    quirks: tuple[Quirk, ...] = QUIRKS,
    faults: FaultScript | None = None,
    turned: bool = True,
    read: Layout | None = None,
) -> dict[str, SensorGrade]:
    """The bench's sensors checked as `sensors check` does; `read` is the layout they are believed to have."""

    async def run() -> dict[str, SensorGrade]:
        async with virtual_desk(sent, seconds=seconds, realtime=False, quirks=quirks, faults=faults) as desk:
            if read is not None:
                desk.layout = read
            await desk.connect(load_roster(tmp_path), expect=3)
            await desk.radio.start()
            await desk.pass_time(seconds)
            desk.listen()
            return {
                name: judge(one.row(desk.clock.now_ns()), *one.samples(), turned=turned)
                for name, one in desk.monitors.items()
            }

    return asyncio.run(run())


def test_good_sensors_are_good(tmp_path) -> None:
    assert {name: one.level for name, one in verdicts(tmp_path).items()} == dict.fromkeys(NAMES, Level.GOOD)


@pytest.mark.parametrize(
    ("quirk", "says"),
    [
        (Quirk(acc_gain=1 / 9.80665), "values are in g"),
        (Quirk(acc_gain=0.5), "range is 2 times"),
        (Quirk(acc_gain=2.0), "range is 0.5 times"),
        (Quirk(acc_gain=0.25, gyr_gain=8.0), "range is 4 times"),
        (Quirk(gyr_gain=0.125), "the turn of 90° reads 11°: scale or range"),
        (Quirk(gyr_gain=np.pi / 180), "degrees and radians"),
        (Quirk(gyr_gain=-1.0), "gyr_x and gyr_y and gyr_z have the wrong sign"),
    ],
)
def test_h42_h45_h40_wrong_units_and_ranges_are_found_and_guessed(tmp_path, quirk: Quirk, says: str) -> None:
    found = verdicts(tmp_path, quirks=(QUIRKS[0], quirk, QUIRKS[2]))
    assert found["BENCH-2"].level is Level.POOR
    assert says in str(found["BENCH-2"])
    assert found["BENCH-1"].level is found["BENCH-3"].level is Level.GOOD
    assert "\n" not in str(found["BENCH-2"])


@pytest.mark.parametrize(
    ("norm", "level"), [(9.81, Level.GOOD), (9.6, Level.FAIR), (1.0, Level.POOR), (4.9, Level.POOR), (19.6, Level.POOR)]
)
def test_h42_gravity_at_rest_decides_what_is_accepted(tmp_path, norm: float, level: Level) -> None:
    found = verdicts(tmp_path, 4.0, quirks=(Quirk(acc_gain=norm / 9.81), *QUIRKS[1:]), turned=False)
    assert found["BENCH-1"].level is level


def test_h40_ten_degrees_a_second_for_nine_seconds() -> None:
    """Given in °/s and in rad/s with the right label: 90° both times. With the wrong label it is refused by its
    range, or
    reads 57 times too much."""
    text = layout_text("example_floats")
    degrees = parse_layout(
        text.replace('unit = "rad/s"', 'unit = "deg/s"').replace("full_scale = 34.9", "full_scale = 2000.0"),
        "degrees",
    )
    radians = load("example_floats")
    rate = np.tile([0.0, 0.0, np.radians(10.0)], (1, 1))
    turned = {}
    for name, wrote, read in (("deg", degrees, degrees), ("rad", radians, radians), ("wrong", degrees, radians)):
        decoder = Decoder("a", read, 0)
        total = 0.0
        for k in range(9 * 104):
            data = encode(wrote, k, k, rate, [[0.0, 0.0, 9.81]], [k])
            for block in decoder.feed(RawPacket("a", k * 9_615_385, data)):
                assert isinstance(block, DeviceBlock)
                total += float(block.gyr_rad_s[:, 2].sum()) / 104
        turned[name] = np.degrees(total)
    assert turned["deg"] == pytest.approx(90.0, abs=0.1)
    assert turned["rad"] == pytest.approx(90.0, abs=0.1)
    assert turned["wrong"] == pytest.approx(90.0 * 180 / np.pi, rel=1e-3)


def test_h44_golden_bytes_and_the_wrong_byte_order(tmp_path) -> None:
    """x = 4096, y = -4096, z = 1 at 8 g: exact; read with the bytes swapped it is nowhere near 1 g."""
    text = layout_text("house").replace("scale = 0.00048828125", "scale = 0.000244140625").replace("16.0", "8.0")
    little, big = (parse_layout(text.replace('"little"', f'"{order}"'), "x") for order in ("little", "big"))
    header = bytes([1, 1, 0, 0, 0, 0, 0, 0])
    payload = header + bytes(6) + (4096).to_bytes(2, "little") + (-4096).to_bytes(2, "little", signed=True) + b"\1\0"
    (block,) = Decoder("a", little, 0).feed(RawPacket("a", 0, payload))
    np.testing.assert_allclose(block.acc_m_s2[0], np.array([1.0, -1.0, 1 / 4096]) * 9.80665, rtol=1e-12)
    (swapped,) = Decoder("a", big, 0).feed(RawPacket("a", 0, payload))
    assert np.linalg.norm(swapped.acc_m_s2) < 2.0
    # a whole sensor whose two bytes are swapped: the scale check refuses it
    found = verdicts(tmp_path, 4.0, sent=load("example_big_endian"), read=None, turned=False)
    assert found["BENCH-1"].level is Level.GOOD
    wrong = parse_layout(layout_text("example_big_endian").replace('"big"', '"little"'), "x")
    found = verdicts(tmp_path, 4.0, sent=load("example_big_endian"), read=wrong, turned=False)
    assert all(one.level is not Level.GOOD for one in found.values())


@pytest.mark.parametrize(
    ("text", "level", "says"),
    [
        ('kind = "loss"\nshare = 0.12', Level.POOR, "lost: bring it closer"),
        ('kind = "loss"\nshare = 0.025', Level.FAIR, "lost"),
        ('kind = "stuck"\nfrom_s = 2.5', Level.POOR, "frozen"),
        ('kind = "battery"\nat_s = 0.0\npercent = 9', Level.GOOD, ""),
        ('kind = "garbled"\nshare = 0.02\nto_s = 2.0', Level.FAIR, "could not be used"),
        ('kind = "saturation"\ngyr_deg_s = 0.3', Level.FAIR, "end of the range"),
        ('kind = "silence"', Level.POOR, "no data"),
    ],
)
def test_what_the_radio_does_stands_in_the_verdict(tmp_path, text: str, level: Level, says: str) -> None:
    faults = parse_faults(f"[[fault]]\nsensors = ['BENCH-2']\n{text}", "x")
    found = verdicts(tmp_path, 3.9, faults=faults, turned=False)
    if says == "end of the range":
        assert found["BENCH-2"].level is not Level.GOOD
    else:
        assert found["BENCH-2"].level is level
    assert says in str(found["BENCH-2"])
    assert found["BENCH-1"].level is Level.GOOD


def test_a_turn_that_was_not_made_is_asked_for(tmp_path) -> None:
    found = verdicts(tmp_path, 3.9)
    assert all("no turn seen" in str(one) for one in found.values())


# ── the desk ─────────────────────────────────────────────────────────────────────────────────────────────────────


def at_the_desk(tmp_path, layout: Layout, seconds: float) -> Desk:
    async def run() -> Desk:
        async with virtual_desk(layout, seconds=seconds, realtime=False) as desk:
            await desk.connect(load_roster(tmp_path), expect=3)
            await desk.radio.start()
            await desk.pass_time(seconds)
            desk.listen()
            assert all(row.link is LinkState.STREAMING for row in desk.rows())
            for link in desk.radio.links:
                await link.blink(5)
        return desk

    return asyncio.run(run())


@pytest.mark.parametrize("name", ["house", "example_big_endian", "example_floats"])
def test_sensors_of_every_layout_stream_through_the_same_client(tmp_path, name: str) -> None:
    layout = load(name)
    desk = at_the_desk(tmp_path, layout, 6.0)
    for row in desk.rows():
        assert row.rate_hz == pytest.approx(layout.rate_hz, rel=0.001)
        assert row.samples == pytest.approx(6.0 * layout.rate_hz, abs=3 * layout.samples_per_packet)
        assert row.loss_percent == row.rejected == 0
        assert row.battery_percent == 87
        assert row.temperature_c in (24.5, 25.5, 26.5)
        assert row.signal_dbm is not None
        assert row.skew_ppm is not None
        assert row.spread_ms is not None
        assert 0 < row.spread_ms < 20


def test_nobody_there_is_an_error_that_names_who_was_expected(tmp_path) -> None:
    async def run() -> str:
        async with virtual_desk(HOUSE, realtime=False, quirks=()) as desk:
            roster = Roster(tmp_path / "sensors.toml")
            roster.meet("AB-02", {"serial": "AB-02"}, "house")
            from imufeedback.records import Segment

            roster.assign("AB-02", Segment.LEFT_THIGH)
            with pytest.raises(RadioError) as caught:
                await desk.connect(roster, seconds=0.05)
            return str(caught.value)

    assert "left thigh (AB-02) was not heard" in asyncio.run(run())


# ── axes ─────────────────────────────────────────────────────────────────────────────────────────────────────────


@pytest.mark.parametrize(
    ("axes", "says"),
    [
        ('gyr = ["x", "-y", "z"]', "gyr_y has the wrong sign"),
        ('gyr = ["y", "x", "z"]', "gyr_x and gyr_y are exchanged"),
        ('acc = ["x", "y", "-z"]', "acc_z has the wrong sign"),
        ('acc = ["z", "x", "y"]', "gyr and acc do not have the same axes"),
    ],
)
def test_two_turns_show_wrong_axes(tmp_path, axes: str, says: str) -> None:
    faults = parse_faults(f"[[fault]]\nkind = 'wrong-axes'\nsensors = ['BENCH-2']\n{axes}", "x")
    found = verdicts(tmp_path, faults=faults)
    assert found["BENCH-2"].level is Level.POOR
    assert says in str(found["BENCH-2"])
    assert found["BENCH-1"].level is found["BENCH-3"].level is Level.GOOD


def test_one_turn_is_not_enough_for_all_axes(tmp_path) -> None:
    found = verdicts(tmp_path, 8.5)
    assert any("about another level axis too" in str(one) for one in found.values())
    assert all(one.level is not Level.POOR for one in found.values())


def test_a_fault_script_with_axes_that_are_none() -> None:
    with pytest.raises(BadToml, match="once each"):
        parse_faults('[[fault]]\nkind = "wrong-axes"\ngyr = ["x", "x", "z"]', "x")
