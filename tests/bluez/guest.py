"""A computer with a real Bluetooth stack: user-mode Linux with the kernel's HCI, BlueZ and bleak's own backend, against
virtual sensors behind /dev/vhci. Needs no root, no virtualisation and no hardware."""

from __future__ import annotations

import json
import os
import re
import shutil
import subprocess
import sys
import time
from collections.abc import Iterator, Sequence
from contextlib import contextmanager
from dataclasses import dataclass
from pathlib import Path
from typing import Any

from imufeedback.ble.roster import FILE, Roster
from imufeedback.records import Segment

HERE = Path(__file__).parent
CHECKOUT = HERE.parents[1]
NEEDED = ("dpkg-deb", "dbus-daemon", "dbus-uuidgen", "bash")
TO_PREPARE = ("apt-get", "gcc", "make", "bc", "perl", "xz")
PREPARE_S, BOOT_S, LOOK_S = 1800, 240, 0.05
MEMORY = "1500M"
SLOW = float(os.environ.get("IMUFEEDBACK_SLOW", "1"))
"""Waits are so much longer on a machine that is busy; limits are not."""
RAW = re.compile(
    r"org\.(bluez|freedesktop)|\bBleak|\bdev(_[0-9A-F]{2}){6}|/org/|\b[Dd]-?[Bb]us\b|ProtocolErrorCode|EOFError|Traceback|"
    r"\bNone\b|Errno|asyncio|<\w+ object"
)
"""What comes from a library and means nothing to a golfer."""


MEASURED: list[str] = []
"""What the tests have measured: told at the end of the run."""


class CannotRun(Exception):
    """There can be no guest here, and why."""


def folder() -> Path:
    """Of what the guest is made of: IMUFEEDBACK_BLUEZ, or in the user's cache."""
    cache = os.environ.get("XDG_CACHE_HOME") or Path.home() / ".cache"
    return Path(os.environ.get("IMUFEEDBACK_BLUEZ") or Path(cache) / "imufeedback" / "bluez")


def ready() -> Path:
    """The kernel, its modules and BlueZ; made when they are missing. Raises CannotRun."""
    made = folder() / "ready"
    missing = [name for name in NEEDED if shutil.which(name) is None]
    if not made.is_dir():
        missing += [name for name in TO_PREPARE if shutil.which(name) is None]
    if missing or sys.platform != "linux":
        raise CannotRun(f"the guest needs Debian with {', '.join(missing) or 'Linux'}")
    if not made.is_dir():
        done = subprocess.run(
            [HERE / "prepare.sh", folder()], capture_output=True, text=True, timeout=PREPARE_S * SLOW, check=False
        )
        if done.returncode:
            raise CannotRun(f"the guest could not be made: {done.stderr.strip()[-500:]}")
    return made


@dataclass(frozen=True)
class Ended:
    """A command of the guest. Times are the guest's own clock."""

    status: int
    out: str
    begun: float
    ended: float
    air: dict[str, Any]


class Running:
    """A command that may still run."""

    def __init__(self, guest: Guest, path: Path, what: str) -> None:
        self._guest, self._path, self.what = guest, path, what
        self._end = path.with_suffix(".end")

    @property
    def out(self) -> str:
        path = self._path.with_suffix(".out")
        return path.read_text(errors="replace") if path.exists() else ""

    @property
    def over(self) -> bool:
        return self._end.exists()

    def wait(self, seconds: float = 60) -> Ended:
        self._guest.until(lambda: self.over, f"{self.what} has ended", seconds)
        return Ended(**{"air": {}, "out": self.out} | json.loads(self._end.read_text()))

    def signal(self, name: str = "INT") -> None:
        """To all that it has started."""
        self._guest.run(f"kill -{name} -{self._path.with_suffix('.pid').read_text()}")

    def says(self, text: str, seconds: float = 60, times: int = 1) -> None:
        """Wait until it has said that."""
        self._guest.until(
            lambda: len(re.findall(text, self.out)) >= times or self.over, f"{self.what} says {text}", seconds
        )
        assert len(re.findall(text, self.out)) >= times, self.out


