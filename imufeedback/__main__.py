"""``python -m imufeedback`` and the command ``imufeedback``: answers Ctrl-C from its first moment on."""

from __future__ import annotations

import signal

from imufeedback.first_moment import stop_at_once


def main() -> None:
    """Run the command line, then end the process."""
    if signal.getsignal(signal.SIGINT) is signal.default_int_handler:
        signal.signal(signal.SIGINT, stop_at_once)
    from imufeedback.cli import main as run

    run(ends_process=True)


if __name__ == "__main__":
    main()
