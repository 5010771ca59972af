"""What all tests share: importable helpers, a data folder of their own, and where recordings of people lie."""

from __future__ import annotations

import logging
import os
import sys
import tempfile
import threading
import time
from collections.abc import Iterator
from pathlib import Path

from imufeedback.first_moment import one_thread_for_matrices

one_thread_for_matrices()  # before numpy

import pytest  # noqa: E402
from hypothesis import HealthCheck, settings  # noqa: E402

sys.path.insert(0, str(Path(__file__).parent / "helpers"))

_home = tempfile.TemporaryDirectory(prefix="imufeedback-tests-")
# Before any registry is asked: what a developer keeps in the real data folder must not decide a test.
os.environ["IMUFEEDBACK_HOME"] = _home.name

# How busy a machine is must not decide a test.
settings.register_profile("any machine", deadline=None, suppress_health_check=[HealthCheck.too_slow])
settings.load_profile("any machine")


@pytest.hookimpl(optionalhook=True)
def pytest_xdist_auto_num_workers(config: pytest.Config) -> int | None:
    """A process a core for whole folders; none more for single files, which are done sooner, nor for measurements and
    for the guest computer of `tests/bluez`, which want the machine for themselves."""
    asked = [Path(one.partition("::")[0]) for one in config.args]
    alone = "bench" in config.option.markexpr.replace("not bench", "") or all(one.name == "bluez" for one in asked)
    return None if all(one.is_dir() for one in asked) and not alone else 0


LONGEST_FIRST = (
    "tests/test_void.py",
    "tests/cli/test_headless.py",
    "tests/measure/test_radio.py",
    "tests/measure/latency/test_real.py",
    "tests/app/test_many_sessions.py",
    "tests/app/test_range.py",
    "tests/test_replay.py",
    "tests/measure/test_edges_radio.py",
    "tests/firmware/",
    "tests/test_hazards_of_sensors.py",
    "tests/record/library/test_bad_files.py",
    "tests/external/",
)
"""Files that take long come first, so that no process ends with one of them while the other has nothing to do."""


def pytest_collection_modifyitems(items: list[pytest.Item]) -> None:
    def place(item: pytest.Item) -> int:
        return next((k for k, name in enumerate(LONGEST_FIRST) if item.nodeid.startswith(name)), len(LONGEST_FIRST))

    items.sort(key=place)


OWN_THREADS = ("ble", "engine", "source", "journal-writer", "journal-sync", "sound-watcher", "judge")
"""Of a session, a window or a radio; libraries keep pools of their own."""
GRACE_S = 5.0
"""For threads that are ending already."""


class _Pending(logging.Handler):
    """Hears of unfinished tasks whose loop is gone."""

    def __init__(self) -> None:
        super().__init__(logging.ERROR)
        self.messages: list[str] = []

    def emit(self, record: logging.LogRecord) -> None:
        if "destroyed but it is pending" in record.getMessage():
            self.messages.append(record.getMessage())


def left_over(before: set[threading.Thread], grace_s: float = GRACE_S) -> list[str]:
    """Names of our own threads that have begun since and do not end."""
    until_s = time.monotonic() + grace_s
    while True:
        new = [thread for thread in threading.enumerate() if thread not in before and thread.name in OWN_THREADS]
        if not new or time.monotonic() > until_s:
            return sorted(thread.name for thread in new)
        time.sleep(0.01)


@pytest.fixture(autouse=True)
def nothing_is_left_running() -> Iterator[None]:
    """A session, window or radio that a test leaves open fails that test."""
    before, pending = set(threading.enumerate()), _Pending()
    log = logging.getLogger("asyncio")
    log.addHandler(pending)
    yield
    log.removeHandler(pending)
    threads = left_over(before)
    assert not threads, f"threads left running: {', '.join(threads)}"
    assert not pending.messages, f"unfinished tasks of a radio: {pending.messages[0]}"


@pytest.fixture(scope="session", name="data_folder")
def find_data_folder() -> Path:
    """Folder of the recordings of people; skips where it is missing, fails where it is required."""
    beside = Path(__file__).resolve().parents[2] / "shared" / "data"
    folder = Path(os.environ.get("IMUFEEDBACK_DATA") or beside)
    if not folder.is_dir():
        reason = f"no recordings of people in {folder}: name their folder in IMUFEEDBACK_DATA"
        if os.environ.get("IMUFEEDBACK_REQUIRE_DATA") == "1":
            pytest.fail(reason)
        pytest.skip(reason)
    return folder
