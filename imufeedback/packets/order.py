"""Where a packet stands in its stream: next, ahead, repeated, late, after a jump, or after a restart.

The packet number says how many packets are missing; the tick says how much time passed; the host's clock says how much
can have passed. A number and a tick that both jump back are a restart only when the host's clock rules a roll-over out:
roll-over and restart have the same sign, but a roll-over makes a small step forward.
"""

from __future__ import annotations

from dataclasses import dataclass, field
from enum import Enum, auto

from imufeedback.packets.layout import Layout
from imufeedback.packets.unpack import Packet

WINDOW = 3
"""Packets held back at most while one before them is missing."""
HOLD_NS = 30_000_000
"""A packet waits at most this long for the one before it: the bound of the merge of sensors."""
REPEAT_NS = 2_000_000_000
"""An equal packet within this time is a repeat; an old subscription repeats within milliseconds."""
SLACK_S = 1.0
"""How far the sensor's clock may run ahead of the arrivals: the delay that the packet before may have had."""
BURST_S = 30.0
"""Longest loss that number and tick may agree on against the host's clock: a full queue in the sensor."""
LATE_S = 1.0
"""A packet not further behind than this, by its tick and by its arrival, is late; else the counter restarted."""
LATE_RUN = 8
"""So many late packets in a row are a new stream."""
RECENT = 64
"""Packets remembered to know repeats by."""
STEPS = 7
"""Steps between packets whose median is the measured sample period."""


class Place(Enum):
    """Where a packet stands."""

    FIRST = auto()
    NEXT = auto()
    AHEAD = auto()
    """Packets before it are missing; they may still come."""
    JUMP = auto()
    """The number makes no sense, the time does."""
    REPEAT = auto()
    LATE = auto()
    RESTART = auto()


@dataclass(slots=True)
class Order:
    """What is remembered of the stream."""

    last: Packet | None = None
    """The packet released last."""
    held: list[Packet] = field(default_factory=list)
    """Packets that wait for one before them, in the order of their numbers."""
    recent: dict[int, Packet] = field(default_factory=dict)
    """Packets of the last moments by their key, oldest first."""
    late: int = 0
    """Late packets in a row."""
    steps: list[float] = field(default_factory=list)
    """Ticks between samples, from the last pairs of consecutive packets."""
    step: float = 0.0
    """Their median; 0 while nothing is measured."""


class Judge:
    """Places packets of one layout in their stream. All memory is in the `Order` it is given."""

    def __init__(self, layout: Layout) -> None:
        self._modulus = layout.counter_modulus
        self._unit_s = layout.counter.unit_s
        self._nominal = layout.nominal_step_ticks
        self._numbers = 1 << layout.sequence_width
        self._recent = min(RECENT, self._numbers // 2) if layout.sequence_width else RECENT
        self._slack_s = min(SLACK_S, self._modulus * self._unit_s / 4)

    def step(self, order: Order) -> float:
        """Ticks between samples: measured, or nominal until then."""
        return order.step or self._nominal

    def restart(self, order: Order) -> None:
        """Forget the stream: what comes is a new one."""
        order.last = None
        order.recent.clear()
        order.steps.clear()
        order.step = 0.0

    def ahead(self, order: Order, packet: Packet) -> int:
        """Packets missing between the last one and this one; negative when it lies before. 0 without numbers."""
        if order.last is None or self._numbers == 1:
            return 0
        gap = (packet.sequence - order.last.sequence - 1) % self._numbers
        return gap - self._numbers if gap >= self._numbers // 2 else gap

    def place(self, order: Order, packet: Packet) -> Place:
        """Where the packet stands; changes nothing."""
        last = order.last
        if last is None:
            return Place.FIRST
        gap = self.ahead(order, packet)
        forward = (packet.tick - last.tick) % self._modulus
        forward_s = forward * self._unit_s
        waited_s = max(0.0, (packet.host_ns - last.host_ns) * 1e-9)
        possible = forward_s <= waited_s + self._slack_s
        if gap == 0 and forward and possible:
            return Place.NEXT
        seen = self._seen(order, packet)
        if seen is not None and seen.payload == packet.payload:
            return Place.REPEAT
        if seen is None and gap > 0 and self._agrees(order, gap, forward):
            return Place.AHEAD
        if possible:
            # A number that jumped back, while the tick stepped far less than the time waited: a restart that happens to
            # look like a roll-over.
            return Place.RESTART if gap < 0 and forward_s + self._slack_s < waited_s else Place.JUMP
        return Place.LATE if seen is None and self._is_late(order, packet, gap) else Place.RESTART

    def _key(self, packet: Packet) -> int:
        return packet.tick if self._numbers == 1 else packet.sequence

    def _seen(self, order: Order, packet: Packet) -> Packet | None:
        """The packet with the same key that came a moment ago."""
        seen = order.recent.get(self._key(packet))
        return seen if seen is not None and packet.host_ns - seen.host_ns < REPEAT_NS else None

    def _agrees(self, order: Order, gap: int, forward: int) -> bool:
        """Whether number and tick tell of the same loss, whatever the arrivals say."""
        assert order.last is not None
        per_packet = order.last.samples * self.step(order)
        expected = (gap + 1) * per_packet
        near = abs(forward - expected) <= 0.25 * expected + 2 * per_packet
        return near and forward * self._unit_s <= BURST_S

    def _is_late(self, order: Order, packet: Packet, gap: int) -> bool:
        """Whether it lies just behind the last one. (A number seen with other content belongs to a new stream.)"""
        assert order.last is not None
        behind_s = (order.last.tick - packet.tick) % self._modulus * self._unit_s
        behind = self._numbers == 1 or -self._recent <= gap < 0
        waited_s = (packet.host_ns - order.last.host_ns) * 1e-9
        return behind and behind_s <= LATE_S and waited_s <= LATE_S and order.late < LATE_RUN

    def remember(self, order: Order, packet: Packet) -> None:
        """Keep the packet to know its repeats by."""
        order.recent[self._key(packet)] = packet
        if len(order.recent) > self._recent:
            del order.recent[next(iter(order.recent))]

    def measure(self, order: Order, packet: Packet) -> None:
        """Learn the sample period from the last packet and this one, its direct successor."""
        if order.last is None:
            return
        step = (packet.tick - order.last.tick) % self._modulus / order.last.samples
        if self._nominal / 20 < step < self._nominal * 20:
            order.steps.append(step)
            del order.steps[:-STEPS]
            order.step = sorted(order.steps)[len(order.steps) // 2]

    def lost_by_time(self, order: Order, packet: Packet) -> int:
        """Samples that are missing before this packet as the ticks tell; 0 until the period is measured."""
        if order.last is None or not order.steps:
            return 0
        step = self.step(order)
        excess = (packet.tick - order.last.tick) % self._modulus - order.last.samples * step
        return round(excess / step) if excess > 1.5 * step else 0
