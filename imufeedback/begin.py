"""What a session begins with: settings out of who wears which sensor where, a layout and a rule set."""

from __future__ import annotations

from collections.abc import Iterable, Mapping

from imufeedback import resources
from imufeedback.packets import parse_layout
from imufeedback.records import Segment
from imufeedback.settings import Calibration, EarlierBaseline, Player, Sensor, Settings

USUAL_RULES = "swing"


def session_settings(
    worn: Iterable[tuple[str, Segment]],
    layout: str,
    *,
    layout_text: str | None = None,
    rules: str | None = None,
    player: Player | None = None,
    offsets_s: Mapping[str, float] | None = None,
    calibrations: Mapping[str, Calibration] | None = None,
    limits: str = "",
    earlier: EarlierBaseline | None = None,
    filter_name: str = "vqf",
    grid_hz: float | None = None,
) -> Settings:
    """The settings of a session of sensors with one layout; the only place that builds them.

    Args:
        worn: name of each sensor and the segment it is on.
        layout: name of the layout of all of them.
        layout_text: its TOML text; the file of that name, if not given.
        rules: TOML text of the rule set; the usual one, if not given.
        player: who is training; an unnamed right-handed one, if not given.
        offsets_s: by sensor, how much later than the others' its times are; 0 for those left out.
        calibrations: by sensor; those left out are used as they come.
        limits: TOML text of the player's own limits.
        earlier: baseline of the player's sessions before.
        filter_name: the orientation filter.
        grid_hz: rate of the angles; the layout's own, if not given.

    Raises BadToml for a layout that does not exist or makes no sense.
    """
    text = resources.text("layouts", layout) if layout_text is None else layout_text
    late, own = offsets_s or {}, calibrations or {}
    return Settings(
        sensors=tuple(Sensor(name, segment, layout, late.get(name, 0.0), own.get(name)) for name, segment in worn),
        layouts={layout: text},
        rule_set=resources.text("rules", USUAL_RULES) if rules is None else rules,
        player=Player() if player is None else player,
        limits=limits,
        earlier=earlier,
        filter=filter_name,
        grid_hz=parse_layout(text, layout).rate_hz if grid_hz is None else grid_hz,
    )


def unworn_settings(player: Player) -> Settings:
    """Of a recording that is kept for its player and its length only: no sensor is worn, and nothing is judged."""
    return Settings(sensors=(), layouts={}, rule_set="", player=player)
