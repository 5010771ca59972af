"""Where a packet stands in its stream: next, ahead, repeated, late, after a jump, or after a restart.

The packet number says how many packets are missing; the tick says how much time passed; the host's clock says how much
can have passed. Numbers and ticks that agree overrule the host's clock: packets that come late, however late, are a
backlog. A number and a tick that both jump back are a restart only when the host's clock rules a roll-over out:
roll-over and restart have the same sign, but a roll-over makes a small step forward.
"""

from __future__ import annotations

from dataclasses import dataclass, field
from enum import Enum, auto

from imufeedback.packets.layout import Layout
from imufeedback.packets.modulus import Rounds
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
FAR_S = 3.0
"""Where packets have no number, ticks that tell of so much less time than passed are no roll-over. Chosen: longer than
any radio delays a packet that it delivers."""
LEAK = 0.2
"""Of the lag that is taken off with every second of the host's: a sensor's clock that is slow by less than that is
never taken for packets that wait. Parts that count samples are off by up to 15 %."""
DIRECT = 0.1
"""Part by which the step of the tick to the next packet may differ from the measured one; or 1.5 ticks."""
LOSS = 0.03
"""Part by which number and tick may differ in what they tell of a loss, and a packet. Chosen: periods are
measured in whole ticks."""
AROUND = 0.02
"""The same over many packets, by which a short packet number came round."""
LATE_S = 1.0
"""A packet not further behind than this, by its tick and by its arrival, is late; else the counter restarted."""
LATE_RUN = 8
"""So many late packets in a row are a new stream."""
PAUSE_S = 3.0
"""A sensor that goes on with the next number after a longer time was not measuring: nothing was lost. Chosen, the same
as a silence that is told."""
JUMP_S = 0.3
"""How well a tick that stands near 0 must fit the time that passed, for a number that makes no sense. Chosen: packets
of a link that has just come back are seldom later."""
NEWBORN = 3
"""Packet numbers below are those of a sensor that has just begun."""
NEAR = 6
"""Packets over which it is asked whether a counter begins again where the layout says."""
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
    lag_s: float = 0.0
    """How much later than it could have come the last packet came: what a backlog may still make up for."""
    tick_rounds: Rounds = field(default_factory=Rounds)
    number_rounds: Rounds = field(default_factory=Rounds)


