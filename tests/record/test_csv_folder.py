"""Import: units from the header, and every fault of a file told in one line."""

from __future__ import annotations

import os
from pathlib import Path

import numpy as np
import pytest

from imufeedback.constants import STANDARD_GRAVITY_M_S2
from imufeedback.errors import BadFile
from imufeedback.packets.decode import Decoder
from imufeedback.record.csv_folder import lossless_layout, read_folder, to_items
from imufeedback.record.journal import JournalWriter
from imufeedback.record.replay import read_items
from imufeedback.records import Command, DeviceBlock, Flag, RawPacket, Segment, same

SI = "time_s,gyr_x_rad_s,gyr_y_rad_s,gyr_z_rad_s,acc_x_m_s2,acc_y_m_s2,acc_z_m_s2"
OTHER = "acc_x_g,acc_y_g,acc_z_g,gyr_x_deg_s,gyr_y_deg_s,gyr_z_deg_s,time_s"
ROWS = "0.00,0.1,0.2,0.3,1,9.81,2\n0.01,0.2,0.3,0.4,1,9.81,2\n0.02,0.3,0.4,0.5,1,9.81,2\n"
GOOD = f"{SI}\n{ROWS}"


def folder(tmp_path: Path, **files: str | bytes | None) -> Path:
    """A folder with three good files, changed as told; None leaves one out."""
    texts = {"pelvis": GOOD, "left_thigh": GOOD, "right_thigh": GOOD, **files}
    for name, text in texts.items():
        if text is not None:
            (tmp_path / f"{name}.csv").write_bytes(text if isinstance(text, bytes) else text.encode())
    return tmp_path


def test_reads_what_stands_there(tmp_path):
    series = read_folder(folder(tmp_path))
    assert list(series) == [Segment.PELVIS, Segment.LEFT_THIGH, Segment.RIGHT_THIGH]
    one = series[Segment.PELVIS]
    np.testing.assert_array_equal(one.t_s, [0.0, 0.01, 0.02])
    np.testing.assert_array_equal(one.gyr_rad_s, [[0.1, 0.2, 0.3], [0.2, 0.3, 0.4], [0.3, 0.4, 0.5]])
    np.testing.assert_array_equal(one.acc_m_s2, [[1, 9.81, 2]] * 3)
    assert one.notes == ()
    assert not one.t_s.flags.writeable


def test_units_and_places_come_from_the_header(tmp_path):
    """1 g is 9.80665 m/s² by definition (3rd CGPM 1901), 180 degrees are pi."""
    text = f"{OTHER}\n1,0,-1,180,90,0,0.5\n"
    one = read_folder(folder(tmp_path, pelvis=text))[Segment.PELVIS]
    np.testing.assert_allclose(one.gyr_rad_s, [[np.pi, np.pi / 2, 0]])
    np.testing.assert_allclose(one.acc_m_s2, [[9.80665, 0, -9.80665]])
    assert STANDARD_GRAVITY_M_S2 == 9.80665
    assert one.t_s[0] == 0.5


def test_byte_order_mark_capitals_blank_lines_and_spaces(tmp_path):
    text = "\ufeff" + GOOD.replace(",", ", ").replace("\n", "\r\n") + "\r\n\r\n"
    assert len(read_folder(folder(tmp_path, pelvis=None, Pelvis=text))[Segment.PELVIS].t_s) == 3


def test_missing_numbers_are_kept_as_nan_with_a_note(tmp_path):
    text = GOOD.replace("0.2,0.3,0.4,1,9.81,2\n0.02", ",nan,0.4,1,9.81,2\n0.02")
    one = read_folder(folder(tmp_path, pelvis=text))[Segment.PELVIS]
    assert np.isnan(one.gyr_rad_s[1, :2]).all()
    assert one.gyr_rad_s[1, 2] == 0.4
    assert one.notes == ("pelvis.csv: 1 sample(s) without a number, the first at 0.01 s; taken as not valid",)


def test_columns_that_are_not_used_are_told(tmp_path):
    text = "".join(
        line + more + "\n"
        for line, more in zip(GOOD.splitlines(), [",mag_x_uT,gyr_x_raw", ",1,a", ",2,b", ",3,c"], strict=True)
    )
    assert read_folder(folder(tmp_path, pelvis=text))[Segment.PELVIS].notes == (
        "pelvis.csv: not used: mag_x_uT, gyr_x_raw",
    )


