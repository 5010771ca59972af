"""A process that records until it is killed: ``python -m imufeedback.measure.recorder FILE NUMBER_FILE``.

What was handed over is counted in a memory-mapped file, which outlives the process.
"""

from __future__ import annotations

import mmap
import struct
import sys
import time
from pathlib import Path

from imufeedback.record.journal import JournalWriter
from imufeedback.records import RawPacket

SENSORS, PACKETS_HZ, PAYLOAD_BYTES = 3, 50, 56
COUNT = struct.Struct("<qq")
"""Packets handed over, and the host time of the last one."""


def payload(number: int) -> bytes:
    return number.to_bytes(PAYLOAD_BYTES, "little")


def main(path: Path, numbers: Path) -> None:
    numbers.write_bytes(bytes(COUNT.size))
    with open(numbers, "r+b") as file, mmap.mmap(file.fileno(), COUNT.size) as handed:
        journal = JournalWriter(path, title="to be killed")
        count, begun_ns = 0, time.monotonic_ns()
        while True:
            now_ns = time.monotonic_ns()
            while (now_ns - begun_ns) * SENSORS * PACKETS_HZ > count * 1_000_000_000:
                journal.write(RawPacket(f"SYN-{count % SENSORS}", now_ns, payload(count)))
                count += 1
                COUNT.pack_into(handed, 0, count, now_ns)
            time.sleep(0.001)


if __name__ == "__main__":
    main(Path(sys.argv[1]), Path(sys.argv[2]))
