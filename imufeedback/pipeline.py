"""All pure stages, composed: inputs in, events out. Live, replay and analysis run this same code.

It reads no clock, opens no file and starts no thread; time comes in with the items. Commands it knows:

========== ==========================================================================================
verb       arguments
========== ==========================================================================================
begin      `Settings.to_args`; must come first
fit-begin  none: the player performs the fitting movements from now on
fit-cancel none: no more; also the answer to a swap that is offered
swap       none: the sensors are where the fitting movements say (`SwapOffered`)
keep       none: they are where the session says; the player began with the other knee
fit        ``still: [from, to]``, ``flex: [from, to]`` or by segment; session seconds, all in the past
set-fit    a stored fit (`fit_args`); ``caution``: what has to be said of it
zero       none: pelvis turn and hip rotations count from now
zero-undo  none: from where they counted before the last zeroing
cue        ``sound``, ``on``: switch one sound
mute       ``on``: silence, or sound again
note       ``text``: kept in the journal only
========== ==========================================================================================

An unknown verb is kept in the journal and does nothing here, so that newer recordings replay.
"""

from __future__ import annotations

import copy
from collections.abc import Iterable, Mapping
from dataclasses import dataclass
from typing import Any

import msgspec
import numpy as np

from imufeedback.body import Body
from imufeedback.body.stage import fit_to_json
from imufeedback.cues.schedule import Cueing, Heard
from imufeedback.errors import UsageError
from imufeedback.fusion import Fusion
from imufeedback.motion import LiveLimits, MotionStage, RepLimits
from imufeedback.packets import Decoder, Layout, parse_layout
from imufeedback.records import (
    AlignedBlock,
    Angles,
    Command,
    DeviceBlock,
    Event,
    Fit,
    Fitted,
    Hand,
    ImuBlock,
    Item,
    Json,
    Link,
    LinkNote,
    Notice,
    PacketRejected,
    RawPacket,
    Rep,
    RolesChanged,
    Segment,
    SensorTotals,
    Tick,
    Zeroed,
)
from imufeedback.rules import Rules, RuleSet, parse_rule_set
from imufeedback.settings import Sensor, Settings, from_args
from imufeedback.timing import Merger, SensorClock

__all__ = ["Pipeline", "fit_args", "run"]


def fit_args(fit: Fit) -> dict[str, Json]:
    """Arguments of ``set-fit`` for a fit that an earlier `Fitted` event gave."""
    return fit_to_json(fit)


@dataclass
class _Chain:
    """The stages of one sensor."""

    sensor: Sensor
    decoder: Decoder
    clock: SensorClock
    fusion: Fusion


