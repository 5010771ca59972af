"""Who is in reach, as a table; and the one of them that a person means."""

from __future__ import annotations

from typing import TYPE_CHECKING

from imufeedback.errors import RadioError

if TYPE_CHECKING:
    from rich.table import Table

    from imufeedback.ble.own import Reach
    from imufeedback.ble.roster import Roster
    from imufeedback.ble.scan import HeardSensor
    from imufeedback.ble.sensor_check import Desk

LISTED = 6
"""So many names fit a line. Chosen."""


def the_one(desk: Desk, reach: Reach, text: str, verb: str) -> HeardSensor:
    """The sensor in reach that a person means. Raises RadioError when it is none, or more than one."""
    from imufeedback.ble.own import named

    meant = named(desk.found, reach, text)
    if len(meant) == 1:
        return meant[0]
    if meant:
        hint = f"name it by its address: {', '.join(one.address for one in meant)}"
        raise RadioError(f"{len(meant)} sensors call themselves {text}", where=f"sensors {verb}", hint=hint)
    here = ", ".join(name(reach, one) for one in desk.found[:LISTED])
    more = f" and {len(desk.found) - LISTED} more" if len(desk.found) > LISTED else ""
    raise RadioError(f"{text} was not heard", where=f"sensors {verb}", hint=f"here are {here}{more}")


def name(reach: Reach, found: HeardSensor) -> str:
    from imufeedback.ble.own import label

    return next((known.serial for one, known in reach.own if one is found), label(found))


def who(desk: Desk, roster: Roster, reach: Reach) -> Table:
    """Own sensors, then everybody else's, strongest first."""
    from rich.table import Table

    table = Table("sensor", "place", "signal dBm", "battery %", "firmware", "address")
    for link in desk.radio.links:
        facts = desk.facts.get(link.sensor, {})
        signal = next((one.rssi_dbm for one in desk.found if one.address == facts.get("address")), None)
        identity = link.sensor if facts.get("serial") else f"{link.sensor} (no serial number)"
        cells = (signal, facts.get("battery_percent"), facts.get("firmware"), facts.get("address"))
        table.add_row(identity, place(roster, link.sensor), *(cell(one) for one in cells))
    for found in reach.others:
        identity = found.announced or f"{found.name} (serial number not announced)"
        table.add_row(identity, "not yours", cell(found.rssi_dbm), "–", "–", found.address)
    return table


def cell(value: object, form: str = "") -> str:
    return "–" if value is None else format(value, form)


def place(roster: Roster, serial: str) -> str:
    role = roster.role_of(serial)
    return "no place" if role is None else str(role).replace("_", " ")
