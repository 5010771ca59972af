"""Recordings handed out to a cluster: any Dask scheduler whose workers see the recordings under the same paths."""

from __future__ import annotations

from collections.abc import Generator, Sequence
from pathlib import Path
from typing import Any

from imufeedback.errors import ImuFeedbackError
from imufeedback.review.many.one import RecordingOutcome, Way, failed, judge_one

REACH_S = 10.0
"""How long a scheduler and its first worker are waited for."""


def in_cluster(
    recordings: Sequence[Path], way: Way, address: str, reach_s: float = REACH_S
) -> Generator[RecordingOutcome, None, None]:
    """Outcomes as they come, in any order, from the scheduler at `address`, such as ``tcp://10.0.0.5:8786``.

    A recording whose worker goes away is given to another one. When the iteration is closed or interrupted, nothing new
    is begun; what a worker is at comes to its end there. Raises ImuFeedbackError when there is no such cluster.
    """
    distributed = _library()
    with _client(distributed, address, reach_s) as client:
        tasks = {client.submit(judge_one, str(one.resolve()), way, pure=False): one for one in recordings}
        try:
            for task in distributed.as_completed(list(tasks), loop=client.loop):
                yield _outcome(task, str(tasks.pop(task)))
        finally:
            if tasks:
                client.cancel(list(tasks))


def _library() -> Any:
    try:
        import distributed
    except ImportError:
        raise ImuFeedbackError(
            "a cluster needs the library distributed", hint="install it with: pip install 'imufeedback[cluster]'"
        ) from None
    return distributed


def _client(distributed: Any, address: str, reach_s: float) -> Any:
    try:
        client = distributed.Client(address, timeout=reach_s, set_as_default=False)
    except (OSError, ValueError) as error:  # TimeoutError is an OSError
        reason = " ".join(str(error).split()) or "no answer"
        raise ImuFeedbackError(
            f"the cluster cannot be reached ({reason})", where=address, hint="check the address, and that it runs"
        ) from None
    try:
        client.wait_for_workers(1, timeout=reach_s)
    except TimeoutError:
        client.close()
        raise ImuFeedbackError("the cluster has no worker", where=address, hint="start one: dask worker …") from None
    return client


def _outcome(task: Any, recording: str) -> RecordingOutcome:
    error = task.exception()
    if error is not None:
        return failed(recording, f"{recording}: {type(error).__name__}: {' '.join(str(error).split())}")
    outcome: RecordingOutcome = task.result()
    outcome["recording"] = recording  # as the person named it
    task.release()
    return outcome
