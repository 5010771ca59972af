"""The reference encoder in C: compiled here, its packets against this tool's decoder and against the document's."""

from __future__ import annotations

import re
import sys
from pathlib import Path

import numpy as np
import pytest
from firmware_build import ARM, CC, CORTEX_M4, ENCODER, NOTES, STRICT, needs_arm, needs_cc, run
from packet_streams import HOUSE, decode

from imufeedback.packets import encode
from imufeedback.records import Flag, RawPacket

GYR_STEP = np.radians(2000 / 32768)
ACC_STEP = 16 / 32768 * 9.80665


@pytest.fixture(scope="module")
def say_packets(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """The encoder with a front that reads and writes text, for this machine."""
    program = tmp_path_factory.mktemp("encoder") / "say_packets"
    source = (ENCODER / "imu_packet.c", Path(__file__).with_name("say_packets.c"))
    run(CC or "cc", *STRICT, f"-I{ENCODER}", *source, "-o", program)
    return program


def said(program: Path, lines: list[str]) -> list[str]:
    return run(program, text="\n".join(lines)).splitlines()


@needs_cc
def test_random_samples_there_and_back(say_packets: Path) -> None:
    rng = np.random.default_rng(7)
    packets = []
    for _ in range(500):
        count = int(rng.integers(1, 20))
        packets.append(
            (int(rng.integers(1 << 16)), int(rng.integers(1 << 32)), rng.integers(-32768, 32768, (count, 6)))
        )
    lines = [f"raw {seq} {tick} {len(raw)} {' '.join(map(str, raw.ravel()))}" for seq, tick, raw in packets]
    answers = said(say_packets, lines)
    for (sequence, tick, raw), answer in zip(packets, answers, strict=True):
        payload = bytes.fromhex(answer)
        assert payload[2:4] == sequence.to_bytes(2, "little")
        (block,), rejected, _ = decode([RawPacket("a", 0, payload)])
        assert not rejected
        assert block.tick[0] == tick
        np.testing.assert_allclose(block.gyr_rad_s, raw[:, :3] * GYR_STEP, atol=1e-12)
        np.testing.assert_allclose(block.acc_m_s2, raw[:, 3:] * ACC_STEP, atol=1e-12)


@needs_cc
def test_random_physical_values_are_encoded_as_here(say_packets: Path) -> None:
    """Rounded to the nearest, clipped at the ends of the range and never wrapped, byte for byte as this tool does."""
    rng = np.random.default_rng(8)
    lines, expected = [], []
    for k in range(300):
        mdps = rng.integers(-2_400_000, 2_400_000, (4, 3))
        micro_g = rng.integers(-19_000_000, 19_000_000, (4, 3))
        both = np.hstack([mdps, micro_g])
        lines.append(f"physical {k} {k * 20_000} 4 {' '.join(map(str, both.ravel()))}")
        data = encode(HOUSE, k, k * 20_000, np.radians(mdps / 1000), micro_g * 1e-6 * 9.80665)
        expected.append(np.frombuffer(data[8:], "<i2"))
    for answer, wanted in zip(said(say_packets, lines), expected, strict=True):
        found = np.frombuffer(bytes.fromhex(answer)[8:], "<i2")
        # a whole number of thousandths can lie on the middle between two steps, where floats go either way
        assert np.abs(found.astype(int) - wanted).max() <= 1
        assert np.mean(found != wanted) < 0.01


@needs_cc
def test_the_documents_vectors(say_packets: Path) -> None:
    text = (NOTES / "gatt_profile.md").read_text(encoding="utf-8")
    rows = re.findall(r"^\| (P\d) \| (\d+) \| (\d+) \| ([^|]+) \| ([^|]+) \| `([0-9a-f ]+)` \|$", text, re.M)
    assert len(rows) >= 4
    lines, expected = [], []
    for _, sequence, tick, gyr, acc, data in rows:
        six = [
            [*(round(float(n) * 1e3) for n in g.split()), *(round(float(n) * 1e6) for n in a.split())]
            for g, a in zip(gyr.split(";"), acc.split(";"), strict=True)
        ]
        lines.append(f"physical {sequence} {tick} {len(six)} {' '.join(str(n) for one in six for n in one)}")
        expected.append(data.replace(" ", ""))
    assert said(say_packets, lines) == expected


@needs_cc
def test_a_full_packet_takes_no_more_and_stays_whole(say_packets: Path) -> None:
    (answer,) = said(say_packets, ["raw 1 2 20 " + " ".join(["5"] * 120)])
    data, word = answer.split()
    assert word == "full"
    (block,), rejected, _ = decode([RawPacket("a", 0, bytes.fromhex(data))])
    assert len(block.tick) == 19
    assert not rejected


@needs_cc
def test_a_missing_sample_is_known_as_one(say_packets: Path) -> None:
    (answer,) = said(say_packets, ["raw 1 2 2 0 0 0 0 0 0 1 2 3 4 5 6"])
    (block,), _, _ = decode([RawPacket("a", 0, bytes.fromhex(answer))])
    assert block.flags.tolist() == [int(Flag.INVALID), 0]


def test_the_header_says_what_the_layout_says() -> None:
    header = (ENCODER / "imu_packet.h").read_text(encoding="utf-8")
    number = {name: int(n) for name, n in re.findall(r"#define (\w+) (\d+)[uL]*\b", header)}
    assert HOUSE.version is not None
    assert number["IMU_PACKET_VERSION"] == HOUSE.version.value
    assert number["IMU_PACKET_HEADER_BYTES"] == HOUSE.header_bytes
    assert number["IMU_PACKET_SAMPLE_BYTES"] == HOUSE.sample_bytes
    assert number["IMU_PACKET_MAX_SAMPLES"] == HOUSE.max_samples(247 - 3)
    assert number["IMU_GYR_FULL_SCALE_MDPS"] == HOUSE.gyr.full_scale * 1e3
    assert number["IMU_ACC_FULL_SCALE_UG"] == HOUSE.acc.full_scale * 1e6


@needs_arm
def test_it_fits_a_small_microcontroller(tmp_path: Path) -> None:
    """Cortex-M4 without any C library; prints the size, as `size` does."""
    target = tmp_path / "imu_packet.o"
    run(ARM or "arm-none-eabi-gcc", *STRICT, *CORTEX_M4, "-c", ENCODER / "imu_packet.c", "-o", target)
    size = run("arm-none-eabi-size", target)
    sys.stdout.write(size)
    text, data, bss = (int(n) for n in size.splitlines()[1].split()[:3])
    assert 0 < text < 1024
    assert data == bss == 0
