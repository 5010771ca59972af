"""Recordings handed out to processes of this computer."""

from __future__ import annotations

import multiprocessing
import os
import signal
from collections import deque
from collections.abc import Generator, Iterator, Sequence
from concurrent.futures import FIRST_COMPLETED, Future, ProcessPoolExecutor, wait
from concurrent.futures.process import BrokenProcessPool
from contextlib import contextmanager
from multiprocessing.synchronize import Event
from pathlib import Path
from types import FrameType

from imufeedback.review.many.one import RecordingOutcome, Way, failed, judge_one

AHEAD = 2
"""Recordings handed out for each process: the next one is there when one is done, and a stop is not long."""

_spawn = multiprocessing.get_context("spawn")  # the same on every system, and no lock is copied in a wrong state
_ENDS = tuple(getattr(signal, name) for name in ("SIGTERM", "SIGHUP") if hasattr(signal, name))
_stop: Event | None = None
"""In a worker: set when no result is wanted any more."""


class WorkStopped(Exception):
    """The work is not wanted any more."""


def in_processes(
    recordings: Sequence[Path], way: Way, workers: int | None = None
) -> Generator[RecordingOutcome, None, None]:
    """Outcomes as they come, in any order; `workers` processes, or as many as there are cores.

    A recording whose process dies is tried once more, alone: it fails by itself, and takes no other with it. When the
    iteration is closed or interrupted, recordings that are being judged are dropped without a trace.
    """
    rest = deque(map(os.fspath, recordings))
    suspects: deque[str] = deque()
    while rest or suspects:
        if suspects:
            for one in (yield from _pool(suspects, way, 1, ahead=1)):
                yield failed(one, f"{one}: the process that checked it died – is there enough memory?")
        else:
            suspects.extend((yield from _pool(rest, way, min(workers or os.cpu_count() or 1, len(rest)))))


def _pool(rest: deque[str], way: Way, workers: int, ahead: int = AHEAD) -> Generator[RecordingOutcome, None, list[str]]:
    """Empties `rest`. Returns what was in work when a process died, else nothing."""
    stop = _spawn.Event()
    pool = ProcessPoolExecutor(workers, _spawn, initializer=_begin, initargs=(stop,))
    running: dict[Future[RecordingOutcome], str] = {}
    try:
        while rest or running:
            while rest and len(running) < ahead * workers:
                with _no_interrupt():
                    future = pool.submit(_work, rest[0], way)
                running[future] = rest.popleft()  # only now: a pool that has broken takes none
            for future in wait(running, return_when=FIRST_COMPLETED).done:
                if isinstance(error := future.exception(), BrokenProcessPool):
                    return list(running.values())
                recording = running.pop(future)
                yield failed(recording, f"{recording}: {_words(error)}") if error else future.result()
    except BrokenProcessPool:  # between two results
        return list(running.values())
    finally:
        stop.set()
        pool.shutdown(cancel_futures=True)
    return []


def _words(error: BaseException) -> str:
    return f"{type(error).__name__}: {' '.join(str(error).split())}"


@contextmanager
def _no_interrupt() -> Iterator[None]:
    """A signal waits until this is over: a process that is half begun when its caller ends would complain. The process
    that is begun in here has the signals blocked too, until `_begin`."""
    if not hasattr(signal, "pthread_sigmask"):
        yield
        return
    before = signal.pthread_sigmask(signal.SIG_BLOCK, (signal.SIGINT, *_ENDS))
    try:
        yield
    finally:
        signal.pthread_sigmask(signal.SIG_SETMASK, before)


def _begin(stop: Event) -> None:
    """First act of a worker. Ctrl-C reaches every process of a terminal: only the caller answers it. Termination ends
    what is being judged in order."""
    global _stop  # a pool has no other way to hand an event to its processes
    _stop = stop
    signal.signal(signal.SIGINT, signal.SIG_IGN)
    for number in _ENDS:
        signal.signal(number, _end)
    if hasattr(signal, "pthread_sigmask"):
        if signal.sigpending() & set(_ENDS):
            os._exit(1)  # nothing is begun yet, and an exception would be told with all its lines
        signal.pthread_sigmask(signal.SIG_UNBLOCK, _ENDS)


def _end(number: int, frame: FrameType | None) -> None:
    raise SystemExit(128 + number)


def _work(recording: str, way: Way) -> RecordingOutcome:
    return judge_one(recording, way, _go_on)


def _go_on(seconds: float) -> None:
    if _stop is not None and _stop.is_set():
        raise WorkStopped