def row(cells: str) -> str:
    """A good file whose third row is another."""
    return "\n".join([*GOOD.splitlines()[:2], cells, *GOOD.splitlines()[3:]]) + "\n"


@pytest.mark.parametrize(
    ("text", "place", "words"),
    [
        ("", "pelvis.csv", "empty"),
        ("\n\n", "pelvis.csv", "empty"),
        (SI + "\n", "pelvis.csv", "no samples"),
        (GOOD.replace("gyr_y_rad_s", "rate_y"), "pelvis.csv, row 1", "gyr_y_… is missing.*gyr_y_rad_s or gyr_y_deg_s"),
        (GOOD.replace("time_s", "t"), "pelvis.csv, row 1", "time_… is missing.*time_s"),
        (GOOD.replace("acc_z_m_s2", "acc_z_mg"), "pelvis.csv, row 1", "acc_z_mg.*'mg'.*acc_z_m_s2 or acc_z_g"),
        (GOOD.replace("time_s", "time_ms"), "pelvis.csv, row 1", "'ms'"),
        (GOOD.replace("acc_z_m_s2", "acc_y_g"), "pelvis.csv, row 1", "acc_y_m_s2 and acc_y_g say the same"),
        (GOOD.replace("acc_z_m_s2", "acc_y_m_s2"), "pelvis.csv, row 1", "say the same"),
        (GOOD.replace(",", ";"), "pelvis.csv", "';'"),
        (row("0.01,0.2,x,0.4,1,9.81,2"), "pelvis.csv, row 3, column gyr_y_rad_s", "'x' is no number"),
        (row('0.01,"1.234,5",0,0.4,1,9.81,2'), "pelvis.csv, row 3, column gyr_x_rad_s", "no number.*decimal dot"),
        (row("0.01,1_000,0,0.4,1,9.81,2"), "pelvis.csv, row 3, column gyr_x_rad_s", "no number"),
        (row("0,01,0,2,0,3,0,4,1,9,81,2"), "pelvis.csv, row 3", "12 cells.*has 7"),
        (row("0.01,0.2"), "pelvis.csv, row 3", "2 cells"),
        (row(",0.2,0.3,0.4,1,9.81,2"), "pelvis.csv, row 3, column time_s", "no number"),
        (row("nan,0.2,0.3,0.4,1,9.81,2"), "pelvis.csv, row 3, column time_s", "no number"),
        (row("-0.01,0.2,0.3,0.4,1,9.81,2"), "pelvis.csv, row 3, column time_s", "negative"),
        (row("0.00,0.2,0.3,0.4,1,9.81,2"), "pelvis.csv, row 3, column time_s", "twice"),
        (row("0.05,0.2,0.3,0.4,1,9.81,2"), "pelvis.csv, row 4, column time_s", "goes back from 0.05 s to 0.02 s"),
        (b"\xff\xfe\x00\x01", "pelvis.csv", "UTF-8"),
        (GOOD.encode("utf-16"), "pelvis.csv", "UTF-8"),
    ],
)
def test_a_bad_file_is_told_in_one_line(tmp_path, text, place, words):
    with pytest.raises(BadFile, match=words) as caught:
        read_folder(folder(tmp_path, pelvis=text))
    line = str(caught.value)
    assert "\n" not in line
    assert line.startswith(str(tmp_path))
    assert f"{place}:" in line
    assert " – " in line, "says what to try"


@pytest.mark.parametrize(
    ("files", "words"),
    [
        ({"pelvis": None}, "pelvis.csv is missing"),
        ({"left_thigh": None}, "left_thigh.csv is missing"),
        ({"pelvis": None, "right_thigh": None}, "pelvis.csv and right_thigh.csv are missing"),
        ({"head": GOOD}, "'head' is no segment.*left_shank.csv"),
        ({"PELVIS": GOOD}, "two files for pelvis"),
    ],
)
def test_a_folder_with_the_wrong_files(tmp_path, files, words):
    with pytest.raises(BadFile, match=words):
        read_folder(folder(tmp_path, **files))


