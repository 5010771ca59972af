"""The application compiled and looked at: size and answers on a Cortex-M4, static analysis, coverage, fuzz."""

from __future__ import annotations

import json
import os
import re
import struct
import sys
from pathlib import Path

import pytest
from desktop_sensor import Process
from firmware_build import (
    APPLICATION,
    ARM,
    CC,
    CORTEX_M4,
    ENCODER,
    HERE,
    INCLUDES,
    PORTS,
    SANITIZED,
    STRICT,
    desktop,
    emulated,
    needs,
    needs_arm,
    needs_cc,
    run,
    sources,
)

MOST_FLASH, MOST_MEMORY = 12 * 1024, 4 * 1024
ROOT = Path(__file__).parents[2]


@needs_arm
def test_flash_and_memory_on_a_cortex_m4(tmp_path: Path) -> None:
    """The application without radio stack and port; memory is its one struct, all else it keeps, and its stack."""
    probe = tmp_path / "probe.c"
    probe.write_text('#include "sensor.h"\nstruct sensor probe;\n', encoding="utf-8")
    arm = ARM or "arm-none-eabi-gcc"
    run(arm, *STRICT, *INCLUDES, *CORTEX_M4, "-fstack-usage", "-c", *sources(), folder=tmp_path)
    stacks = [int(n) for one in tmp_path.glob("*.su") for n in re.findall(r"\t(\d+)\t", one.read_text("utf-8"))]
    run(arm, *STRICT, *INCLUDES, *CORTEX_M4, "-c", probe, "-o", tmp_path / "probe.o")
    size = run("arm-none-eabi-size", "-t", *sorted(tmp_path.glob("*.o")))
    sys.stdout.write(size)
    text, data, bss = (int(n) for n in size.splitlines()[-1].split()[:3])
    # No path is deeper than write - set - pack - add - finish - queue: the six largest together.
    stack = sum(sorted(stacks)[-6:])
    sys.stdout.write(f"flash {text + data} bytes, memory {data + bss} + {stack} of stack at most\n")
    assert 0 < text + data <= MOST_FLASH
    assert data + bss + stack <= MOST_MEMORY


SCRIPT = (
    ("i", b"AB-0042"),
    ("c", b""),
    ("m", b"\xf7\x00"),
    ("n", b"\x01"),
    *(("r", bytes([k])) for k in range(8)),
    *(("w", b"\x01" + bytes.fromhex(one)) for one in ("03c80004", "0405", "7f", "0100", "01")),
    ("s", struct.pack("<12h", *range(-6, 6))),
    ("t", struct.pack("<I", 300_000)),
    ("x", struct.pack("<BH", 2, 200)),
    ("t", struct.pack("<I", 900_000)),
    ("w", b"\x01\x03\x64\x00\x13"),
    ("t", struct.pack("<I", 600_000)),
    ("d", b""),
    ("t", struct.pack("<I", 1_500_000)),
)


def answers(process: Process) -> list[list[tuple[str, bytes]]]:
    return [process.ask(*one) for one in SCRIPT]


@needs_arm
@needs_cc
@needs("qemu-system-arm")
def test_an_emulated_cortex_m4_answers_as_this_computer(tmp_path: Path) -> None:
    program = emulated(tmp_path / "sensor.elf")
    board = ("qemu-system-arm", "-M", "mps2-an386", "-display", "none", "-monitor", "none", "-serial", "stdio")
    with Process(desktop(tmp_path / "sensor")) as here, Process(*board, "-kernel", program, endless=True) as there:
        wanted = answers(here)
        assert sum(kind == "p" for one in wanted for kind, _ in one) > 50
        assert answers(there) == wanted


