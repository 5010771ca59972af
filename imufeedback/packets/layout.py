"""What a sensor's notification looks like, declared in TOML.

A layout names the fields of the header and of one sample in the order of their bytes, and says how raw numbers become
rad/s, m/s² and time. Reading the file is the caller's job; here text goes in and a checked `Layout` comes out.
"""

from __future__ import annotations

import math
import re
import uuid
from typing import Any

import msgspec

from imufeedback import toml
from imufeedback.constants import STANDARD_GRAVITY_M_S2
from imufeedback.errors import BadToml
from imufeedback.records import Ints

TYPE_BYTES = {"u8": 1, "i8": 1, "u16": 2, "i16": 2, "u32": 4, "i32": 4, "u64": 8, "i64": 8, "f32": 4, "f64": 8}
"""Field types and their sizes: unsigned, signed, IEEE 754 float."""

HEADER_NAMES = ("version_flags", "count", "sequence", "tick", "skip")
AXIS_NAMES = ("gyr_x", "gyr_y", "gyr_z", "acc_x", "acc_y", "acc_z")
SAMPLE_NAMES = (*AXIS_NAMES, "tick", "skip")
BYTE_ORDERS = ("little", "big")
AXES = ("x", "y", "z", "-x", "-y", "-z")

GYR_UNITS = {"rad/s": 1.0, "deg/s": math.pi / 180, "mdeg/s": math.pi / 180_000}
ACC_UNITS = {"m/s^2": 1.0, "g": STANDARD_GRAVITY_M_S2, "mg": STANDARD_GRAVITY_M_S2 / 1000}

GYR_RANGE_RAD_S = (math.radians(100), math.radians(40_000))
ACC_RANGE_M_S2 = (1.9 * STANDARD_GRAVITY_M_S2, 2_000 * STANDARD_GRAVITY_M_S2)
"""Where the end of a sensor's range can lie: below, walking or gravity would not fit; above, there are no such parts
and a
scale or a unit is wrong. Wide, because packed numbers may have room to spare. Chosen, no source."""
LEAST_NUMBERS = 8
"""Packet numbers: fewer would come round while packets still overtake each other."""
LEAST_PACKETS = 4
"""Within one round of the clock; with fewer a lost packet and a round look alike."""
MAX_COUNTER_BITS = 63
"""A wider counter would not fit int64."""
MAX_VALUE_BYTES = 512
"""Longest attribute value: Bluetooth Core Specification, Vol 3, Part F, 3.2.9."""


class LayoutTable(msgspec.Struct, frozen=True, forbid_unknown_fields=True):
    """Base of every table of a layout."""


class Field(LayoutTable, frozen=True):
    """One number in the packet; the name ``skip`` stands for bytes without meaning and may occur often."""

    name: str
    type: str

    def __post_init__(self) -> None:
        _one_of("type", self.type, tuple(TYPE_BYTES))


class Gatt(LayoutTable, frozen=True):
    """Where the sensor offers its packets: UUIDs of the service and of its characteristics.

    Without `start` the control characteristic takes the commands of this project's own profile. With it, `start` is
    written there once everything is subscribed, `stop` at the end and `blink` to be seen, as hexadecimal bytes.
    """

    service: str
    notify: str
    control: str | None = None
    layout: str | None = None
    start: str | None = None
    stop: str | None = None
    blink: str | None = None

    def __post_init__(self) -> None:
        for key in ("start", "stop", "blink"):
            text = getattr(self, key)
            if text is None:
                continue
            if not _is_hex(text):
                raise ValueError(f"{key} {text!r} is not hexadecimal bytes such as '01 ff'")
            if self.control is None:
                raise ValueError(f"{key} is given, but no control to write it to")
        if self.start is None and (self.stop is not None or self.blink is not None):
            raise ValueError("stop and blink need start beside them")
        for key in ("service", "notify", "control", "layout"):
            text = getattr(self, key)
            if text is not None:
                _uuid(key, text)


class Version(LayoutTable, frozen=True):
    """Which version of the packet this is: ``version_flags & mask == value``."""

    value: int
    mask: int = 0xFF