class Guest:
    """One guest, from boot to power-off; between tests its Bluetooth is made new."""

    def __init__(self, made: Path, share: Path) -> None:
        self.share = share
        self._told: list[Running] = []
        """The product's own commands since the computer was new: what people have read."""
        self.home = "/var/guest"
        self._count = 0
        self._running: dict[str, Running] = {}
        share.mkdir()
        self._console = (share / "console").open("wb")
        self._kernel = subprocess.Popen(
            [
                *(made / "kernel", f"mem={MEMORY}", "root=/dev/root", "rootfstype=hostfs", "rootflags=/", "ro"),
                *("con0=null,fd:1", "con=null", "quiet", "panic=-1", f"init={HERE / 'start.sh'}"),
                *(f"READY={made}", f"SHARE={share}", f"PYTHON={sys.executable}", f"CHECKOUT={CHECKOUT}"),
            ],
            stdin=subprocess.DEVNULL,
            stdout=self._console,
            stderr=self._console,
            env={"PATH": os.environ["PATH"], "TMPDIR": "/dev/shm", "HOME": str(share)},
            start_new_session=True,
        )
        self.until((share / "up").exists, "the guest is up", BOOT_S)

    def shut_down(self) -> None:
        (self.share / "down").touch()
        try:
            self._kernel.wait(30 * SLOW)
        except subprocess.TimeoutExpired:
            os.killpg(self._kernel.pid, 9)
            self._kernel.wait()
        self._console.close()

    def until(self, true: Any, what: str, seconds: float = 60) -> None:
        end = time.monotonic() + seconds * SLOW
        while not true():
            alive = self._kernel.poll() is None
            assert alive, f"the guest has died: {(self.share / 'console').read_text(errors='replace')[-2000:]}"
            assert time.monotonic() < end, f"waited {seconds * SLOW:.0f} s in vain: {what}"
            time.sleep(LOOK_S)

    # ── commands ──

    def begin(self, command: str, seconds: float = 600, **environment: str) -> Running:
        return self._ask({"run": command, "seconds": seconds * SLOW, "environment": environment}, command)

    def _ask(self, request: dict[str, Any], what: str) -> Running:
        self._count += 1
        path = self.share / f"{self._count:05}"
        path.with_suffix(".new").write_text(json.dumps(request))
        path.with_suffix(".new").rename(path.with_suffix(".ask"))
        return Running(self, path, what)

    def run(self, command: str, seconds: float = 60, **environment: str) -> Ended:
        return self.begin(command, seconds, **environment).wait(seconds + 10)

    def start(self, *words: str) -> Running:
        """The product's own command line."""
        running = self.begin(
            f"exec {sys.executable} -m imufeedback {' '.join(words)}",
            PYTHONPATH=str(CHECKOUT),
            IMUFEEDBACK_HOME=self.home,
            COLUMNS="200",
            NO_COLOR="1",
        )
        self._told.append(running)
        return running

    def imufeedback(self, *words: str, status: int | None = 0, seconds: float = 90) -> Ended:
        ended = self.start(*words).wait(seconds)
        assert status is None or ended.status == status, ended.out
        return ended

    def fetch(self, pattern: str) -> list[Path]:
        """Files of the person's data folder, brought out."""
        self._count += 1
        folder = self.share / f"fetched{self._count}"
        folder.mkdir()
        self.run(f"cp {self.home}/{pattern} /mnt/share/{folder.name}/")
        return sorted(folder.iterdir())

    @property
    def raw(self) -> list[str]:
        """What people have read that has something raw in it."""
        return [line for one in self._told for line in one.out.splitlines() if RAW.search(line)]

    def measured(self, line: str) -> None:
        MEASURED.append(line)

    def knows(self, *sensors: tuple[str, Segment], layout: str = "house") -> None:
        """Who trains here has these already; the first one was met at the first address, and so on."""
        roster = Roster(self.share / FILE)
        for k, (serial, place) in enumerate(sensors, start=1):
            roster.meet(serial, {"address": f"C0:00:00:00:00:{k:02X}", "serial": serial}, layout)
            roster.assign(serial, place)
        roster.save(lambda path, data: path.write_bytes(data) and None)
        self.run(f"cp /mnt/share/{FILE} {self.home}/")

    # ── the air ──

    def air(self, *words: object) -> dict[str, Any]:
        return self._ask({"air": " ".join(map(str, words))}, "the air").wait(30).air

    def sensors(self) -> list[dict[str, Any]]:
        told = self.air("told")["sensors"]
        assert isinstance(told, list)
        return told

    def stood_still_s(self, since: float, until: float) -> float:
        """How long this whole computer did not get a processor between two of its times."""
        rows = [[float(x) for x in line.split()] for line in (self.share / "pulse").read_text().splitlines()]
        return sum(max(0.0, min(at + late, until) - max(at, since)) for at, late in rows)

    def streams(self, which: Sequence[int], after: float = 0.0, seconds: float = 60) -> float:
        """Wait until these have begun to send again after that time; the time of the last to do so."""
        now: list[dict[str, Any]] = []

        def all_do() -> bool:
            now[:] = self.sensors()
            return all(now[k]["listening"] and now[k]["again"] > after for k in which)

        self.until(all_do, f"sensors {which} stream", seconds)
        return max(float(now[k]["again"]) for k in which)

    # ── the services ──

    def _keep(self, name: str, command: str, **environment: str) -> Running:
        self._running[name] = self.begin(command, 3600, **environment)
        return self._running[name]

    def stop(self, name: str, signal: str = "TERM") -> None:
        running = self._running.pop(name, None)
        if running is not None and not running.over:
            running.signal(signal)
            running.wait(20)

    def start_bluetooth(self) -> float:
        """BlueZ; the time when it was started."""
        self._keep("bluetooth", "exec /usr/libexec/bluetooth/bluetoothd --nodetach")
        return self.run("true").begun

    def start_air(self, kind: str, **environment: str) -> None:
        """Sensors of this kind, and the adapter that hears them."""
        path = f"{CHECKOUT}:{CHECKOUT / 'tests' / 'helpers'}"
        running = self._keep(
            "air",
            f"exec {sys.executable} -u {HERE / 'air.py'} {kind}",
            PYTHONPATH=path,
            IMUFEEDBACK_HOME=self.home,
            **environment,
        )
        running.says("on the air", 120)
        self.until(lambda: "Powered: yes" in self.run("bluetoothctl show").out, "the adapter is on", 60)

    @contextmanager
    def fresh(self, kind: str, **environment: str) -> Iterator[Guest]:
        """A computer that has never seen a sensor, and these in reach."""
        self._count += 1
        self.home = f"/var/guest/{self._count}"
        self._told = []
        self.run(f"mkdir -p {self.home}/layouts && cp {HERE / 'light.toml'} {self.home}/layouts/")
        self.start_bluetooth()
        try:
            self.start_air(kind, **environment)
            yield self
        finally:
            for one in self._told:
                if not one.over:
                    one.signal("KILL")
            for name in ("air", "bluetooth"):
                self.stop(name)
            self.run("rm -rf /var/lib/bluetooth/* /run/air")
