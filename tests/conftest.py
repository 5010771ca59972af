"""What all tests share: importable helpers, a data folder of their own, and where recordings of people lie."""

from __future__ import annotations

import os
import sys
import tempfile
from pathlib import Path

import pytest
from hypothesis import HealthCheck, settings

sys.path.insert(0, str(Path(__file__).parent / "helpers"))

_home = tempfile.TemporaryDirectory(prefix="imufeedback-tests-")
# Before any registry is asked: what a developer keeps in the real data folder must not decide a test.
os.environ["IMUFEEDBACK_HOME"] = _home.name

# How busy a machine is must not decide a test.
settings.register_profile("any machine", deadline=None, suppress_health_check=[HealthCheck.too_slow])
settings.load_profile("any machine")


@pytest.hookimpl(optionalhook=True)
def pytest_xdist_auto_num_workers(config: pytest.Config) -> int | None:
    """A process a core for whole folders; none more for single files, which are done sooner, nor for measurements,
    which want the machine for themselves."""
    asked = [Path(one.partition("::")[0]) for one in config.args]
    alone = "bench" in config.option.markexpr.replace("not bench", "")
    return None if all(one.is_dir() for one in asked) and not alone else 0


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