class Counter(LayoutTable, frozen=True):
    """The sensor's clock: it counts in steps of `unit_s`, from 0 to `modulus` - 1 and again from 0.

    `bits` is how many of the field's bits it has. Without `modulus` it goes through all that they hold, 2**bits; a
    clock that begins again at every second, or at 10,000, says so.
    """

    bits: int
    unit_s: float
    modulus: int | None = None

    def __post_init__(self) -> None:
        _between("bits", self.bits, 1, MAX_COUNTER_BITS)
        _between("unit_s", self.unit_s, 1e-12, 1.0)
        if self.modulus is not None:
            _between("modulus", self.modulus, 2, 1 << self.bits)


class Triad(LayoutTable, frozen=True):
    """Three axes of one kind: raw number * scale is in `unit`.

    `axes` says which of the sensor's axes, with which sign, is x, y and z of the frame the samples are given in.
    `full_scale`, in `unit`, is where the sensor saturates; without it nothing is ever called saturated.
    """

    unit: str
    scale: float
    full_scale: float | None = None
    axes: tuple[str, str, str] = ("x", "y", "z")

    def __post_init__(self) -> None:
        if not (math.isfinite(self.scale) and self.scale != 0):
            raise ValueError(f"scale {self.scale} must be a finite number other than 0")
        if self.full_scale is not None and not (math.isfinite(self.full_scale) and self.full_scale > 0):
            raise ValueError(f"full_scale {self.full_scale} must be a positive number")
        for axis in self.axes:
            _one_of("axes", axis, AXES)
        if {axis[-1] for axis in self.axes} != {"x", "y", "z"}:
            raise ValueError("axes must name x, y and z once each, with or without a minus")


