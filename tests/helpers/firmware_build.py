"""The firmware's sources compiled: for this computer, for a Cortex-M4, with or without faults planted."""

from __future__ import annotations

import os
import shutil
import subprocess
from collections.abc import Sequence
from pathlib import Path

import pytest

NOTES = Path(__file__).parents[2] / "firmware_notes"
HERE = Path(__file__).parents[1] / "firmware"
ENCODER, APPLICATION, PORTS = NOTES / "encoder", NOTES / "application", NOTES / "ports"
STRICT = ("-std=c99", "-pedantic", "-Wall", "-Wextra", "-Wconversion", "-Werror")
INCLUDES = (f"-I{APPLICATION}", f"-I{ENCODER}", f"-I{PORTS}")
CORTEX_M4 = ("-mcpu=cortex-m4", "-mthumb", "-Os", "-ffreestanding")
SANITIZED = ("-fsanitize=address,undefined", "-fno-sanitize-recover=all")
CC = shutil.which("gcc") or shutil.which("cc")
ARM = shutil.which("arm-none-eabi-gcc")
MUST = os.environ.get("IMUFEEDBACK_REQUIRE_COMPILERS") == "1"

needs_cc = pytest.mark.skipif(CC is None and not MUST, reason="there is no C compiler here")
needs_arm = pytest.mark.skipif(ARM is None and not MUST, reason="there is no arm-none-eabi-gcc here")


def needs(program: str) -> pytest.MarkDecorator:
    return pytest.mark.skipif(shutil.which(program) is None and not MUST, reason=f"there is no {program} here")


def run(*command: str | Path, text: str = "", seconds: float = 120, folder: Path | None = None) -> str:
    done = subprocess.run(command, input=text, capture_output=True, text=True, timeout=seconds, check=False, cwd=folder)
    assert done.returncode == 0, done.stdout + done.stderr
    return done.stdout


def sources() -> list[Path]:
    """The application with its encoder, without a port."""
    return [*sorted(APPLICATION.glob("*.c")), *sorted(ENCODER.glob("*.c"))]


WRAPPED = (
    *("sensor_read", "sensor_write", "sensor_disconnected", "sensor_subscribed"),
    *("port_notify", "port_advertise", "table"),
)
"""What `mistakes.c` stands in front of: the linker puts it there, the sources stay as they are."""


def desktop(target: Path, *flags: str, mistakes: bool = False) -> Path:
    """The sensor as a process."""
    more: Sequence[Path | str] = ()
    if mistakes:
        more = (HERE / "mistakes.c", *(f"-Wl,--wrap={name}" for name in WRAPPED))
    main = (PORTS / "frames.c", PORTS / "desktop" / "main.c")
    run(CC or "gcc", *STRICT, *INCLUDES, "-O1", *flags, *sources(), *main, *more, "-o", target)
    return target


def emulated(target: Path) -> Path:
    """The same for a bare Cortex-M4."""
    parts = (*sources(), PORTS / "frames.c", PORTS / "emulator" / "main.c")
    link = ("-nostdlib", f"-Wl,-T,{PORTS / 'emulator' / 'memory.ld'}")
    run(ARM or "arm-none-eabi-gcc", *STRICT, *INCLUDES, *CORTEX_M4, *link, *parts, "-lgcc", "-o", target)
    return target
