"""Players who fit their sensors by themselves: performances, good and spoiled, as the items of a session."""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Mapping
from dataclasses import dataclass, replace
from itertools import islice

import msgspec
import numpy as np
from scipy.spatial.transform import Rotation

from imufeedback import resources
from imufeedback.begin import session_settings
from imufeedback.commands import AcceptSwap, Begin, BeginFit, recorded
from imufeedback.packets import Layout, parse_layout
from imufeedback.pipeline import Pipeline
from imufeedback.records import Event, Floats, Hand, Item, RawPacket, Segment, SwapOffered, frozen
from imufeedback.settings import Player, Settings
from imufeedback.synth.errors import PRESETS, SensorErrors, SensorModel
from imufeedback.synth.movements import Spoil
from imufeedback.synth.performance import make_performance
from imufeedback.synth.script import Script
from imufeedback.synth.sensors import PLACES_M, WORN, ImuPlace
from imufeedback.synth.stream import DeviceClock, SensorStream, raw_packets, serial_of

LAYOUT = "lossless"
RATE_HZ = 200.0
SAMPLES_PER_PACKET = 16
LOOKED_AT_ITEMS = 100
"""Items that are judged at once where something is waited for."""
TWIST_DEG = 60.0
"""The strap goes round the segment by up to so much from its usual place, either way."""
_SAMPLE = np.dtype([("tick", "<u8"), ("value", "<f8", 6)])
_HEADER_BYTES = 8
TYPICAL = PRESETS["typical"].without(strap_twist=True)
"""Soft tissue included; the strap does not slip."""


@dataclass(frozen=True)
class StrapSlip:
    """A strap that turns about its segment's long axis within half a second."""

    segment: Segment
    at_s: float
    angle_rad: float


@dataclass(frozen=True)
class Performance:
    """One session that begins with its calibration."""

    script: Script
    places: Mapping[Segment, ImuPlace]
    roles: Mapping[Segment, Segment]
    """What the session believes of the sensor that is really on a segment."""
    spoil: Spoil | None = None
    model: SensorModel | None = TYPICAL

    slip: StrapSlip | None = None

    def items(self) -> Iterator[Item]:
        """The session: `fit-begin` comes first."""
        layout = msgspec.structs.replace(
            parse_layout(resources.text("layouts", LAYOUT), LAYOUT),
            rate_hz=RATE_HZ,
            samples_per_packet=SAMPLES_PER_PACKET,
        )
        yield recorded(0, Begin.of(self._settings()))
        yield recorded(0, BeginFit())
        packets = raw_packets([self._stream(layout, one) for one in self.places])
        if self.spoil is not None:
            packets = worn_badly(packets, self.script.seed, self.spoil, self.places)
        if self.slip is not None:
            packets = slipping(packets, self.slip, self.places[self.slip.segment])
        yield from packets

    def _settings(self) -> Settings:
        text = resources.text("layouts", LAYOUT)
        for name, value in (("rate_hz", RATE_HZ), ("samples_per_packet", SAMPLES_PER_PACKET)):
            old = next(line for line in text.splitlines() if line.startswith(f"{name} ="))
            text = text.replace(old, f"{name} = {value}")
        worn = [(serial_of(place), self.roles[place]) for place in self.places]
        return session_settings(worn, LAYOUT, layout_text=text, player=Player(hand=self.script.hand))

    def _stream(self, layout: Layout, one: Segment) -> SensorStream:
        seed = self.script.seed
        error = 0.0 if self.model is None else SensorErrors(self.model, seed, one, RATE_HZ).rate_error
        place, clock = self.places[one], DeviceClock()
        return SensorStream(
            serial_of(one),
            self.script,
            place,
            layout,
            clock,
            (0.0, 0.0),
            seed,
            self.model,
            error,
        )

    def events(self, until: tuple[type, ...] = ()) -> list[Event]:
        """What comes of it, to the end or to the first event of a kind; the answer to an offered swap is yes."""
        pipeline, rest = Pipeline(), iter(self.items())
        out: list[Event] = []
        while stretch := list(islice(rest, LOOKED_AT_ITEMS)):
            new = pipeline.feed_many(stretch)
            for offered in [one for one in new if isinstance(one, SwapOffered)]:
                new += pipeline.feed(recorded(int(offered.t_s * 1e9), AcceptSwap()))
            for event in new:
                out.append(event)
                if isinstance(event, until):
                    return out
        return out + pipeline.finish()


def performance(
    seed: int,
    *,
    spoil: Spoil | None = None,
    reps: int = 0,
    roles: Mapping[Segment, Segment] | None = None,
    segments: Iterable[Segment] = WORN,
    model: SensorModel | None = TYPICAL,
) -> Performance:
    """A seeded player, left- and right-handed in turn, with sensors strapped on anyhow."""
    script = make_performance(seed, hand=Hand.RIGHT if seed % 2 else Hand.LEFT, spoil=spoil, reps=reps)
    places = strapped(seed, segments)
    return Performance(script, places, roles or {one: one for one in places}, spoil, model)


