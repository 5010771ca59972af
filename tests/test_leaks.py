"""What a test leaves open fails it: the fixture of `conftest`, on tests that leak."""

from __future__ import annotations

import subprocess
import sys
from pathlib import Path

import pytest

CONFTEST = Path(__file__).with_name("conftest.py")
LEAKS = {
    "threads left running: engine": """
import threading

def test_it():
    threading.Thread(target=threading.Event().wait, args=(30.0,), name="engine", daemon=True).start()
""",
    "unfinished tasks of a radio": """
import asyncio, gc

def test_it():
    loop = asyncio.new_event_loop()
    loop.create_task(asyncio.sleep(9.0))
    loop.run_until_complete(asyncio.sleep(0))
    loop.close()
    gc.collect()
""",
}


@pytest.mark.parametrize("leak", LEAKS)
def test_what_is_left_open_fails_the_test_that_left_it(leak: str, tmp_path: Path) -> None:
    (tmp_path / "conftest.py").write_text(CONFTEST.read_text(encoding="utf-8"), encoding="utf-8")
    (tmp_path / "test_leak.py").write_text(LEAKS[leak], encoding="utf-8")
    command = [sys.executable, "-m", "pytest", "-q", "-p", "no:cacheprovider", "-p", "no:xdist", str(tmp_path)]
    ended = subprocess.run(command, cwd=tmp_path, capture_output=True, text=True, check=False, timeout=60)
    assert ended.returncode == 1
    assert leak in ended.stdout
    assert "1 passed" in ended.stdout
