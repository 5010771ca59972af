"""Do a sensor's packets keep the profile? Judged by their bytes alone: firmware_notes/gatt_profile.md."""

from __future__ import annotations

import itertools
import struct
from collections.abc import Callable, Iterator, Sequence
from dataclasses import dataclass

import numpy as np

from imufeedback.records import Floats

Arrived = tuple[int, bytes]
"""When a notification came, in ns by the computer's clock, and what it held."""
HEADER, SAMPLE = 8, 12
VERSION = 1
STEP_SHARE = 0.02
"""A packet's period may be off by so much: a part's own oscillator, firmware_notes/boards.md."""
CLOCK_SHARE = 0.05
"""Between the sensor's clock and the computer's over some seconds: arrivals are late by up to a connection interval and
more. Chosen: finds a wrong unit, not a bad crystal."""
G_RAW, DEG_S_RAW = 32768 / 16, 32768 / 2000
REST_G, REST_DEG_S, MOVED_DEG_S = (0.9, 1.1), 10.0, 20.0
"""Of a sensor that lies still; when its rate changes by more, it does not. Chosen."""
FROZEN = 20
"""So many equal samples in a row are taken for a part that stands still."""


@dataclass(frozen=True, slots=True)
class ProfileFinding:
    """One rule of the profile, and what is wrong; empty when it is kept."""

    rule: str
    wrong: str = ""
    note: str = ""
    """What was seen, or why the rule could not be judged."""


def differs(data: bytes, expected: bytes, what: str = "") -> str:
    """The first byte that is wrong; empty when none is."""
    for k, (found, right) in enumerate(itertools.zip_longest(data, expected)):
        if found != right:
            told = "nothing" if found is None else f"{found:02x}"
            wanted = "nothing" if right is None else f"{right:02x}"
            return f"byte {k} is {told}, expected {wanted}{what}; all of it: {data.hex(' ') or 'nothing'}"
    return ""


def of_stream(arrived: Sequence[Arrived], rate_hz: int, samples: int) -> Iterator[ProfileFinding]:
    """Every rule about packets that follow each other without a pause, at one setting."""
    came = f"{len(arrived)} packets"
    if len(arrived) < 3:
        yield ProfileFinding("packets: come after START", f"only {came} came" if arrived else "none came")
        return
    yield ProfileFinding("packets: come after START", note=came)
    whole = [data for _, data in arrived if len(data) >= HEADER]
    yield ProfileFinding("packet: has a header of 8 bytes", _first(arrived, _no_header))
    yield ProfileFinding("packet: version 1 in the low half of byte 0", _first(arrived, _wrong_version))
    yield ProfileFinding("packet: flags in the high half of byte 0 are sent as 0", _first(arrived, _wrong_flags))
    yield ProfileFinding(
        "packet: byte 1 counts the samples, and no more and no less follow", _first(arrived, _wrong_length)
    )
    yield ProfileFinding(
        f"packet: has as many samples as were set, {samples}", _first(arrived, lambda data: _wrong_count(data, samples))
    )
    yield ProfileFinding("packet: bytes 2 and 3, the number, go up by one", _wrong_numbers(whole))
    yield ProfileFinding(
        f"packet: bytes 4 to 7, the tick in µs, go up by {round(1e6 * samples / rate_hz)} as the samples do",
        _wrong_ticks(whole, samples / rate_hz * 1e6),
    )
    yield ProfileFinding("packet: the tick runs as this computer's clock does", _wrong_clock(arrived))
    yield from _of_samples(whole)


def _of_samples(packets: Sequence[bytes]) -> Iterator[ProfileFinding]:
    raw = samples_of(packets)
    missing = 100 * float(np.mean(~raw.any(axis=1))) if len(raw) else 0.0
    yield ProfileFinding("samples: measured ones", f"{missing:.0f} % are twelve zero bytes" if missing > 1 else "")
    yield ProfileFinding("samples: change from one to the next", _frozen(raw))
    rule = "samples: lying still, the rates are near 0 and gravity's length is 1 g"
    if _lies_still(raw):
        wrong, note = _wrong_units(raw), "{:.2f} g, {:.1f} °/s".format(*_at_rest(raw))
    elif _lies_still(raw.astype("<i2").byteswap().astype(np.float64)):
        wrong, note = f"bytes {HEADER} to {HEADER + SAMPLE - 1}: high bytes come first, expected last", ""
    else:
        wrong, note = "", "not judged: it was moved; lay it still"
    yield ProfileFinding(rule, wrong, note)


def _lies_still(raw: Floats) -> bool:
    """Whether these numbers may be those of a sensor at rest: the rates hardly change."""
    return len(raw) > 1 and float(np.ptp(raw[:, :3], axis=0).max()) / DEG_S_RAW < MOVED_DEG_S


def _at_rest(raw: Floats) -> tuple[float, float]:
    """Gravity's length in g, and the greatest rate in °/s."""
    mean = raw.mean(axis=0)
    return float(np.linalg.norm(mean[3:]) / G_RAW), float(np.abs(mean[:3]).max() / DEG_S_RAW)