def strapped(seed: int, segments: Iterable[Segment] = WORN) -> dict[Segment, ImuPlace]:
    """Any way round: every third sensor stands on one of its edges, within some degrees, the others are turned at
    random; and the strap is twisted round the segment."""
    rng = np.random.default_rng([seed, 23])
    out = {}
    for one in segments:
        twist = Rotation.from_euler("y", rng.uniform(-TWIST_DEG, TWIST_DEG), degrees=True)
        turned = Rotation.random(rng=rng)
        if rng.uniform() < 1 / 3:
            edges = Rotation.create_group("O")  # the 24 ways a box can lie
            about = Rotation.from_rotvec(np.radians(10.0) * rng.standard_normal(3))
            turned = about * edges[int(rng.integers(24))]
        mounting = turned * twist.inv()
        out[one] = ImuPlace(one, frozen(twist.apply(PLACES_M[one])), frozen(mounting.as_quat(scalar_first=True)))
    return out


def swapped(seed: int) -> dict[Segment, Segment]:
    """Wrong roles: any of the five wrong orders of three sensors."""
    orders = [(0, 2, 1), (1, 0, 2), (2, 1, 0), (1, 2, 0), (2, 0, 1)]
    order = orders[int(np.random.default_rng([seed, 24]).integers(len(orders)))]
    return {one: WORN[k] for one, k in zip(WORN, order, strict=True)}


# ── what is wrong with a sensor ──────────────────────────────────────────────────────────────────────────────────


def worn_badly(
    packets: Iterable[RawPacket], seed: int, spoil: Spoil, segments: Iterable[Segment]
) -> Iterator[RawPacket]:
    """The packets, with one sensor loose in its strap or switched off or left on a table, where the spoil says so."""
    rng = np.random.default_rng([seed, 25])
    serial = serial_of(list(segments)[int(rng.integers(len(list(segments))))])
    if spoil is Spoil.OFF:
        yield from _lying(packets, serial) if rng.uniform() < 0.5 else _silent(packets, serial, rng)
    elif spoil is Spoil.LOOSE:
        yield from _loose(packets, serial, rng)
    else:
        yield from packets


def _silent(packets: Iterable[RawPacket], serial: str, rng: np.random.Generator) -> Iterator[RawPacket]:
    """Off from the beginning, or soon after."""
    from_ns = int(max(rng.uniform(-6.0, 6.0), 0.0) * 1e9)
    yield from (one for one in packets if one.sensor != serial or one.host_ns < from_ns)


def _lying(packets: Iterable[RawPacket], serial: str) -> Iterator[RawPacket]:
    """Not worn: it tells again and again what it told first, standing still."""
    first: Floats | None = None
    for packet in packets:
        if packet.sensor == serial:
            samples = _samples(packet)
            first = samples["value"].copy() if first is None else first
            samples["value"] = first[: len(samples)]
            packet = _packet(packet, samples)
        yield packet


def _loose(packets: Iterable[RawPacket], serial: str, rng: np.random.Generator) -> Iterator[RawPacket]:
    """A strap that lets go: the sensor swings about an axis, shaken by the segment's turns, and slides on with them."""
    axis = rng.standard_normal(3)
    axis /= np.linalg.norm(axis)
    w, damping = 2 * np.pi * rng.uniform(2.5, 5.0), rng.uniform(0.08, 0.2)
    gain, slide = rng.uniform(0.6, 1.2), np.deg2rad(rng.uniform(1.5, 3.0)) * rng.choice([-1.0, 1.0])
    angle = speed = rest = 0.0
    before: Floats | None = None
    for packet in packets:
        if packet.sensor != serial:
            yield packet
            continue
        samples = _samples(packet)
        value = samples["value"].copy()
        before = value[0, :3] if before is None else before
        for i, (gyr, acc) in enumerate(zip(value[:, :3], value[:, 3:], strict=True)):
            push = -gain * float((gyr - before) @ axis) * RATE_HZ
            turning = float(np.linalg.norm(gyr))
            rest += slide * turning / RATE_HZ if turning > 0.5 else 0.0  # per radian that the segment turns
            speed += (push - 2 * damping * w * speed - w * w * (angle - rest)) / RATE_HZ
            angle += speed / RATE_HZ
            before = gyr
            back = Rotation.from_rotvec(-angle * axis)
            samples["value"][i, :3] = back.apply(gyr) + speed * axis
            samples["value"][i, 3:] = back.apply(acc)
        yield _packet(packet, samples)


def slipping(packets: Iterable[RawPacket], slip: StrapSlip, place: ImuPlace) -> Iterator[RawPacket]:
    """The packets, with one strap that slips; smoothly, so that its gyroscope feels it."""
    serial = serial_of(slip.segment)
    axis = Rotation.from_quat(place.q_sb, scalar_first=True).apply([0.0, 1.0, 0.0])
    for packet in packets:
        if packet.sensor == serial and packet.host_ns * 1e-9 > slip.at_s:
            samples = _samples(packet)
            u = np.clip((samples["tick"] * 1e-9 - slip.at_s) / SLIP_S, 0.0, 1.0)
            angle = slip.angle_rad * u * u * (3.0 - 2.0 * u)
            rate = slip.angle_rad * 6.0 * u * (1.0 - u) / SLIP_S
            back = Rotation.from_rotvec(-angle[:, None] * axis)
            value = samples["value"].copy()
            samples["value"][:, :3] = back.apply(value[:, :3]) + rate[:, None] * axis
            samples["value"][:, 3:] = back.apply(value[:, 3:])
            packet = _packet(packet, samples)
        yield packet


SLIP_S = 0.5


def _samples(packet: RawPacket) -> np.ndarray:
    return np.frombuffer(packet.payload, _SAMPLE, offset=_HEADER_BYTES).copy()


def _packet(packet: RawPacket, samples: np.ndarray) -> RawPacket:
    return replace(packet, payload=packet.payload[:_HEADER_BYTES] + samples.tobytes())
