"""The sensors of a session: their packets become samples in its time, and those become orientations."""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Mapping, Sequence
from typing import NamedTuple, TypeAlias

from imufeedback.conduct.batch import Batch, Gathering, item_place
from imufeedback.conduct.chain import Chain
from imufeedback.conduct.sensor_clock import clock_of
from imufeedback.cues.lateness import Arrival, Lateness
from imufeedback.errors import UsageError
from imufeedback.fusion import Fusion
from imufeedback.fusion.corrected import Corrected
from imufeedback.packets import Decoder, Layout, parse_layout
from imufeedback.records import (
    ClockFitted,
    ClockRestarted,
    DeviceBlock,
    Event,
    Fit,
    Gap,
    ImuBlock,
    ImuRun,
    Item,
    Link,
    LinkNote,
    Notice,
    OrientationBlock,
    PacketRejected,
    RawPacket,
    Segment,
    SensorTotals,
    Tick,
)
from imufeedback.settings import Sensor, Settings
from imufeedback.stage import Memory
from imufeedback.timing import Plausible, SilenceWatch, WakeSign
from imufeedback.timing.instants import Placed
from imufeedback.timing.merge import Arrived, break_s

_Decoded: TypeAlias = DeviceBlock | PacketRejected | Notice
_OfOneSensor: TypeAlias = PacketRejected | Gap | ClockFitted | ClockRestarted | Notice


class Timed(NamedTuple):
    """Samples in session time or something to be said, and the session's time at which it came."""

    now_s: float
    made: ImuBlock | Event


class _ChainState(NamedTuple):
    decoder: Memory
    clock: Memory
    plausible: Memory
    fusion: Memory


class _State(NamedTuple):
    now_ns: int
    chains: dict[str, _ChainState]
    lateness: Memory
    silence: Memory