class Layout(LayoutTable, frozen=True):
    """A sensor's packet: header, then samples, then nothing.

    `header` may hold version_flags, count, sequence and tick; `sample` holds the six axes in any order and may hold an
    own tick. Exactly one of the two has the tick; the one of the header belongs to the first sample.
    """

    name: str
    byte_order: str
    rate_hz: float
    samples_per_packet: int
    header: tuple[Field, ...]
    sample: tuple[Field, ...]
    counter: Counter
    gyr: Triad
    acc: Triad
    gatt: Gatt | None = None
    version: Version | None = None
    sequence_bits: int | None = None
    """Width of the packet number; that of its field when not given."""
    sequence_modulus: int | None = None
    """The packet number counts 0 … this - 1; all that its width holds when not given."""
    packet_length: int | None = None
    """Length of a full packet; when given, it must be that of the header and `samples_per_packet` samples."""
    delay_s: float = 0.0
    """Group delay of the sensor's own low-pass filters: a sample tells of the motion so long before its tick."""

    def __post_init__(self) -> None:
        _one_of("byte_order", self.byte_order, BYTE_ORDERS)
        _between("rate_hz", self.rate_hz, 0.1, 100_000)
        _between("delay_s", self.delay_s, 0.0, 0.1)
        _one_of("gyr.unit", self.gyr.unit, tuple(GYR_UNITS))
        _one_of("acc.unit", self.acc.unit, tuple(ACC_UNITS))
        _check_names("header", self.header, HEADER_NAMES)
        _check_names("sample", self.sample, SAMPLE_NAMES)
        self._check_presence()
        self._check_integers()
        self._check_scale("gyr", self.gyr, GYR_UNITS, GYR_RANGE_RAD_S, "rad/s")
        self._check_scale("acc", self.acc, ACC_UNITS, ACC_RANGE_M_S2, "m/s²")
        most = self.max_samples(MAX_VALUE_BYTES) if self.gatt else 0xFFFF
        _between("samples_per_packet", self.samples_per_packet, 1, most)
        length = self.packet_bytes(self.samples_per_packet)
        if self.packet_length is not None and self.packet_length != length:
            raise ValueError(f"packet_length is {self.packet_length}, but header and samples make {length}")

    def _check_presence(self) -> None:
        missing = [name for name in AXIS_NAMES if not self.in_sample(name)]
        if missing:
            raise ValueError(f"sample lacks {', '.join(missing)}")
        if self.in_header("tick") == self.in_sample("tick"):
            raise ValueError("tick must stand in header or in sample, in one of them only")
        if self.version is not None and not self.in_header("version_flags"):
            raise ValueError("version is given, but header has no version_flags")
        if self.sequence_bits is not None and not self.in_header("sequence"):
            raise ValueError("sequence_bits is given, but header has no sequence")
        if self.sequence_modulus is not None and not self.in_header("sequence"):
            raise ValueError("sequence_modulus is given, but header has no sequence")

    def _check_integers(self) -> None:
        kinds = {one.type.startswith("f") for one in self.sample if one.name in AXIS_NAMES}
        if len(kinds) > 1:
            raise ValueError("the six axes must be all whole numbers or all floats")
        for one in self.header + tuple(f for f in self.sample if f.name == "tick"):
            if one.name != "skip" and not one.type.startswith("u"):
                raise ValueError(f"{one.name} has type {one.type}, but must be one of u8, u16, u32, u64")
        if self.counter.bits > 8 * self._bytes_of("tick"):
            raise ValueError(f"counter.bits {self.counter.bits} does not fit the field tick")
        if self.sequence_bits is not None:
            _between("sequence_bits", self.sequence_bits, 3, 8 * self._bytes_of("sequence"))
        if self.sequence_modulus is not None:
            _between("sequence_modulus", self.sequence_modulus, LEAST_NUMBERS, 1 << self.sequence_width)
        packets = self.counter_modulus / (self.samples_per_packet * self.nominal_step_ticks)
        if self.counter.modulus is not None and packets < LEAST_PACKETS:
            raise ValueError(
                f"counter.modulus {self.counter.modulus} goes round within {packets:.1f} packets: at least "
                f"{LEAST_PACKETS} are needed to read time from it"
            )

    def _check_scale(
        self, key: str, triad: Triad, units: dict[str, float], possible: tuple[float, float], si: str
    ) -> None:
        """What the raw numbers can say must be what a person's sensor can need."""
        to_si = units[triad.unit]
        kind = next(one.type for one in self.sample if one.name == f"{key}_x")
        ends = [] if triad.full_scale is None else [("full_scale", triad.full_scale * to_si)]
        if not kind.startswith("f"):
            most = float(1 << (8 * TYPE_BYTES[kind] - (1 if kind.startswith("i") else 0)))
            end = most * abs(triad.scale) * to_si
            # fine steps in 32 bits reach beyond any range; too coarse ones are an error in any width
            ends.append((f"scale times the range of {kind}", end if TYPE_BYTES[kind] <= 2 else min(end, possible[1])))
            if triad.full_scale is not None and triad.full_scale > 1.01 * most * abs(triad.scale):
                raise ValueError(f"{key}.full_scale {triad.full_scale:g} is more than {kind} times scale can say")
        for name, end in ends:
            if not possible[0] <= end <= possible[1]:
                raise ValueError(
                    f"{key}: {name} is {end:.4g} {si}, which is not between {possible[0]:g} and {possible[1]:g}: "
                    f"look at scale and unit"
                )

    def in_header(self, name: str) -> bool:
        """Whether the header has this field."""
        return any(one.name == name for one in self.header)

    def in_sample(self, name: str) -> bool:
        """Whether every sample has this field."""
        return any(one.name == name for one in self.sample)

    def _bytes_of(self, name: str) -> int:
        return next(TYPE_BYTES[one.type] for one in self.header + self.sample if one.name == name)

    @property
    def sequence_width(self) -> int:
        """Bits of the packet number; 0 when packets carry none."""
        if not self.in_header("sequence"):
            return 0
        return self.sequence_bits or 8 * self._bytes_of("sequence")

    @property
    def header_bytes(self) -> int:
        return sum(TYPE_BYTES[one.type] for one in self.header)

    @property
    def sample_bytes(self) -> int:
        return sum(TYPE_BYTES[one.type] for one in self.sample)

    def packet_bytes(self, samples: int) -> int:
        """Length of a packet of so many samples."""
        return self.header_bytes + samples * self.sample_bytes

    def max_samples(self, payload_bytes: int) -> int:
        """How many whole samples a notification of this size holds; payload is ATT MTU minus 3."""
        return max(0, payload_bytes - self.header_bytes) // self.sample_bytes

    @property
    def sequence_numbers(self) -> int:
        """The packet number counts 0 … this - 1; 1 when packets carry none."""
        return self.sequence_modulus or 1 << self.sequence_width

    @property
    def counter_modulus(self) -> int:
        """The tick counts 0 … this - 1."""
        return self.counter.modulus or 1 << self.counter.bits

    def around(self, ticks: Ints) -> Ints:
        """(N,) ticks as the counter shows them: modulo its modulus."""
        modulus = self.counter_modulus  # all 63 bits do not fit int64 themselves, but one less does
        out: Ints = ticks & (modulus - 1) if modulus & (modulus - 1) == 0 else ticks % modulus
        return out

    @property
    def nominal_step_ticks(self) -> float:
        """Ticks between samples at the nominal rate."""
        return 1.0 / (self.rate_hz * self.counter.unit_s)


