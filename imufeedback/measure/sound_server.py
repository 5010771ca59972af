"""A sound server of one's own with an output that nobody hears and everybody can record."""

from __future__ import annotations

import os
import shutil
import subprocess
import time
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path

from imufeedback.errors import SoundError
from imufeedback.record.unfinished import scratch_folder

SINK = "imufeedback_null"
RATE_HZ = 48_000
START_S = 15.0


def installed() -> bool:
    """Whether PulseAudio and its control program are here."""
    return all(shutil.which(one) is not None for one in ("pulseaudio", "pactl"))


@contextmanager
def null_sink() -> Iterator[Path]:
    """A PulseAudio daemon with a null sink; until it is left, this process and its children find it by the environment.

    Raises SoundError when there is no PulseAudio or it does not start.
    """
    if not installed():
        raise SoundError("PulseAudio is not installed", where="sound", hint="install pulseaudio and pulseaudio-utils")
    with scratch_folder("sound") as folder:
        home = str(folder)
        changed = {"HOME": home, "XDG_RUNTIME_DIR": home, "PULSE_SERVER": f"unix:{home}/native"}
        before = {name: os.environ.get(name) for name in changed}
        os.environ.update(changed)
        daemon = _start(folder)
        try:
            _wait(daemon)
            control("load-module", "module-null-sink", f"sink_name={SINK}", f"rate={RATE_HZ}")
            control("set-default-sink", SINK)
            yield folder
        finally:
            daemon.terminate()
            daemon.wait(10.0)
            for name, value in before.items():
                if value is None:
                    del os.environ[name]
                else:
                    os.environ[name] = value


def _start(folder: Path) -> subprocess.Popen[bytes]:
    script = folder / "server.pa"
    script.write_text(f"load-module module-native-protocol-unix socket={folder}/native auth-anonymous=1\n")
    return subprocess.Popen(
        ["pulseaudio", "-n", "-F", str(script), "--exit-idle-time=-1", "--daemonize=no", "--use-pid-file=no"],
        stdin=subprocess.DEVNULL,
        stdout=subprocess.DEVNULL,
        stderr=subprocess.DEVNULL,
    )


def _wait(daemon: subprocess.Popen[bytes]) -> None:
    until = time.monotonic() + START_S
    while subprocess.run(["pactl", "info"], capture_output=True, check=False).returncode:
        if daemon.poll() is not None or time.monotonic() > until:
            raise SoundError("PulseAudio does not start", where="sound", hint="run pulseaudio -v to see why")
        time.sleep(0.05)


def control(*arguments: str) -> None:
    """Run ``pactl``. Raises SoundError with its last line."""
    done = subprocess.run(["pactl", *arguments], capture_output=True, text=True, check=False)
    if done.returncode:
        last = done.stderr.strip().splitlines()[-1:] or ["no word"]
        raise SoundError(f"pactl {arguments[0]}: {last[0]}", where="sound")
