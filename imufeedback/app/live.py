"""The application of `imufeedback live`."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING

from imufeedback import people, resources
from imufeedback.app import work
from imufeedback.app.run import run_app
from imufeedback.packets import parse_layout

if TYPE_CHECKING:
    from imufeedback.app.live_window import LiveWindow


def show(layout_name: str, recordings: Path) -> int:
    """Show the application until it is closed; every session has then been stopped in good order.

    Returns the exit status. Raises NoDisplay without a screen, BadToml for an unknown layout.
    """
    layout = parse_layout(resources.text("layouts", layout_name), layout_name)
    everybody = people.load(resources.data_folder() / "players")

    def make_window() -> LiveWindow:
        from imufeedback.app.live_window import LiveWindow
        from imufeedback.station import Station

        return LiveWindow(
            everybody,
            work.available(),
            layout,
            lambda tell, searched: Station(layout, tell, searched),
            recordings,
        )

    return run_app(make_window)
