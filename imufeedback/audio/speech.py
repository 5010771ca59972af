"""Sentences in the computer's own voice: said by whatever program for that is found, one after the other.

The voice goes its own way to the loudspeaker: the level of the tones does not hold for it (`CAUTION`).
"""

from __future__ import annotations

import queue
import shutil
import subprocess
import threading
from collections.abc import Callable

_WINDOWS = (
    "Add-Type -AssemblyName System.Speech;"
    "(New-Object System.Speech.Synthesis.SpeechSynthesizer).Speak([Console]::In.ReadToEnd())"
)
PROGRAMS: tuple[tuple[str, ...], ...] = (
    ("espeak-ng", "-a", "30", "--stdin"),
    ("espeak", "-a", "30", "--stdin"),
    ("say", "-f", "-"),
    ("spd-say", "--wait", "--pipe-mode"),
    ("powershell", "-NoProfile", "-Command", _WINDOWS),
)
"""In the order of choice; each reads what it says from its input, so that no text is taken for an option. With
30 of its 200 espeak stays below -12 dBFS, as the tones do (measured)."""
NO_VOICE = "No voice found on this computer: install espeak-ng. Blocks are told by their sound only."
CAUTION = "The spoken voice has the loudness of your computer. Turn it down before you put on headphones."
LONGEST_S = 20.0
"""A program that has not said its sentence by then is ended."""


def find_voice() -> tuple[str, ...] | None:
    """The program that speaks here, with its arguments; None where there is none."""
    for name, *arguments in PROGRAMS:
        path = shutil.which(name)
        if path is not None:
            return path, *arguments
    return None


class Voice:
    """Says sentences in a thread of its own: whoever asks does not wait."""

    def __init__(self, tell: Callable[[str], None]) -> None:
        """`tell` hears, in one line, what a person must know of the voice: at once, and from the voice's thread."""
        self._tell = tell
        self._program = find_voice()
        self._sentences: queue.SimpleQueue[str | None] = queue.SimpleQueue()
        self._thread: threading.Thread | None = None
        tell(NO_VOICE if self._program is None else CAUTION)

    def say(self, sentence: str) -> None:
        """After those that were asked for before; nothing where no voice was found. Any thread."""
        if self._program is None:
            return
        if self._thread is None:
            self._thread = threading.Thread(target=self._speak, name="voice", daemon=True)
            self._thread.start()
        self._sentences.put(sentence)

    def close(self, wait_s: float = LONGEST_S) -> None:
        """What was asked for is said, and no more is taken."""
        if self._thread is not None:
            self._sentences.put(None)
            self._thread.join(wait_s)
            self._thread = None

    def _speak(self) -> None:
        assert self._program is not None
        while (sentence := self._sentences.get()) is not None:
            trouble = _said(self._program, sentence)
            if trouble:
                self._tell(f"The voice failed ({trouble}). Blocks are told by their sound only.")
                return


def _said(program: tuple[str, ...], sentence: str) -> str:
    """Say it; why it could not be, or nothing."""
    try:
        done = subprocess.run(
            program, input=sentence, encoding="utf-8", errors="replace", check=True, timeout=LONGEST_S,
            stdout=subprocess.DEVNULL, stderr=subprocess.PIPE,
        )  # fmt: skip
    except (OSError, subprocess.SubprocessError) as error:
        return str(error)
    # espeak ends well also where there is no loudspeaker; other lines are its sound library's chat
    return next((line for line in done.stderr.splitlines() if line.startswith("error")), "")