class Sensors:
    """All sensors of a session, which begins at the host's `origin_ns`. Raises UsageError and BadToml for settings
    that make no sense."""

    def __init__(self, settings: Settings, origin_ns: int) -> None:
        self._origin_ns = self._now_ns = origin_ns
        layouts = {name: parse_layout(text, f"layout {name}") for name, text in settings.layouts.items()}
        self.chains = {one.id: self._chain(one, layouts, settings.filter) for one in settings.sensors}
        self.lateness = Lateness()
        self.silence = SilenceWatch(break_s(settings.grid_hz))

    def _chain(self, sensor: Sensor, layouts: Mapping[str, Layout], filter_name: str) -> Chain:
        layout = layouts.get(sensor.layout)
        if layout is None:
            raise UsageError(
                f"sensor {sensor.id} has the unknown layout {sensor.layout!r}",
                where="begin",
                hint=f"there are {', '.join(layouts) or 'none'}",
            )
        clock = clock_of(sensor.id, layout, self._origin_ns, delay_s=layout.delay_s + sensor.offset_s)
        fusion = Fusion(
            sensor.id,
            filter_name=filter_name,
            period_s=1.0 / layout.rate_hz,
            tells_knocks=sensor.role is Segment.LEAD_FOREARM,
        )
        decoder = Decoder(sensor.id, layout, self._origin_ns)
        live, corrected = layout.gatt is not None, Corrected(sensor.calibration)
        packet_s = layout.samples_per_packet / layout.rate_hz
        return Chain(sensor, decoder, clock, corrected, Plausible(sensor.id), fusion, live, packet_s, self._origin_ns)

    # ── time ─────────────────────────────────────────────────────────────────────────────────────────────────────

    @property
    def now_s(self) -> float:
        """The session's time by the newest item."""
        return self.seconds(self._now_ns)

    def seconds(self, host_ns: int) -> float:
        return (host_ns - self._origin_ns) * 1e-9

    def pass_to(self, host_ns: int) -> float:
        """Time goes on, never back; returns `now_s`."""
        self._now_ns = max(self._now_ns, host_ns)
        return self.now_s

    # ── packets to samples ───────────────────────────────────────────────────────────────────────────────────────

    def timed(self, items: Sequence[Placed]) -> Iterator[Timed]:
        """What comes of items that are no commands, in their order; an item at a time, as it is asked for."""
        for item in items:
            if isinstance(item, PacketRejected | Notice):
                yield Timed(self.now_s, item)
                continue
            now_s = self.pass_to(item.host_ns)
            if isinstance(item, Tick):
                self.silence.feed(WakeSign(self.seconds(item.host_ns)))
                chains = list(self.chains.values())
            else:
                told = self._told(item)
                if told is not None:
                    yield Timed(now_s, told)
                own = self.chains.get(item.sensor) if isinstance(item, RawPacket) else None
                chains = [] if own is None else [own]
            if isinstance(item, Tick | RawPacket):
                for chain in chains:
                    for made in self._of_chain(chain, chain.decoder.feed(item)):
                        yield Timed(now_s, made)

    def batch(self, items: Sequence[Placed]) -> Batch:
        """The same of all of them at once, each sensor's packets column by column."""
        all_of_it = Gathering()
        own: dict[str, tuple[list[int], list[RawPacket | Tick]]] = {name: ([], []) for name in self.chains}
        now_s: list[float] = []
        now_ns, origin_ns = self._now_ns, self._origin_ns
        for k, item in enumerate(items):
            if not isinstance(item, PacketRejected | Notice) and item.host_ns > now_ns:
                now_ns = item.host_ns
            now_s.append((now_ns - origin_ns) * 1e-9)
            if isinstance(item, RawPacket) and (mine := own.get(item.sensor)) is not None:
                mine[0].append(k)
                mine[1].append(item)
            elif isinstance(item, Tick):
                all_of_it.signs.append((item_place(k), self.seconds(item.host_ns), "", None, True))
                for places, its in own.values():
                    places.append(k)
                    its.append(item)
            else:
                told = item if isinstance(item, PacketRejected | Notice) else self._told(item)
                if told is not None:
                    all_of_it.told.append((item_place(k), told))
        self._now_ns = now_ns
        for number, (chain, (places, its)) in enumerate(zip(self.chains.values(), own.values(), strict=True), start=1):
            if its:
                all_of_it.take(number, chain, places, its)
        return all_of_it.close(now_s, self.silence, self.lateness)

    def _told(self, item: Item) -> Event | None:
        """What is to be said of an item by itself."""
        if isinstance(item, LinkNote):
            return Link(item.sensor, self.seconds(item.host_ns), item.state, item.detail, item.facts)
        if isinstance(item, RawPacket) and item.sensor not in self.chains:
            return PacketRejected(item.sensor, self.seconds(item.host_ns), "no such sensor in this session")
        return None

    def rest(self) -> Iterator[Timed]:
        """What was held back at the end."""
        for chain in self.chains.values():
            for made in self._of_chain(chain, chain.decoder.finish()):
                yield Timed(self.now_s, made)

    def _of_chain(self, chain: Chain, records: Iterable[_Decoded]) -> Iterator[ImuBlock | _OfOneSensor]:
        """One sensor's samples in session time, and what is to be said about them."""
        for record in records:
            if not isinstance(record, DeviceBlock):
                yield record
                continue
            host_s, name = self.seconds(record.host_ns), chain.sensor.id
            yield from self.silence.feed(WakeSign(host_s, name, by_radio=chain.live))
            for timed in chain.clock.feed(record):
                if isinstance(timed, ImuBlock):
                    if chain.live:
                        yield from self.lateness.feed(Arrival(name, host_s, timed.t_s.item(-1)))
                    yield from chain.plausible.feed(chain.corrected.feed(timed))
                    continue
                yield timed
                if chain.live and isinstance(timed, ClockRestarted):
                    yield from self.silence.feed(WakeSign(host_s, name, chain.clock.ahead_s))

    # ── samples to orientations ──────────────────────────────────────────────────────────────────────────────────

    def oriented(self, batch: Batch) -> tuple[list[int], Arrived]:
        """The orientations of a batch in the order in which they came, with their places in it."""
        places: list[int] = []
        blocks: list[OrientationBlock] = []
        of: list[int] = []
        begins: list[int] = []
        ends: list[int] = []
        for name, own in batch.own.items():
            for part in self.chains[name].fusion.feed_many(own.blocks):
                if not blocks or part.block is not blocks[-1]:
                    blocks.append(part.block)
                fed, known = own.blocks[part.of], own.places[part.of]
                known = known if part.packet is None else [known[part.packet]]
                # in a run all samples count
                samples = fed.samples if isinstance(fed, ImuRun) and len(known) > 1 else part.end - part.begin
                places += known
                of += [len(blocks) - 1] * len(known)
                begins += range(part.begin, part.end, samples)
                ends += range(part.begin + samples, part.end + 1, samples)
        if len(places) == 1:
            return places, Arrived(blocks, of, begins, ends)
        order = sorted(range(len(places)), key=places.__getitem__)
        columns = ([column[k] for k in order] for column in (of, begins, ends))
        return [places[k] for k in order], Arrived(blocks, *columns)

    def correct(self, fit: Fit) -> None:
        """The calibration movements turned the sensors against gravity, which shows their zero-g offsets."""
        found = {one.segment: one.acc_bias_m_s2 for one in fit.segments}
        for chain in self.chains.values():
            if chain.sensor.role in found:
                chain.fusion.add_acc_bias(found[chain.sensor.role])

    # ── the whole ────────────────────────────────────────────────────────────────────────────────────────────────

    def totals(self) -> list[Event]:
        """Of every sensor."""
        return [_totals(chain) for chain in self.chains.values()]

    @property
    def state(self) -> _State:
        chains = {
            name: _ChainState(chain.decoder.state, chain.clock.state, chain.plausible.state, chain.fusion.state)
            for name, chain in self.chains.items()
        }
        return _State(self._now_ns, chains, self.lateness.state, self.silence.state)

    @state.setter
    def state(self, value: _State) -> None:
        self._now_ns, chains, self.lateness.state, self.silence.state = value
        for name, kept in chains.items():
            chain = self.chains[name]
            chain.decoder.state, chain.clock.state, chain.plausible.state, chain.fusion.state = kept


def _totals(chain: Chain) -> SensorTotals:
    counts = chain.decoder.counts
    return SensorTotals(
        chain.sensor.id,
        chain.sensor.role,
        chain.clock.rate_hz,
        counts.samples,
        counts.lost,
        counts.rejected,
        counts.duplicates,
        counts.reordered,
        counts.saturated,
    )
