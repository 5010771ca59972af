"""The fault script: what may stand in it, what it does to packets, and what it does to links."""

from __future__ import annotations

import asyncio

import numpy as np
import pytest
from packet_streams import HOUSE, STEP_NS, decode, packet
from virtual_world import QUICK, payloads, sensor, world

from imufeedback import resources
from imufeedback.ble.clock import ManualClock
from imufeedback.ble.virtual import disturbed, mishaps, parse_faults
from imufeedback.ble.virtual.faults import KINDS
from imufeedback.errors import BadToml
from imufeedback.records import Flag, LinkState, RawPacket

S = LinkState
Packet = tuple[int, bytes]


def after(text: str, sent: list[Packet] | None = None, name: str = "SYN-1", seconds: float = 60.0) -> list[Packet]:
    sent = stream(seconds) if sent is None else sent
    return list(disturbed(iter(sent), parse_faults(text, "test"), HOUSE, name, "pelvis"))


def stream(seconds: float) -> list[Packet]:
    return [(k * STEP_NS, packet(k)) for k in range(int(seconds * 50))]


def fault(kind: str, **keys: object) -> str:
    lines = [f'kind = "{kind}"', *(f"{key} = {value}" for key, value in keys.items())]
    return "[[fault]]\n" + "\n".join(lines)


# ── what may stand in a script ───────────────────────────────────────────────────────────────────────────────────


@pytest.mark.parametrize("name", resources.available("radio"))
def test_a_shipped_script_reads(name: str) -> None:
    assert parse_faults(resources.text("radio", name), name).fault


def test_the_worst_day_has_every_kind_that_leaves_the_packets_readable() -> None:
    used = {type(one).__struct_config__.tag for one in parse_faults(resources.text("radio", "worst_day"), "x").fault}
    assert used >= set(KINDS) - {"wrong-range", "wrong-axes"}


@pytest.mark.parametrize(
    ("text", "says"),
    [
        (fault("los", share=0.1), ["kinds are", "loss"]),
        (fault("loss", share=0.1, form_s=3), ["form_s"]),
        (fault("loss", share=1.5), ["share 1.5"]),
        (fault("loss"), ["share"]),
        (fault("silence", from_s=5, to_s=4), ["to_s 4"]),
        (fault("silence", from_s=5, to_s=8, every_s=2), ["every_s"]),
        (fault("reboot"), ["at_s"]),
        (fault("battery", at_s=1, percent=101), ["percent 101"]),
        (fault("clumps", interval_s=0), ["interval_s 0"]),
        (fault("saturation"), ["gyr_deg_s or acc_g"]),
        (fault("rate-error", percent=40), ["percent"]),
        ("mtu = 22", ["mtu 22"]),
        ("fault = =", ["not TOML"]),
    ],
)
def test_a_bad_script_names_the_key(text: str, says: list[str]) -> None:
    with pytest.raises(BadToml) as caught:
        parse_faults(text, "mine.toml")
    line = str(caught.value)
    assert line.startswith("mine.toml: ")
    assert "\n" not in line
    for part in says:
        assert part in line


def test_a_script_for_a_sensor_that_is_not_there_is_refused() -> None:
    script = parse_faults(fault("loss", share=0.1, sensors='["left_foot"]'), "mine.toml")
    with pytest.raises(BadToml, match=r"left_foot.*pelvis"):
        script.check_names(("pelvis",), "mine.toml")


# ── packets ──────────────────────────────────────────────────────────────────────────────────────────────────────


def test_h01_loss_is_counted_for_the_sensor_that_has_it() -> None:
    """8 % of the packets of one of three sensors, from 20 s on."""
    text = fault("loss", share=0.08, from_s=20, sensors='["SYN-1"]')
    lost = {}
    for name in ("SYN-1", "SYN-2", "SYN-3"):
        got = list(disturbed(iter(stream(120)), parse_faults(text, "x"), HOUSE, name))
        blocks, _, decoder = decode([RawPacket("a", at, data) for at, data in got])
        lost[name] = decoder.counts.lost
        gaps = sum(int((block.flags & Flag.GAP_BEFORE).any()) for block in blocks)
        assert (gaps > 0) == (name == "SYN-1")
    assert lost["SYN-1"] / 20_000 == pytest.approx(0.08, abs=0.015)
    assert lost["SYN-2"] == lost["SYN-3"] == 0


def test_nothing_comes_earlier_than_it_was_due_and_all_in_order() -> None:
    text = fault("clumps", interval_s=0.03) + "\n" + fault("swap", share=0.1) + "\n"
    text += fault("duplicates", share=0.1) + "\n" + fault("stall", from_s=5, to_s=5.4)
    got = after(text)
    times = [at for at, _ in got]
    assert times == sorted(times)
    due = {data: at for at, data in stream(60)}
    assert all(at >= due[data] for at, data in got)
    assert len(set(due) - {data for _, data in got}) <= 1  # the last one may wait for ever
    assert len(got) > len(due)


def test_clumps_and_a_stall() -> None:
    got = after(fault("clumps", interval_s=0.06, to_s=30) + "\n" + fault("stall", from_s=40, to_s=40.5))
    early = [at for at, _ in got if at < 29_000_000_000]
    assert all(at % 60_000_000 == 0 for at in early)
    assert not [at for at, _ in got if 40_000_000_000 <= at < 40_500_000_000]
    assert sum(at == 40_500_000_000 for at, _ in got) >= 25


def test_a_swap_is_put_right_by_the_decoder() -> None:
    blocks, rejected, decoder = decode([RawPacket("a", at, data) for at, data in after(fault("swap", share=0.02))])
    assert decoder.counts.reordered > 10
    assert decoder.counts.lost == 0
    assert not rejected
    assert np.diff(np.concatenate([block.tick for block in blocks])).min() > 0


