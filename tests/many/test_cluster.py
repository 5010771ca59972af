"""A real scheduler with two workers, each a process, over localhost."""

from __future__ import annotations

import gc
import os
import re
import sys
from collections.abc import Iterator
from pathlib import Path

import pytest

from imufeedback.errors import ImuFeedbackError
from imufeedback.review.many import Way, in_cluster, judge_one


@pytest.fixture(name="address", scope="module")
def scheduler_with_two_workers() -> Iterator[str]:
    distributed = pytest.importorskip("distributed", reason="the extra cluster is not installed")
    with distributed.LocalCluster(
        n_workers=2, threads_per_worker=1, processes=True, host="127.0.0.1", dashboard_address="127.0.0.1:0"
    ) as running:
        yield running.scheduler_address


def test_two_workers_give_what_one_call_each_gives(address: str, archive: Path, session_file: Path) -> None:
    paths = [archive / "b.mcap", archive / "c.mcap", archive / "ana" / "a.mcap"]
    outcomes = {one["recording"]: one for one in in_cluster(paths, Way(), address)}
    assert [outcomes[str(one)]["state"] for one in paths] == ["judged", "failed", "judged"]
    alone = judge_one(str(session_file), Way())
    for path in (paths[0], paths[2]):
        assert outcomes[str(path)]["reps"] == alone["reps"]
        assert path.with_name(f"{path.stem}.verdicts.json").exists()
    assert {one["state"] for one in in_cluster(paths[::2], Way(), address)} == {"kept"}


def test_names_are_told_as_they_were_given(address: str, archive: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.chdir(archive)
    (outcome,) = in_cluster([Path("c.mcap")], Way(), address)
    assert outcome["recording"] == "c.mcap"
    assert os.fspath(archive) in outcome["error"]


# The library's client waits 10 s for its own thread when it is thrown away half made, and complains on a busy machine.
@pytest.mark.filterwarnings("ignore:Exception ignored in.*Client:pytest.PytestUnraisableExceptionWarning")
def test_an_address_where_nothing_listens_is_one_line() -> None:
    pytest.importorskip("distributed", reason="the extra cluster is not installed")
    with pytest.raises(ImuFeedbackError, match="cannot be reached") as error:
        next(in_cluster([Path("a.mcap")], Way(), "tcp://127.0.0.1:9", reach_s=0.5))
    assert "\n" not in str(error.value)
    with pytest.raises(ImuFeedbackError, match="cannot be reached"):
        next(in_cluster([Path("a.mcap")], Way(), "no address", reach_s=0.5))
    del error
    gc.collect()  # here, and not in a test that comes later


def test_a_scheduler_without_workers_is_told() -> None:
    distributed = pytest.importorskip("distributed", reason="the extra cluster is not installed")
    with distributed.LocalCluster(n_workers=0, host="127.0.0.1", dashboard_address="127.0.0.1:0") as empty:
        work = in_cluster([Path("a.mcap")], Way(), empty.scheduler_address, reach_s=0.5)
        with pytest.raises(ImuFeedbackError, match="no worker"):
            next(work)


def test_without_the_library_it_is_said_how_to_get_it(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setitem(sys.modules, "distributed", None)
    with pytest.raises(ImuFeedbackError, match=re.escape("needs the library distributed")):
        next(in_cluster([Path("a.mcap")], Way(), "tcp://127.0.0.1:9"))