class Pipeline:
    """Feed it items in their order; every call returns the events that follow.

    `feed` raises UsageError for misuse only: no ``begin`` at the start, a second one, or settings that make no sense.
    What the sensors send never raises.
    """

    def __init__(self) -> None:
        self._settings: Settings | None = None
        self._origin_ns = 0
        self._now_ns = 0

    def feed(self, item: Item) -> list[Event]:
        if self._settings is None:
            if not (isinstance(item, Command) and item.verb == "begin"):
                raise UsageError("the first item of a session must be the command begin", where="pipeline")
            return self._begin(item)
        self._now_ns = max(self._now_ns, item.host_ns)
        return self._heard(self._events(item))

    def finish(self) -> list[Event]:
        """No more items: what was held back, then the totals of every sensor."""
        if self._settings is None:
            return []
        events: list[Event] = []
        for chain in self._chains.values():
            events += self._decoded(chain, chain.decoder.finish())
        events += self._aligned(self._merger.finish())
        return self._heard(events) + [self._totals(chain) for chain in self._chains.values()]

    # ── set-up ───────────────────────────────────────────────────────────────────────────────────────────────────

    def _begin(self, command: Command) -> list[Event]:
        self._settings = settings = from_args(command.args)
        self._origin_ns = self._now_ns = command.host_ns
        layouts = {name: parse_layout(text, f"layout {name}") for name, text in settings.layouts.items()}
        self._chains = {one.id: self._chain(one, layouts, settings) for one in settings.sensors}
        segments = [one.role for one in settings.sensors]
        hand = settings.player.hand
        self._merger = self._new_merger(settings.sensors)
        self._body = Body(segments, hand=hand, grid_hz=settings.grid_hz, origin_ns=self._origin_ns)
        rule_set = parse_rule_set(settings.rule_set, "rule set of the session")
        self._motion = _motion(hand, rule_set)
        self._rules = Rules(rule_set)
        self._cueing = Cueing()
        missing = [one for one in (Segment.PELVIS, Segment.LEFT_THIGH, Segment.RIGHT_THIGH) if one not in segments]
        if missing:
            names = ", ".join(missing).replace("_", " ")
            return [Notice(0.0, f"no sensor on {names}: swings cannot be judged")]
        return []

    def _chain(self, sensor: Sensor, layouts: Mapping[str, Layout], settings: Settings) -> _Chain:
        layout = layouts.get(sensor.layout)
        if layout is None:
            raise UsageError(
                f"sensor {sensor.id} has the unknown layout {sensor.layout!r}",
                where="begin",
                hint=f"there are {', '.join(layouts) or 'none'}",
            )
        clock = SensorClock(
            sensor.id,
            tick_unit_s=layout.counter.unit_s,
            tick_bits=layout.counter.bits,
            nominal_hz=layout.rate_hz,
            origin_ns=self._origin_ns,
            delay_s=layout.delay_s,
        )
        fusion = Fusion(sensor.id, filter_name=settings.filter, period_s=1.0 / layout.rate_hz)
        return _Chain(sensor, Decoder(sensor.id, layout, self._origin_ns), clock, fusion)

    # ── items ────────────────────────────────────────────────────────────────────────────────────────────────────

    def _events(self, item: Item) -> list[Event]:
        if isinstance(item, RawPacket):
            return self._packet(item)
        if isinstance(item, LinkNote):
            return [Link(item.sensor, self._seconds(item.host_ns), item.state, item.detail, item.facts)]
        if isinstance(item, Tick):
            return [e for chain in self._chains.values() for e in self._decoded(chain, chain.decoder.feed(item))]
        return self._command(item)

    def _packet(self, packet: RawPacket) -> list[Event]:
        chain = self._chains.get(packet.sensor)
        if chain is None:
            return [PacketRejected(packet.sensor, self._seconds(packet.host_ns), "no such sensor in this session")]
        return self._decoded(chain, chain.decoder.feed(packet))

    def _command(self, command: Command) -> list[Event]:
        if command.verb == "begin":
            raise UsageError("a session begins once", where="pipeline")
        if command.verb == "cue":
            self._cueing.set_enabled(command.args["sound"], bool(command.args["on"]))
        elif command.verb == "mute":
            self._cueing.set_muted(bool(command.args["on"]))
        return self._swapped(command) if command.verb == "swap" else self._used(self._body.feed(command))

    def _used(self, events: Iterable[Event]) -> list[Event]:
        """Events of the body, with what follows from a new fit and a new zero."""
        out: list[Event] = []
        for made in events:
            out.append(made)
            if isinstance(made, Fitted):
                self._correct_accelerometers(made.fit)
            elif isinstance(made, Angles | Zeroed):
                out += self._moved(made)
        return out

    def _swapped(self, command: Command) -> list[Event]:
        """Give the sensors the places that the fitting movements showed. All memory of the samples stays."""
        found, settings = self._body.take_swap(), self._settings
        if found is None or settings is None:
            return []
        sensors = tuple(msgspec.structs.replace(one, role=found.roles[one.role]) for one in settings.sensors)
        self._settings = msgspec.structs.replace(settings, sensors=sensors)
        for one in sensors:
            self._chains[one.id].sensor = one
        merger, self._merger = self._merger, self._new_merger(sensors)
        self._merger.state = merger.state
        t_s = self._seconds(command.host_ns)
        self._body, events = self._body.renamed([one.role for one in sensors], found, t_s)
        return [RolesChanged(t_s, {one.id: one.role for one in sensors}), *self._used(events)]

    def _new_merger(self, sensors: Iterable[Sensor]) -> Merger:
        assert self._settings is not None
        return Merger([(one.id, one.role) for one in sensors], grid_hz=self._settings.grid_hz)

    def _correct_accelerometers(self, fit: Fit) -> None:
        """The fitting movements turned the sensors against gravity, which shows their zero-g offsets."""
        found = {one.segment: one.acc_bias_m_s2 for one in fit.segments}
        for chain in self._chains.values():
            if chain.sensor.role in found:
                chain.fusion.add_acc_bias(found[chain.sensor.role])

    # ── the way through the stages ───────────────────────────────────────────────────────────────────────────────

    def _decoded(self, chain: _Chain, records: Iterable[DeviceBlock | PacketRejected]) -> list[Event]:
        out: list[Event] = []
        for record in records:
            if isinstance(record, PacketRejected):
                out.append(record)
                continue
            for timed in chain.clock.feed(record):
                if isinstance(timed, ImuBlock):
                    for oriented in chain.fusion.feed(timed):
                        out += self._aligned(self._merger.feed(oriented))
                else:
                    out.append(timed)
        return out

    def _aligned(self, blocks: Iterable[AlignedBlock]) -> list[Event]:
        out: list[Event] = []
        for block in blocks:
            out += self._used(self._body.feed(block))
        return out

    def _moved(self, record: Angles | Zeroed) -> list[Event]:
        out: list[Event] = []
        for made in self._motion.feed(record):
            out.append(made)
            if isinstance(made, Rep):
                out += self._rules.feed(made)
        return out

    def _heard(self, events: list[Event]) -> list[Event]:
        """The events, each followed by the cues that it gives."""
        now_s = self._seconds(self._now_ns)
        out: list[Event] = []
        for event in events:
            out.append(event)
            if not isinstance(event, Angles):
                out += self._cueing.feed(Heard(now_s, event))
        return out

    def _totals(self, chain: _Chain) -> SensorTotals:
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

    def _seconds(self, host_ns: int) -> float:
        return (host_ns - self._origin_ns) * 1e-9

    # ── state ────────────────────────────────────────────────────────────────────────────────────────────────────

    @property
    def state(self) -> Any:
        """The whole memory, independent of later items; can be pickled."""
        if self._settings is None:
            return None
        chains = {
            name: (chain.decoder.state, chain.clock.state, chain.fusion.state) for name, chain in self._chains.items()
        }
        stages = (self._merger.state, self._body.state, self._motion.state, self._cueing.state)
        return copy.deepcopy((self._settings.to_args(), self._origin_ns, self._now_ns, chains, stages))

    @state.setter
    def state(self, value: Any) -> None:
        self._settings = None
        if value is None:
            return
        args, origin_ns, now_ns, chains, stages = copy.deepcopy(value)
        self._begin(Command(origin_ns, "begin", args))
        self._now_ns = now_ns
        for name, (decoder, clock, fusion) in chains.items():
            chain = self._chains[name]
            chain.decoder.state, chain.clock.state, chain.fusion.state = decoder, clock, fusion
        self._merger.state, self._body.state, self._motion.state, self._cueing.state = stages


def _motion(hand: Hand, rule_set: RuleSet) -> MotionStage:
    live, rep = rule_set.live, rule_set.rep
    return MotionStage(
        hand=hand,
        live=LiveLimits(
            min_slope=live.min_slope,
            dead_turn_rad=float(np.deg2rad(live.dead_turn_deg)),
            dead_s=live.dead_ms / 1000.0,
            target_rad=float(np.deg2rad(live.target_deg)),
            grow_rad=float(np.deg2rad(live.grow_deg)),
        ),
        rep=RepLimits(
            min_backswing_rad=float(np.deg2rad(rep.min_backswing_deg)),
            min_through_rad=float(np.deg2rad(rep.min_through_deg)),
            max_s=rep.max_s,
        ),
    )


def run(items: Iterable[Item]) -> Iterable[Event]:
    """All events of a list of items, to the end."""
    pipeline = Pipeline()
    for item in items:
        yield from pipeline.feed(item)
    yield from pipeline.finish()
