"""``python -m imufeedback`` and the command ``imufeedback``: answers Ctrl-C from its first moment on."""

from __future__ import annotations

import _signal  # type: ignore[import-not-found]  # built in: there before `signal` could be read from the disk

if __name__ != "__mp_main__" and _signal.getsignal(_signal.SIGINT) is _signal.default_int_handler:
    _signal.signal(_signal.SIGINT, _signal.SIG_DFL)  # no traceback while the next lines are loaded

import signal

from imufeedback.first_moment import one_thread_for_matrices, stop_at_once

one_thread_for_matrices()  # here and not in `main`: a child process that is spawned runs this file too


def main() -> None:
    """Run the command line, then end the process."""
    if signal.getsignal(signal.SIGINT) in (signal.SIG_DFL, signal.default_int_handler):
        signal.signal(signal.SIGINT, stop_at_once)
    from imufeedback.cli import main as run

    run(ends_process=True)


if __name__ == "__main__":
    main()
