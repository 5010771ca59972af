"""Does inside the guest what the test asks for: one JSON file a request, what a command says goes to a file beside it.

Files, because a folder is all that both sides have in common; the guest has no network.
"""

from __future__ import annotations

import json
import os
import signal
import socket
import subprocess
import sys
import threading
import time
from pathlib import Path
from typing import Any

LOOK_S = 0.05


def main(share: Path) -> None:
    threading.Thread(target=pulse, args=(share / "pulse",), daemon=True).start()
    (share / "up").touch()
    done: set[str] = set()
    while not (share / "down").exists():
        for path in sorted(share.glob("*.ask")):
            if path.name in done:
                continue
            try:
                request = json.loads(path.read_text())
            except FileNotFoundError:
                continue  # a listing of the other side's files may be older than the files
            done.add(path.name)
            threading.Thread(target=answer, args=(path.with_suffix(""), request), daemon=True).start()
        time.sleep(LOOK_S)


def pulse(path: Path) -> None:
    """When this whole computer stood still, and for how long: the one that it runs on had other things to do."""
    os.sched_setscheduler(0, os.SCHED_FIFO, os.sched_param(20))
    with path.open("w", buffering=1) as out:
        while True:
            before = time.monotonic()
            time.sleep(LOOK_S)
            late = time.monotonic() - before - LOOK_S
            if late > LOOK_S:
                out.write(f"{before:.3f} {late:.3f}\n")


def answer(path: Path, request: dict[str, Any]) -> None:
    begun = time.monotonic()
    if "air" in request:
        with socket.socket(socket.AF_UNIX) as line:
            line.connect("/run/air")
            line.sendall(request["air"].encode() + b"\n")
            end: dict[str, Any] = {"status": 0, "air": json.loads(line.makefile().readline())}
    else:
        end = {"status": run(path, request)}
    # the other side must not read half of it
    half = path.with_suffix(".half")
    half.write_text(json.dumps(end | {"begun": begun, "ended": time.monotonic()}))
    half.rename(path.with_suffix(".end"))


def ordinary() -> None:
    os.sched_setscheduler(0, os.SCHED_OTHER, os.sched_param(0))


def run(path: Path, request: dict[str, Any]) -> int:
    with path.with_suffix(".out").open("wb") as out:
        process = subprocess.Popen(
            ["/bin/bash", "-c", request["run"]],
            stdin=subprocess.DEVNULL,
            stdout=out,
            stderr=subprocess.STDOUT,
            env=os.environ | request["environment"],
            start_new_session=True,
            preexec_fn=ordinary,
        )
        path.with_suffix(".pid").write_text(str(process.pid))
        try:
            return process.wait(request["seconds"])
        except subprocess.TimeoutExpired:
            os.killpg(process.pid, signal.SIGKILL)
            return -signal.SIGKILL


if __name__ == "__main__":
    main(Path(sys.argv[1]))
