"""The guest, booted once for all tests of this folder; and what people read in it, judged after each."""

from __future__ import annotations

import os
import shutil
import sys
import tempfile
from collections.abc import Iterator
from pathlib import Path

import pytest

sys.path[:0] = [str(Path(__file__).parent), str(Path(__file__).parents[1] / "helpers")]

from guest import MEASURED, CannotRun, Guest, ready  # noqa: E402


def pytest_collection_modifyitems(items: list[pytest.Item]) -> None:
    here = Path(__file__).parent
    for item in items:
        if here in item.path.parents:
            item.add_marker(pytest.mark.full)


def pytest_terminal_summary(terminalreporter: pytest.TerminalReporter) -> None:
    for line in MEASURED:
        terminalreporter.write_line(line)


@pytest.fixture(scope="session", name="guest")
def boot_the_guest() -> Iterator[Guest]:
    try:
        made = ready()
    except CannotRun as why:
        if os.environ.get("IMUFEEDBACK_REQUIRE_BLUEZ") == "1":
            pytest.fail(str(why))
        pytest.skip(str(why))
    folder = Path(tempfile.mkdtemp(prefix="imufeedback-guest-"))
    guest = Guest(made, folder / "share")
    yield guest
    guest.shut_down()
    if not os.environ.get("IMUFEEDBACK_KEEP_GUEST"):
        shutil.rmtree(folder, ignore_errors=True)


@pytest.fixture(autouse=True)
def nothing_raw_is_told(guest: Guest) -> Iterator[None]:
    yield
    assert not guest.raw