def _wrong_units(raw: Floats) -> str:
    length, rate = _at_rest(raw)
    wrong = []
    if not REST_G[0] < length < REST_G[1]:
        wrong.append(f"bytes {HEADER + 6} to {HEADER + 11}: {length:.2f} g, expected 1.00 (16 / 32768 g a step)")
    if rate > REST_DEG_S:
        wrong.append(f"bytes {HEADER} to {HEADER + 5}: {rate:.0f} °/s, expected 0")
    return "; ".join(wrong)


def samples_of(packets: Sequence[bytes]) -> Floats:
    """(N, 6) raw numbers, gyr x y z and acc x y z; a cut tail is left out."""
    parts = [data[HEADER : HEADER + (len(data) - HEADER) // SAMPLE * SAMPLE] for data in packets]
    return np.frombuffer(b"".join(parts), "<i2").reshape(-1, 6).astype(np.float64)


def number(data: bytes) -> int:
    """Bytes 2 and 3."""
    return int(struct.unpack_from("<H", data, 2)[0])


def tick_us(data: bytes) -> int:
    """Bytes 4 to 7."""
    return int(struct.unpack_from("<I", data, 4)[0])


def ran_on(before: Arrived, after: Arrived, packet_s: float) -> tuple[str, str]:
    """What is wrong with the tick, and with the number, across a pause: both go on as time does."""
    passed_s = (after[0] - before[0]) * 1e-9
    slack_s = 0.1 + CLOCK_SHARE * passed_s
    ticked_s = ((tick_us(after[1]) - tick_us(before[1])) % 2**32) * 1e-6
    tick, count = "", ""
    if abs(ticked_s - passed_s) > slack_s:
        tick = f"bytes 4 to 7 went on by {ticked_s:.3f} s in {passed_s:.3f} s: {after[1][4:8].hex(' ')}"
    counted = (number(after[1]) - number(before[1])) % 2**16
    if abs(counted * packet_s - passed_s) > slack_s + 2 * packet_s:
        expected = round(passed_s / packet_s)
        count = f"bytes 2 and 3 went on by {counted}, expected about {expected}: {after[1][2:4].hex(' ')}"
    return tick, count


def _first(arrived: Sequence[Arrived], judge: Callable[[bytes], str]) -> str:
    for k, (_, data) in enumerate(arrived):
        if wrong := judge(data):
            return f"packet {k}: {wrong}"
    return ""


def _no_header(data: bytes) -> str:
    return f"{len(data)} bytes: {data.hex(' ')}" if len(data) < HEADER + SAMPLE else ""


def _wrong_version(data: bytes) -> str:
    version = data[0] & 0x0F if data else 0
    return f"byte 0 is {data[:1].hex()}, version {version}, expected {VERSION}" if version != VERSION else ""


def _wrong_flags(data: bytes) -> str:
    return f"byte 0 is {data[0]:02x}, expected 0{data[0] & 15:x}" if data and data[0] & 0xF0 else ""


def _wrong_length(data: bytes) -> str:
    if len(data) < 2:
        return f"{len(data)} bytes"
    expected = HEADER + SAMPLE * data[1]
    if data[1] and len(data) == expected:
        return ""
    return f"byte 1 is {data[1]:02x}: {expected} bytes expected, {len(data)} came"


def _wrong_count(data: bytes, samples: int) -> str:
    return f"byte 1 is {data[1]:02x}, expected {samples:02x}" if len(data) > 1 and data[1] != samples else ""


def _wrong_numbers(packets: Sequence[bytes]) -> str:
    """Losses are the radio's: what is no step upward by a few is wrong."""
    for before, after in itertools.pairwise(packets):
        if not 1 <= (number(after) - number(before)) % 2**16 <= 10:
            return f"after {before[2:4].hex(' ')} came {after[2:4].hex(' ')}"
    return ""


def _wrong_ticks(packets: Sequence[bytes], period_us: float) -> str:
    for before, after in itertools.pairwise(packets):
        steps = (number(after) - number(before)) % 2**16
        passed = (tick_us(after) - tick_us(before)) % 2**32
        if 1 <= steps <= 10 and abs(passed / steps - period_us) > STEP_SHARE * period_us:
            return f"after {before[4:8].hex(' ')} came {after[4:8].hex(' ')}: {passed} µs for {steps} packets"
    return ""


def _wrong_clock(arrived: Sequence[Arrived]) -> str:
    (begin_ns, first), (end_ns, last) = arrived[0], arrived[-1]
    passed_s = (end_ns - begin_ns) * 1e-9
    if min(len(first), len(last)) < HEADER or passed_s < 0.5:
        return ""
    ticked_s = ((tick_us(last) - tick_us(first)) % 2**32) * 1e-6
    if abs(ticked_s - passed_s) <= CLOCK_SHARE * passed_s + 0.06:
        return ""
    return f"bytes 4 to 7 went on by {ticked_s:.3f} s while {passed_s:.3f} s passed"


def _frozen(raw: Floats) -> str:
    same = 1
    for before, after in itertools.pairwise(raw):
        same = same + 1 if np.array_equal(before, after) else 1
        if same >= FROZEN:
            return f"{FROZEN} equal ones in a row: {after.astype('<i2').tobytes().hex(' ')}"
    return ""