@needs_arm
@needs_cc
@needs("qemu-system-arm")
def test_the_documents_vectors_on_an_emulated_cortex_m4(tmp_path: Path) -> None:
    """Samples of the profile's table go through the whole application there; a packet's rest is its number and tick."""
    text = (APPLICATION.parent / "gatt_profile.md").read_text(encoding="utf-8")
    rows = re.findall(r"^\| P\d \| \d+ \| \d+ \| [^|]+ \| [^|]+ \| `([0-9a-f ]+)` \|$", text, re.M)
    assert len(rows) >= 4
    board = ("qemu-system-arm", "-M", "mps2-an386", "-display", "none", "-monitor", "none", "-serial", "stdio")
    with Process(*board, "-kernel", emulated(tmp_path / "sensor.elf"), endless=True) as process:
        for row in rows:
            packet = bytes.fromhex(row.replace(" ", ""))
            process.power_up()
            process.ask("c")
            process.ask("m", b"\xf7\x00")
            process.ask("n", b"\x01")
            assert process.write(b"\x03\xc8\x00" + packet[1:2]) == 0
            process.measure([struct.unpack_from("<6h", packet, 8 + 12 * k) for k in range(packet[1])])
            assert process.write("01") == 0
            (sent,) = process.packets(0.005 * packet[1] + 0.001)
            assert sent[8:] == packet[8:]
            assert sent[:2] == packet[:2]


@needs_cc
def test_the_compilers_own_analysis_finds_nothing(tmp_path: Path) -> None:
    ports = (PORTS / "frames.c", PORTS / "desktop" / "main.c")
    run(CC or "gcc", *STRICT, *INCLUDES, "-O2", "-fanalyzer", "-c", *sources(), *ports, folder=tmp_path)


@needs("cppcheck")
def test_cppcheck_finds_nothing() -> None:
    kinds = ("--enable=warning,style,performance,portability", "--std=c99", "--error-exitcode=1", "-q")
    run("cppcheck", *kinds, *INCLUDES, APPLICATION, ENCODER, PORTS)


@needs_cc
@needs("gcov")
def test_coverage_by_the_desktop_ports_tests(tmp_path: Path) -> None:
    """Lines and branches of application and encoder that `test_application.py` runs; prints both."""
    run(CC or "gcc", *STRICT, *INCLUDES, "-O0", "--coverage", "-c", *sources(), folder=tmp_path)
    ports = (PORTS / "frames.c", PORTS / "desktop" / "main.c")
    program = tmp_path / "sensor"
    run(CC or "gcc", *STRICT, *INCLUDES, "--coverage", *tmp_path.glob("*.o"), *ports, "-o", program, folder=tmp_path)
    test = (sys.executable, "-m", "pytest", "-n0", "-q", "-p", "no:cacheprovider", HERE / "test_application.py")
    environment = {**os.environ, "IMUFEEDBACK_FIRMWARE": str(program)}
    run("env", *(f"{key}={value}" for key, value in environment.items()), *test, folder=ROOT, seconds=300)
    lines, branches = [], []
    for source in sources():
        told = run("gcov", "-b", "-c", "--json-format", "--stdout", f"{source.stem}.gcda", folder=tmp_path)
        for one in json.loads(told)["files"]:
            if one["file"].endswith(".c"):
                lines += [line["count"] > 0 for line in one["lines"]]
                branches += [branch["count"] > 0 for line in one["lines"] for branch in line["branches"]]
    line, branch = (100 * sum(one) / len(one) for one in (lines, branches))
    sys.stdout.write(f"{len(lines)} lines {line:.1f} %, {len(branches)} branches {branch:.1f} %\n")
    assert line >= 95
    assert branch >= 85


@pytest.fixture(scope="module", name="fuzz")
def build_the_fuzzer(tmp_path_factory: pytest.TempPathFactory) -> Path:
    target = tmp_path_factory.mktemp("fuzz") / "fuzz"
    run(CC or "gcc", *STRICT, *INCLUDES, "-O1", "-g", *SANITIZED, *sources(), HERE / "fuzz.c", "-o", target)
    return target


@needs_cc
@pytest.mark.parametrize("seed", [1, 2, 3])
def test_random_writes_and_resets_do_no_harm(fuzz: Path, seed: int) -> None:
    said = run(fuzz, str(seed), "20000")
    sys.stdout.write(said)
    taken, resets, packets = (int(n) for n in re.findall(r"(\d+) (?:taken|resets|packets)", said))
    assert taken > 1000
    assert resets > 10
    assert packets > 100


@needs_cc
@pytest.mark.full
def test_a_million_random_writes_and_resets_do_no_harm(fuzz: Path) -> None:
    assert run(fuzz, "7", "1000000", seconds=600).startswith("1000000 writes")