def test_no_folder(tmp_path):
    with pytest.raises(BadFile, match="no such folder"):
        read_folder(tmp_path / "none")
    (tmp_path / "file").write_text("x")
    with pytest.raises(BadFile, match="no folder"):
        read_folder(tmp_path / "file")


def decoded(items: list[RawPacket], sensor: str) -> list[DeviceBlock]:
    decoder = Decoder(sensor, lossless_layout(), 0)
    out = [one for packet in items if packet.sensor == sensor for one in decoder.feed(packet)] + decoder.finish()
    assert all(isinstance(one, DeviceBlock) for one in out)
    return out


def test_items_carry_every_number_unchanged_in_order_of_time(tmp_path):
    rng = np.random.default_rng(3)
    texts, values = {}, {}
    for k, name in enumerate(("pelvis", "left_thigh", "right_thigh")):
        t_s = np.round(0.013 * k + np.arange(1, 41 + k) * 0.01, 6)
        data = np.column_stack([t_s, rng.normal(size=(t_s.size, 6))])
        data[7, 2] = np.nan
        values[name] = data
        texts[name] = SI + "\n" + "".join(",".join(map(repr, line)) + "\n" for line in data.tolist())
    begin, *packets = to_items(read_folder(folder(tmp_path, **texts)), Command(0, "begin", {"hand": "left"}))
    assert begin == Command(0, "begin", {"hand": "left"})
    assert [one.host_ns for one in packets] == sorted(one.host_ns for one in packets)
    for name, data in values.items():
        blocks = decoded(packets, name)
        tick = np.concatenate([one.tick for one in blocks])
        np.testing.assert_array_equal(tick, np.rint(data[:, 0] * 1e9).astype(int))
        flags = np.concatenate([one.flags for one in blocks])
        good = np.flatnonzero(flags == Flag.OK)
        assert good.size == len(data) - 1
        assert flags[7] & Flag.INVALID
        np.testing.assert_array_equal(np.vstack([one.gyr_rad_s for one in blocks])[good], data[good, 1:4])
        np.testing.assert_array_equal(np.vstack([one.acc_m_s2 for one in blocks])[good], data[good, 4:])
        last = [one.host_ns for one in packets if one.sensor == name][-1]
        assert last == round(data[-1, 0] * 1e9), "host time of a packet is that of its last sample"


def test_h38_epoch_seconds_keep_their_steps(tmp_path):
    t_s = [1_760_000_000 + 0.01 * k for k in range(50)]
    text = SI + "\n" + "".join(f"{t:.2f},0,0,0,0,9.8,0\n" for t in t_s)
    items = list(
        to_items(read_folder(folder(tmp_path, pelvis=text, left_thigh=text, right_thigh=text)), Command(0, "begin", {}))
    )
    tick = np.concatenate([one.tick for one in decoded([one for one in items if isinstance(one, RawPacket)], "pelvis")])
    np.testing.assert_allclose(np.diff(tick), 10_000_000, atol=300)  # float64 resolves 0.24 µs at this size


def test_through_a_recording_and_back(tmp_path):
    items = list(to_items(read_folder(folder(tmp_path)), Command(0, "begin", {})))
    with JournalWriter(tmp_path / "a.mcap") as journal:
        for one in items:
            journal.write(one)
    assert same(list(read_items(journal.path)), items)


def shared_data() -> Path:
    return Path(os.environ.get("IMUFEEDBACK_DATA", "../shared/data"))


@pytest.mark.skipif(
    not shared_data().is_dir() and os.environ.get("IMUFEEDBACK_REQUIRE_DATA") != "1",
    reason="the folder with outside recordings is not here",
)
def test_a_real_persons_walk_is_read():
    series = read_folder(shared_data() / "human_walk")
    assert len(series) == 5
    for one in series.values():
        assert len(one.t_s) == 10_000
        np.testing.assert_allclose(np.diff(one.t_s), 0.01, atol=1e-9)
        still = (one.t_s > 41) & (one.t_s < 43)
        assert np.linalg.norm(one.acc_m_s2[still], axis=1).mean() == pytest.approx(9.8, abs=0.3)