class PacketPlacer:
    """Places packets of one layout in their stream. All memory is in the `Order` it is given."""

    def __init__(self, layout: Layout) -> None:
        self._modulus = layout.counter_modulus
        self.unit_s = layout.counter.unit_s
        self.nominal = layout.nominal_step_ticks
        self._numbers = layout.sequence_numbers
        self.recent = min(RECENT, self._numbers // 2) if self._numbers > 1 else RECENT
        self._wide = layout.sequence_width >= 32
        self._slack_s = min(SLACK_S, self._modulus * self.unit_s / 4)
        self._jump_s = min(JUMP_S, self._slack_s)
        self._far_s = min(FAR_S, self._modulus * self.unit_s / 2)

    def step(self, order: Order) -> float:
        """Ticks between samples: measured, or nominal until then."""
        return order.step or self.nominal

    def restart(self, order: Order) -> None:
        """Forget the stream: what comes is a new one."""
        order.last = None
        order.recent.clear()
        order.steps.clear()
        order.step = 0.0
        order.lag_s = 0.0

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
        direct = self._is_direct(order, forward)
        if gap == 0 and direct:
            return Place.NEXT
        forward_s = forward * self.unit_s
        could_s = max(0.0, (packet.host_ns - last.host_ns) * 1e-9) + order.lag_s
        possible = forward_s <= could_s + self._slack_s
        if gap == 0 and forward and possible:
            return self._after_a_step(last, packet, forward_s, could_s)
        seen = self._seen(order, packet)
        if seen is not None and seen.payload == packet.payload:
            return Place.REPEAT
        # numbers and ticks that both begin near 0: a number of few bits fits anything now and then
        short = forward_s + self._slack_s < could_s
        young = packet.tick * self.unit_s <= could_s + self._slack_s
        newborn = packet.sequence < NEWBORN < self._numbers and (packet.tick < last.tick or (short and young))
        told = seen is None and gap > 0 and not (short and newborn)
        if told and self._agrees(order, gap, forward, could_s):
            return Place.AHEAD
        if possible:
            fits = self._fits(direct, young, newborn, could_s - forward_s) or (
                not newborn and self._came_round(order, gap, forward)
            )
            return Place.JUMP if fits else Place.RESTART
        return Place.LATE if seen is None and self._is_late(order, packet, gap) else Place.RESTART

    def plainly_next(self, order: Order, packet: Packet) -> bool:
        """Whether it is the next one for sure, nothing is missing before it, and no counter began again: nearly always."""
        last = order.last
        if last is None or order.held or len(order.steps) < STEPS:
            return False
        if self._numbers > 1 and packet.sequence != last.sequence + 1:
            return False
        excess = packet.tick - last.tick - last.samples * order.step
        return (
            packet.tick > last.tick and excess <= 1.5 * order.step and self._is_direct(order, packet.tick - last.tick)
        )

    def _is_direct(self, order: Order, forward: float) -> bool:
        """Whether the tick steps as it does from one packet to the next one."""
        assert order.last is not None
        per_packet = order.last.samples * self.step(order)
        return forward > 0 and abs(forward - per_packet) <= max(DIRECT * per_packet, 1.5)

    def _fits(self, direct: bool, young: bool, newborn: bool, off_s: float) -> bool:
        """Whether the tick alone, with a number that makes no sense, goes on: it steps by the time that passed. One
        that may also have begun again has to fit better, and with a number that has begun again it has."""
        if direct:
            return off_s <= self._slack_s
        if young and newborn:
            return False
        return abs(off_s) <= (self._jump_s if young else self._slack_s)

    def _after_a_step(self, last: Packet, packet: Packet, forward_s: float, could_s: float) -> Place:
        """The next number, or none, and a step of the tick that is possible and not the usual one: samples that the
        sensor left out, or, where no number tells, a counter that begins again and happens to step forward."""
        unknown = self._numbers == 1 and packet.tick < last.tick and forward_s + self._far_s < could_s
        return Place.RESTART if unknown else Place.NEXT

    def _key(self, packet: Packet) -> int:
        return packet.tick if self._numbers == 1 else packet.sequence

    def _seen(self, order: Order, packet: Packet) -> Packet | None:
        """The packet with the same key that came a moment ago."""
        seen = order.recent.get(self._key(packet))
        return seen if seen is not None and packet.host_ns - seen.host_ns < REPEAT_NS else None

    def _agrees(self, order: Order, gap: int, forward: int, could_s: float) -> bool:
        """Whether number and tick tell of the same loss, whatever the arrivals say."""
        assert order.last is not None
        per_packet = order.last.samples * self.step(order)
        expected = (gap + 1) * per_packet
        if self._rounds(expected, forward) and expected * self.unit_s <= could_s + self._slack_s:
            return True
        # a short number fits anything now and then, so it must fit well once the rate is known
        off = LOSS * expected + per_packet if order.step else 0.25 * expected + 2 * per_packet
        near = abs(forward - expected) <= off
        # where the tick steps as to the next packet, nothing is lost, whatever the number says
        return near and forward * self.unit_s <= BURST_S and not self._is_direct(order, forward)

    def _rounds(self, expected: float, forward: int) -> int:
        """How often the counter went all round within a loss that the numbers tell; 0 where that does not fit."""
        rounds = round((expected - forward) / self._modulus)
        off = abs(forward + rounds * self._modulus - expected)
        return rounds if rounds > 0 and off <= min(0.25 * expected, self._modulus / 4) else 0

    def rounds(self, order: Order, packet: Packet, lost: int) -> int:
        """How often the counter went all round before this packet, with so many samples lost by the numbers."""
        if order.last is None or not lost:
            return 0
        forward = (packet.tick - order.last.tick) % self._modulus
        return self._rounds((lost + order.last.samples) * self.step(order), forward)

    def unseen(self, order: Order, packet: Packet, rounds: int) -> int:
        """The same from the last sample on instead of from the last packet's first one."""
        if order.last is None or not rounds:
            return 0
        span = round((order.last.samples - 1) * self.step(order))
        return ((packet.tick - order.last.tick) % self._modulus + rounds * self._modulus - span) // self._modulus

    def _came_round(self, order: Order, gap: int, forward: int) -> bool:
        """Whether the number fits what the tick tells when it went all round, once or more, in between."""
        assert order.last is not None
        if self._numbers == 1:
            return False
        packets = forward / (order.last.samples * self.step(order))
        spread = AROUND * packets + 2
        if packets < self._numbers / 2 or spread > self._numbers / 8:
            return False
        off = (packets - gap - 1) % self._numbers
        return min(off, self._numbers - off) <= spread

    def _is_late(self, order: Order, packet: Packet, gap: int) -> bool:
        """Whether it lies just behind the last one. (A number seen with other content belongs to a new stream.)"""
        assert order.last is not None
        behind_s = (order.last.tick - packet.tick) % self._modulus * self.unit_s
        behind = self._numbers == 1 or -self.recent <= gap < 0
        waited_s = (packet.host_ns - order.last.host_ns) * 1e-9
        return behind and behind_s <= LATE_S and waited_s <= LATE_S and order.late < LATE_RUN

    def remember(self, order: Order, packet: Packet) -> None:
        """Keep the packet to know its repeats by."""
        order.recent[self._key(packet)] = packet
        if len(order.recent) > self.recent:
            del order.recent[next(iter(order.recent))]

    def follow(self, order: Order, packet: Packet, rounds: int) -> None:
        """Keep how late the packet is that is handed on now; call it before it becomes the last one."""
        if order.last is not None:
            waited_s = max(0.0, (packet.host_ns - order.last.host_ns) * 1e-9)
            forward = (packet.tick - order.last.tick) % self._modulus + rounds * self._modulus
            lag_s = order.lag_s + waited_s - forward * self.unit_s - LEAK * min(waited_s, 1.0)
            order.lag_s = lag_s if lag_s > 0.0 else 0.0

    def real_moduli(self, order: Order, packet: Packet) -> tuple[int | None, int | None]:
        """Modulus of the clock and of the packet number, each once, when it is not the one that the layout states; call
        it before the packet becomes the last one."""
        last = order.last
        if last is None or (packet.tick > last.tick and packet.sequence > last.sequence):
            return None, None
        gap = self.ahead(order, packet)
        per_packet = last.samples * self.step(order)
        clock = number = None
        if packet.tick < last.tick:
            clock = self._real_clock(order, packet, gap, per_packet)
        elif packet.sequence < last.sequence:
            packets = round((packet.tick - last.tick) / per_packet)
            if gap == packets - 1:
                order.number_rounds.as_stated()
            elif 1 <= packets <= NEAR and abs((packet.tick - last.tick) - packets * per_packet) <= 0.25 * per_packet:
                number = order.number_rounds.take(last.sequence + packets - packet.sequence)
        return clock, number

    def _real_clock(self, order: Order, packet: Packet, gap: int, per_packet: float) -> int | None:
        assert order.last is not None
        forward = (packet.tick - order.last.tick) % self._modulus
        expected = (gap + 1) * per_packet
        if abs(forward - expected) <= max(DIRECT * expected, 1.5):
            order.tick_rounds.as_stated()
            return None
        due_s = expected * self.unit_s + self._slack_s
        if not 0 <= gap < NEAR or packet.host_ns - order.last.host_ns > due_s * 1e9 or packet.tick > expected:
            return None
        return order.tick_rounds.take(round(order.last.tick + expected - packet.tick))

    def measure(self, order: Order, packet: Packet) -> None:
        """Learn the sample period from the last packet and this one, its direct successor."""
        if order.last is None:
            return
        step = (packet.tick - order.last.tick) % self._modulus / order.last.samples
        if self.nominal / 20 < step < self.nominal * 20:
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

    def paused(self, order: Order, lost: int) -> bool:
        """Whether so many samples, of which packet numbers know nothing, were never taken: a recording was broken off.
        Numbers that may have come round tell nothing."""
        assert order.last is not None
        long = lost * self.step(order) * self.unit_s > PAUSE_S
        return long and (self._wide or lost < self._numbers * order.last.samples)
