"""The command line, run inside the test process: what it prints, and how it ends."""

from __future__ import annotations

import sys
from dataclasses import dataclass

import pytest

from imufeedback import cli


@dataclass(frozen=True)
class Ended:
    status: int
    out: str
    err: str

    @property
    def error(self) -> str:
        """The one error line. Fails when there is none, or more than it."""
        lines = [line for line in self.err.splitlines() if line.startswith("imufeedback:")]
        assert len(lines) == 1, self.err
        assert self.err.splitlines()[-1] == lines[0], f"the error is the last word: {self.err}"
        assert "Traceback" not in self.err
        return lines[0]


class Commands:
    """Call it with the arguments of a command."""

    def __init__(self, monkeypatch: pytest.MonkeyPatch, capfd: pytest.CaptureFixture[str]) -> None:
        self._monkeypatch = monkeypatch
        self._capfd = capfd

    def __call__(self, *arguments: object) -> Ended:
        self._monkeypatch.setattr(sys, "argv", ["imufeedback", *map(str, arguments)])
        self._capfd.readouterr()
        with pytest.raises(SystemExit) as ended:
            cli.main()
        out, err = self._capfd.readouterr()
        return Ended(int(ended.value.code or 0), out, err)
