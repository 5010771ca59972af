"""Whose sensor is heard, told before anything is connected: from what it announces of its serial number, or else from
the address that this computer knew it by last.

Neither is proof: the serial number is read when a sensor is connected, before anything is written to it, and another
than the expected one is let go.
"""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import dataclass

from imufeedback.ble import profile
from imufeedback.ble.roster import KnownSensor, key
from imufeedback.ble.scan import HeardSensor


@dataclass(frozen=True, slots=True)
class Reach:
    """Who is in reach."""

    own: tuple[tuple[HeardSensor, KnownSensor], ...]
    """Known here, in the order of the list of sensors."""
    others: tuple[HeardSensor, ...]
    """Everybody else's, or new ones: strongest first. Nothing is ever sent to them unasked."""
    doubts: tuple[str, ...] = ()
    """One line for each known sensor that several may be: none of them is taken."""


def in_reach(found: Sequence[HeardSensor], known: Iterable[KnownSensor]) -> Reach:
    """Part those that were heard into own ones and others."""
    own: list[tuple[HeardSensor, KnownSensor]] = []
    doubts: list[str] = []
    known = tuple(known)
    claims = {id(one): _claimed(one, known) for one in found}
    for sensor in known:
        alike = [one for one in found if claims[id(one)] is sensor]
        here = [one for one in alike if _same_address(one.address, sensor)]
        if len(alike) == 1 or len(here) == 1:
            own.append(((here or alike)[0], sensor))
        elif alike:
            doubts.append(
                f"{len(alike)} sensors call themselves {sensor.serial}, and none of them was seen here before: "
                "switch off the others, or choose one by hand"
            )
    taken = {id(one) for one, _ in own}
    return Reach(tuple(own), tuple(one for one in found if id(one) not in taken), tuple(doubts))


def _claimed(found: HeardSensor, known: Sequence[KnownSensor]) -> KnownSensor | None:
    """The known sensor that this one seems to be. What it says of itself goes before its address: an address that
    was remembered may be another sensor's today."""
    if found.announced:
        alike = [one for one in known if _says(found.announced, one.serial)]
        return next((one for one in alike if _same_address(found.address, one)), alike[0] if len(alike) == 1 else None)
    return next((one for one in known if _same_address(found.address, one)), None)


def _says(announced: str, serial: str) -> bool:
    """Whether a sensor of this serial number announces this."""
    return key(announced) == key(profile.announced(profile.announcement(serial)))


def claims(found: HeardSensor, serial: str) -> bool:
    """Whether it announces this serial number."""
    return bool(found.announced) and _says(found.announced, serial)


def _same_address(address: str, known: KnownSensor) -> bool:
    return key(address) in (key(known.address), key(known.serial) if known.by_address else None)


def absent(reach: Reach, known: Iterable[KnownSensor]) -> list[KnownSensor]:
    """Known sensors with a place that were not heard. A spare one may stay at home."""
    heard = {key(sensor.serial) for _, sensor in reach.own}
    return [one for one in known if one.role is not None and key(one.serial) not in heard]


def has_all(found: Sequence[HeardSensor], known: Sequence[KnownSensor]) -> bool:
    """Whether every own sensor with a place is heard; all of them, when none has a place yet."""
    here = {key(sensor.serial) for _, sensor in in_reach(found, known).own}
    wanted = [one for one in known if one.role is not None] or known
    return bool(wanted) and all(key(one.serial) in here for one in wanted)


def named(found: Sequence[HeardSensor], reach: Reach, text: str) -> list[HeardSensor]:
    """Those that a person may mean: by serial number, by what is announced of it, or by address."""
    own = [one for one, sensor in reach.own if key(sensor.serial) == key(text)]
    return own or [one for one in found if key(one.address) == key(text) or claims(one, text)]


def label(found: HeardSensor) -> str:
    """What a person may call a sensor that was heard: the end of its serial number, else its address."""
    return found.announced or found.address


STALE_S = 2.0
"""For listening whether a sensor that was not found is there all the same."""


def is_changed(sensor: KnownSensor, addresses: frozenset[str]) -> bool:
    """Whether a sensor that was not found is one of the addresses that are heard all the same."""
    return bool(sensor.address) and key(sensor.address) in {key(one) for one in addresses}


def changed(known: Iterable[KnownSensor], addresses: frozenset[str]) -> list[str]:
    """A line for each known sensor that is heard at its address and does not offer what it did."""
    return [
        f"{(one.role or 'sensor').replace('_', ' ')} ({one.serial}) is in reach, but does not offer the service of "
        f"layout {one.layout}: flashed anew? The system may remember its old services – remove it from the "
        f"system's list of Bluetooth devices (Linux: bluetoothctl remove {one.address}), then search again"
        for one in known
        if is_changed(one, addresses)
    ]
