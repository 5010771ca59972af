"""No screen, no libraries, no Qt: one line each, and Qt never aborts this process."""

from __future__ import annotations

import os
import subprocess
import sys

import pytest

from imufeedback.app.display import explain, require_display
from imufeedback.errors import NoDisplay

linux_only = pytest.mark.skipif(not sys.platform.startswith("linux"), reason="other systems always have a screen")


def environment(**changes: str) -> dict[str, str]:
    screens = ("DISPLAY", "WAYLAND_DISPLAY", "QT_QPA_PLATFORM")
    return {name: value for name, value in os.environ.items() if name not in screens} | changes


@linux_only
def test_without_a_screen_nothing_is_tried() -> None:
    with pytest.raises(NoDisplay) as caught:
        require_display(environment())
    assert str(caught.value).startswith("DISPLAY and WAYLAND_DISPLAY are not set: there is no screen – ")


@linux_only
def test_a_screen_that_does_not_answer_is_found_without_aborting() -> None:
    with pytest.raises(NoDisplay, match="the screen :9987 does not answer"):
        require_display(environment(DISPLAY=":9987"))


@linux_only
def test_an_unknown_platform_is_named() -> None:
    with pytest.raises(NoDisplay, match="there is no platform 'nonsense'"):
        require_display(environment(QT_QPA_PLATFORM="nonsense"))


def test_the_off_screen_platform_is_a_screen() -> None:
    require_display(environment(QT_QPA_PLATFORM="offscreen"))


@pytest.mark.parametrize(
    ("complaint", "what"),
    [
        (
            "ImportError: libEGL.so.1: cannot open shared object file: No such file or directory",
            "the system library libEGL.so.1 is missing",
        ),
        (
            "qt.qpa.plugin: From 6.5.0, xcb-cursor0 or libxcb-cursor0 is needed to load the Qt xcb platform plugin.",
            "the system library libxcb-cursor.so.0 is missing",
        ),
        ("something new\nand odd\n\n", "Qt cannot start (and odd)"),
        ("", "Qt cannot start (no reason given)"),
    ],
)
def test_missing_libraries_name_the_packages(complaint: str, what: str) -> None:
    error = explain(complaint, {"DISPLAY": ":0"})
    assert error.what == what
    assert "libqt6gui6" in error.hint
    assert "libxcb-cursor0" in error.hint
    assert "\n" not in str(error)


def test_missing_qt_is_named() -> None:
    error = explain("ModuleNotFoundError: No module named 'PySide6'", {})
    assert error.what == "PySide6 is not installed"


def test_asking_for_a_screen_does_not_import_qt() -> None:
    code = "import sys, imufeedback.app.run; print([m for m in sys.modules if 'PySide6' in m or 'pyqtgraph' in m])"
    done = subprocess.run([sys.executable, "-c", code], capture_output=True, text=True, check=True)
    assert done.stdout.strip() == "[]"