def test_a_cut_packet_is_rejected_and_known_as_lost() -> None:
    _, rejected, decoder = decode([RawPacket("a", at, data) for at, data in after(fault("garbled", share=0.02))])
    assert len(rejected) > 20
    assert decoder.counts.lost == 4 * len(rejected)


def test_silence_comes_again() -> None:
    got = [at * 1e-9 for at, _ in after(fault("silence", from_s=5, to_s=6, every_s=10))]
    assert not [t for t in got if t % 10 >= 5 and t % 10 < 6]
    assert len(got) == 3000 - 6 * 50


def test_a_clock_drifts_by_what_is_said_and_stops_at_the_end() -> None:
    blocks, _, _ = decode([RawPacket("a", at, data) for at, data in after(fault("clock-drift", ppm=100, to_s=30))])
    ticks = np.concatenate([block.tick for block in blocks])
    assert ticks[-1] - (len(ticks) - 1) * 5000 == pytest.approx(3000, abs=3)


def test_a_reboot_begins_the_counters_anew() -> None:
    got = after(fault("reboot", at_s=20, away_s=1.0))
    first = next(data for at, data in got if at >= 21_000_000_000)
    assert first[2:8] == bytes(6)
    blocks, _, _ = decode([RawPacket("a", at, data) for at, data in got if not 20 <= at * 1e-9 < 21])
    assert sum(int((block.flags & Flag.RESTART).any()) for block in blocks) == 1


def test_values_stick_saturate_and_change_their_range() -> None:
    text = fault("stuck", from_s=10, to_s=12) + "\n" + fault("saturation", from_s=20, to_s=30, gyr_deg_s=100)
    text += "\n" + fault("wrong-range", from_s=40, to_s=50, gyr=8.0, acc=0.25)
    blocks, _, _ = decode([RawPacket("a", at, data) for at, data in after(text)])
    plain, _, _ = decode([RawPacket("a", at, data) for at, data in stream(60)])
    t = np.array([block.host_ns for block in blocks]) * 1e-9
    stuck = np.concatenate([b.gyr_rad_s for b, s in zip(blocks, t, strict=True) if 10 <= s < 12])
    assert (stuck == stuck[0]).all()
    for b, p, s in zip(blocks, plain, t, strict=True):
        if 20 <= s < 30:
            beyond = np.abs(p.gyr_rad_s) >= np.radians(100)
            assert ((b.flags & Flag.SATURATED) > 0).tolist() == beyond.any(axis=1).tolist()
        elif 40 <= s < 50:
            np.testing.assert_allclose(b.acc_m_s2, p.acc_m_s2 / 4, atol=0.004)
        elif not 10 <= s < 12:
            np.testing.assert_array_equal(b.gyr_rad_s, p.gyr_rad_s)


def test_the_same_script_gives_the_same_day_and_another_seed_another() -> None:
    text = fault("loss", share=0.1)
    assert after(text) == after(text)
    assert after(text) != after("seed = 2\n" + text)
    assert after(text, name="SYN-1") != after(text, name="SYN-2")


# ── links ────────────────────────────────────────────────────────────────────────────────────────────────────────


def played(text: str, until_s: float = 20.0) -> tuple[list[LinkState], list[bytes], list[Packet]]:
    """Two sensors under a script; states and packets of the first, and what it was given to send."""
    script = parse_faults(text, "test")
    sent = payloads(int(until_s * 50), 1)

    async def run() -> tuple[list[LinkState], list[bytes]]:
        one = sensor("SYN-1", list(disturbed(iter(sent), script, HOUSE, "SYN-1")))
        two = sensor("SYN-2", payloads(int(until_s * 50), 2))
        async with world([one, two], ManualClock(), limits=QUICK, mtu=script.mtu or 247) as here:
            here.virtual.plan(mishaps(script, [one, two], until_s))
            await here.connect(2)
            await here.virtual.play(round(until_s * 1e9))
            await here.until(lambda: here.radio.links[0].streaming)
            assert here.packets("SYN-2") == payloads(int(until_s * 50), 2)
            assert one.delivered == len(here.packets("SYN-1"))
            return here.states("SYN-1"), [data for _, data in here.packets("SYN-1")]

    states, got = asyncio.run(run())
    return states, got, sent


@pytest.mark.parametrize(("callback", "noticed"), [("true", S.LOST), ("false", S.SILENT)])
def test_a_disconnect_with_and_without_the_computer_being_told(callback: str, noticed: LinkState) -> None:
    states, got, sent = played(fault("disconnect", at_s=4, away_s=2, callback=callback, sensors='["SYN-1"]'))
    assert states[:3] == [S.CONNECTED, S.STREAMING, noticed]
    assert S.STREAMING in states[3:]
    assert len(got) > 500
    assert set(got) < {data for _, data in sent}


def test_a_reboot_is_set_up_again_and_counts_from_nothing() -> None:
    states, got, _ = played(fault("reboot", at_s=4, away_s=1, sensors='["SYN-1"]'))
    assert states[:3] == [S.CONNECTED, S.STREAMING, S.LOST]
    numbers = [int.from_bytes(data[2:4], "little") for data in got]
    falls = [k for k in range(1, len(numbers)) if numbers[k] < numbers[k - 1]]
    assert len(falls) == 1


def test_a_battery_that_runs_down() -> None:
    script = parse_faults(fault("battery", at_s=1, percent=9), "test")

    async def run() -> int:
        one = sensor("SYN-1", payloads(200, 1))
        async with world([one]) as here:
            here.virtual.plan(mishaps(script, [one], 4.0))
            await here.connect(1)
            await here.virtual.play(4_000_000_000)
        return one.battery_percent

    assert asyncio.run(run()) == 9
