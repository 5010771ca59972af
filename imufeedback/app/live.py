"""The application of `imufeedback live`."""

from __future__ import annotations

from collections.abc import Callable, Mapping
from pathlib import Path
from threading import Thread
from typing import TYPE_CHECKING, Any

from imufeedback import people, resources
from imufeedback.app import practice_choices
from imufeedback.app.run import run_app
from imufeedback.ble.roster import load as load_roster
from imufeedback.packets import parse_layout
from imufeedback.record.files import tighten_data, write_own
from imufeedback.records import Json, Segment

if TYPE_CHECKING:
    from imufeedback.app.live_window import LiveWindow
    from imufeedback.live.station import Station


def window_maker(layout_name: str, recordings: Path, *, speak: bool = False) -> Callable[[], LiveWindow]:
    """Reads what the application needs, and returns what makes its window.

    Raises BadToml for an unknown layout, or a list of sensors that cannot be read.
    """
    Thread(target=tighten_data, args=(resources.data_folder(),), daemon=True).start()  # no start waits for it
    layout = parse_layout(resources.text("layouts", layout_name), layout_name)
    everybody = people.load(resources.data_folder() / "players")

    roster = load_roster(resources.data_folder())

    def remember(sensor: str, role: Segment | None, facts: Mapping[str, Json]) -> None:
        roster.meet(sensor, facts, layout_name)
        roster.assign(sensor, role)
        roster.save(write_own)

    def make_window() -> LiveWindow:
        from imufeedback.app.live_window import LiveWindow

        def make_station(*hearers: Any) -> Station:
            from imufeedback.live.station import Station

            return Station(layout, *hearers, known=roster.known.values)

        return LiveWindow(
            everybody,
            practice_choices.available(),
            layout,
            make_station,
            recordings,
            role_of=roster.role_of,
            remember=remember,
            offset_s=roster.offset_s,
            fits=resources.data_folder(),
            speak=speak,
            known_places=lambda: {one.role for one in roster.known.values() if one.role is not None},
        )

    return make_window


def show(layout_name: str, recordings: Path, *, speak: bool = False) -> int:
    """Show the application until it is closed; every session has then been stopped in good order.

    Returns the exit status. Raises NoDisplay without a screen, BadToml for an unknown layout.
    """
    return run_app(window_maker(layout_name, recordings, speak=speak))
