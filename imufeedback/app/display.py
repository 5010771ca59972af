"""Is there a screen, and can Qt use it? Asked before Qt is imported.

Qt ends the whole process (abort) when its platform plugin cannot start, and no exception can be caught. So the question
is put to a throw-away child process that does exactly what the window would do: import the widgets and make an
application. That finds a missing system library, a missing plugin library and a screen that does not answer alike, and
costs about half a second. Looking for single libraries by hand would be quicker but would know only today's list.
"""

from __future__ import annotations

import os
import re
import subprocess
import sys
from collections.abc import Mapping

from imufeedback.errors import NoDisplay

QT_PACKAGES = "libqt6gui6 libxcb-cursor0 libgl1"
"""Debian packages that bring what Qt 6's widgets and its xcb plugin load (from `ldd` on the wheel's libraries in a bare
Debian 12: the system's own Qt needs all of it but the last two)."""

PROBE_LIMIT_S = 20.0

_PROBE = "from PySide6.QtWidgets import QApplication; QApplication(['probe'])"
_MISSING_LIBRARY = re.compile(r"(\S+\.so[.\d]*): cannot open shared object file")
_HEADLESS_HINT = "run it from a desktop session, or without a window"


def require_display(environment: Mapping[str, str] | None = None) -> None:
    """Return if a window can be opened; raise `NoDisplay` with what to try if not. Imports nothing of Qt.

    Only Linux is asked: the other systems always have a screen and carry Qt's libraries in the package.
    """
    if not sys.platform.startswith("linux"):
        return
    environment = os.environ if environment is None else environment
    if not there_is_a_screen(environment) and not environment.get("QT_QPA_PLATFORM"):
        raise NoDisplay("there is no screen", where="DISPLAY and WAYLAND_DISPLAY are not set", hint=_HEADLESS_HINT)
    complaint = _probe(environment)
    if complaint is not None:
        raise explain(complaint, environment)


def there_is_a_screen(environment: Mapping[str, str]) -> bool:
    """Whether a person sits in front of one, by what the system says; not whether Qt can use it."""
    return not sys.platform.startswith("linux") or any(environment.get(one) for one in ("DISPLAY", "WAYLAND_DISPLAY"))


def _probe(environment: Mapping[str, str]) -> str | None:
    """What Qt said when it could not start, or None."""
    try:
        done = subprocess.run(
            [sys.executable, "-c", _PROBE], env=dict(environment), capture_output=True, text=True, timeout=PROBE_LIMIT_S
        )
    except subprocess.TimeoutExpired:
        return "the screen does not answer"
    return None if done.returncode == 0 else done.stderr.strip() or f"exit status {done.returncode}"


def explain(complaint: str, environment: Mapping[str, str]) -> NoDisplay:
    """One line for a person from what Qt, Python or the loader wrote."""
    packages = f"apt-get install {QT_PACKAGES}"
    library = _MISSING_LIBRARY.search(complaint)
    if library:
        return NoDisplay(f"the system library {library[1]} is missing", where="Qt", hint=packages)
    if "No module named" in complaint:
        return NoDisplay("PySide6 is not installed", where="Qt", hint="pip install PySide6-Essentials")
    screen = environment.get("DISPLAY") or environment.get("WAYLAND_DISPLAY") or "?"
    if "could not connect to display" in complaint or "does not answer" in complaint:
        return NoDisplay(f"the screen {screen} does not answer", where="DISPLAY", hint=_HEADLESS_HINT)
    if "xcb-cursor" in complaint:
        return NoDisplay("the system library libxcb-cursor.so.0 is missing", where="Qt", hint=packages)
    if "could not find the qt platform plugin" in complaint.lower():
        platform = environment.get("QT_QPA_PLATFORM", "")
        return NoDisplay(f"there is no platform '{platform}'", where="QT_QPA_PLATFORM", hint="unset it")
    return NoDisplay(f"Qt cannot start ({_last_line(complaint)})", where=f"screen {screen}", hint=packages)


def _last_line(text: str) -> str:
    lines = [line.strip() for line in text.splitlines() if line.strip()]
    return lines[-1] if lines else "no reason given"