def parse_layout(text: str, where: str) -> Layout:
    """The layout a TOML text declares; `where` names the text in errors.

    Raises BadToml with the key, and with what is allowed there.
    """
    try:
        return msgspec.convert(toml.table(text, where), Layout, str_keys=True)
    except msgspec.ValidationError as error:
        raise BadToml(_in_words(str(error)), where=where, hint="correct that key of the layout") from error


def _in_words(message: str) -> str:
    """msgspec's message with the key first and, for an unknown key, the keys that exist there."""
    what, _, path = message.partition(" - at `$")
    key = path.rstrip("`").lstrip(".")
    if "unknown field" in what:
        what = f"{what.replace('Object contains', 'it has the')}; allowed: {', '.join(_keys_at(key))}"
    elif missing := re.fullmatch(r"Object missing required field `(\w+)`", what):
        what = f"{missing[1]} is missing"
    elif wrong := re.fullmatch(r"Expected `(\w+)[^`]*`, got `(\w+)`", what):
        what = f"{_KINDS.get(wrong[1], wrong[1])} is expected, not {_KINDS.get(wrong[2], wrong[2])}"
    return f"{key}: {what}" if key else what


_KINDS = {
    "str": "a text in quotes",
    "int": "a whole number",
    "float": "a number",
    "bool": "true or false",
    "array": "a list in [ ]",
    "object": "a table of keys",
}
"""msgspec's names of types, for people who edit the file."""


def _keys_at(path: str) -> tuple[str, ...]:
    """Keys of the table at a path such as ``gyr`` or ``sample[3]``; the top table for an empty one."""
    tables: dict[str, Any] = {"gatt": Gatt, "version": Version, "counter": Counter, "gyr": Triad, "acc": Triad}
    tables |= {"header": Field, "sample": Field}
    table = tables.get(path.partition("[")[0], Layout)
    return tuple(one.name for one in msgspec.structs.fields(table))


def _one_of(key: str, value: str, allowed: tuple[str, ...]) -> None:
    if value not in allowed:
        raise ValueError(f"{key} {value!r} is not one of {', '.join(allowed)}")


def _between(key: str, value: float, low: float, high: float) -> None:
    if not low <= value <= high:
        raise ValueError(f"{key} {value} is not between {low:g} and {high:g}")


def _is_hex(text: str) -> bool:
    try:
        return 0 < len(bytes.fromhex(text)) <= MAX_VALUE_BYTES
    except ValueError:
        return False


def _uuid(key: str, text: str) -> None:
    try:
        right = str(uuid.UUID(text)) == text.lower()
    except ValueError:
        right = False
    if not right:
        short = re.fullmatch(r"(?:0x)?([0-9a-f]{4})", text.lower())
        form = f"0000{short[1]}-0000-1000-8000-00805f9b34fb" if short else "12345678-1234-1234-1234-123456789abc"
        told = "the short form of a UUID; in full it is" if short else "not a UUID of the form"
        raise ValueError(f"{key} {text!r} is {told} {form}")


def _check_names(key: str, part: tuple[Field, ...], allowed: tuple[str, ...]) -> None:
    names = [one.name for one in part]
    for name in names:
        _one_of(f"{key} name", name, allowed)
        if name != "skip" and names.count(name) > 1:
            raise ValueError(f"{key} has {name} twice")
