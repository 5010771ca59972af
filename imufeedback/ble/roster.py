"""Which sensors are this player's and where they are worn, remembered by the sensor's own serial number, in a file that
a person can read.

Addresses are no identity: one system replaces them by identifiers of its own, so they differ from computer to computer,
and some sensors change theirs. The last one is kept all the same: it tells a sensor that does not announce its serial
number before it is connected. A sensor without a serial number is remembered by its address, and that is said. Nothing
is ever assigned by the order in which sensors are found.
"""

from __future__ import annotations

from collections.abc import Callable, Iterable, Mapping
from dataclasses import dataclass, field
from pathlib import Path

import msgspec

from imufeedback import toml
from imufeedback.errors import BadToml, UsageError
from imufeedback.records import Json, Segment
from imufeedback.texts import read_text

FILE = "sensors.toml"


class KnownSensor(msgspec.Struct, frozen=True, forbid_unknown_fields=True):
    """What is remembered of one sensor."""

    serial: str
    role: Segment | None = None
    layout: str = "house"
    offset_ms: float = 0.0
    """How much later than the others' its times are; measured by `sensors align`."""
    address: str = ""
    """What this computer called it last: how it is recognised when it does not announce its serial number."""
    by_address: bool = False
    """It has no serial number: another computer will not know it."""


class _File(msgspec.Struct, frozen=True, forbid_unknown_fields=True):
    sensor: tuple[KnownSensor, ...] = ()


def key(serial: str) -> str:
    """What serial numbers are compared by: case and spaces around them are no difference."""
    return serial.strip().upper()


@dataclass
class Roster:
    """All sensors that are known here."""

    path: Path
    known: dict[str, KnownSensor] = field(default_factory=dict)
    """By `key` of the serial number."""

    def role_of(self, serial: str) -> Segment | None:
        one = self.known.get(key(serial))
        return None if one is None else one.role

    def offset_s(self, serial: str) -> float:
        one = self.known.get(key(serial))
        return 0.0 if one is None else one.offset_ms / 1e3

    def get(self, serial: str) -> KnownSensor:
        return self.known.get(key(serial)) or KnownSensor(serial.strip())

    def meet(self, serial: str, facts: Mapping[str, Json], layout: str) -> KnownSensor:
        """Remember a sensor that was connected; its role stays what it was, or none."""
        address = str(facts.get("address") or self.get(serial).address)
        met = msgspec.structs.replace(
            self.get(serial), layout=layout, address=address, by_address=not facts.get("serial")
        )
        self.known[key(serial)] = met
        return met

    def assign(self, serial: str, role: Segment | None) -> None:
        """Give a place to a sensor, taking it from whichever had it; None takes the sensor's own away.

        Raises UsageError for a sensor that was never met.
        """
        if key(serial) not in self.known:
            raise UsageError(f"no sensor {serial!r} is known here", where="sensors", hint=self._who())
        for other, one in self.known.items():
            if role is not None and one.role is role:
                self.known[other] = msgspec.structs.replace(one, role=None)
        self.known[key(serial)] = msgspec.structs.replace(self.get(serial), role=role)

    def forget(self, serial: str) -> None:
        """It is not this player's any more. Raises UsageError for a sensor that is not known."""
        if self.known.pop(key(serial), None) is None:
            raise UsageError(f"no sensor {serial!r} is known here", where="sensors", hint=self._who())

    def _who(self) -> str:
        return f"known: {', '.join(one.serial for one in self.known.values()) or 'none; run `sensors scan`'}"

    def set_offset(self, serial: str, offset_s: float) -> None:
        self.known[key(serial)] = msgspec.structs.replace(self.get(serial), offset_ms=round(offset_s * 1e3, 3))

    def missing(self, serials: Iterable[str]) -> list[KnownSensor]:
        """Known sensors with a place that are not among these."""
        here = {key(one) for one in serials}
        return [one for name, one in self.known.items() if one.role is not None and name not in here]

    def save(self, write: Callable[[Path, bytes], None]) -> None:
        """Hand the file's text to `write`, which puts it in place at once (`record/files.py`). Raises CannotWrite."""
        write(self.path, _toml(self.known.values()).encode())


def load(folder: Path) -> Roster:
    """The roster in the data folder; an empty one when there is none. Raises BadToml."""
    path = folder / FILE
    hint = "correct it, or move it away to begin anew"
    try:
        file = toml.decode(read_text(path, hint=hint), _File, str(path), hint=hint)
    except FileNotFoundError:
        return Roster(path)
    known: dict[str, KnownSensor] = {}
    for one in file.sensor:
        if key(one.serial) in known:
            raise BadToml(f"sensor {one.serial} stands there twice", where=str(path), hint="keep one of the two")
        known[key(one.serial)] = one
    roles = [one.role for one in known.values() if one.role is not None]
    if len(set(roles)) != len(roles):
        raise BadToml("two sensors have one place", where=str(path), hint="give each its own")
    return Roster(path, known)


def why_missing(missing: Iterable[KnownSensor]) -> list[str]:
    """One line for each sensor that was expected and not heard, with the likely causes."""
    return [
        f"{(one.role or 'sensor').replace('_', ' ')} ({one.serial}) was not heard: switched off or empty, out "
        f"of reach, or "
        "still connected to this computer, another program or a phone – switch it off and on, and search again"
        for one in missing
    ]


def _toml(sensors: Iterable[KnownSensor]) -> str:
    lines = ["# This player's sensors. Written by imufeedback; may be edited.", ""]
    for one in sensors:
        lines += ["[[sensor]]", f"serial = {toml.quoted(one.serial)}"]
        if one.role is not None:
            lines.append(f"role = {toml.quoted(str(one.role))}")
        lines += [f"layout = {toml.quoted(one.layout)}", f"offset_ms = {one.offset_ms}"]
        if one.address and not one.by_address:
            lines.append(f"address = {toml.quoted(one.address)} # on this computer")
        if one.by_address:
            lines.append("by_address = true # no serial number: another computer will not know it")
        lines.append("")
    return "\n".join(lines)
