"""All pure stages, composed: inputs in, events out. Live, replay and analysis run this same code.

It reads no clock, opens no file and starts no thread; time comes in with the items. What can be asked of it:
`imufeedback.commands`.

`Pipeline.feed` takes one item, as they come; `feed_many` a whole stretch of a recording: the same stages and the same
events, but packets between two commands go through each stage together.

A command that makes no sense here, such as a sound of a newer version or a second ``begin``, changes nothing and is
told as a notice.
"""

from __future__ import annotations

import copy
from collections import deque
from collections.abc import Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass, replace
from typing import Any

import msgspec
import numpy as np

from imufeedback.body import Body
from imufeedback.commands import (
    AnyCommand,
    Asked,
    Begin,
    BeginBlock,
    Estimate,
    Malformed,
    Mute,
    Pain,
    SetLimit,
    SetZero,
    Swap,
    SwitchSound,
    is_begin,
    parse,
    recorded,
    settings_of,
)
from imufeedback.cues.feedback import Feedback
from imufeedback.cues.lateness import Arrival, Lateness
from imufeedback.cues.schedule import Cueing, Heard
from imufeedback.cues.tone import LosingTone
from imufeedback.errors import BadToml, ImuFeedbackError, UsageError
from imufeedback.fusion import Fusion
from imufeedback.motion import (
    HipTurnStage,
    LiveLimits,
    MotionStage,
    RepLimits,
    Restarted,
    of_swing,
    without_forearm,
)
from imufeedback.packets import Decoder, Layout, parse_layout
from imufeedback.records import (
    AlignedBlock,
    Angles,
    BlockBegun,
    ClockFitted,
    ClockRestarted,
    Command,
    DeviceBlock,
    Event,
    Fit,
    Fitted,
    Gap,
    Hand,
    ImuBlock,
    Item,
    Link,
    LinkNote,
    Notice,
    PacketRejected,
    Phase,
    PhaseChanged,
    RawPacket,
    Rep,
    RolesChanged,
    Segment,
    SegmentMotion,
    SelfEstimate,
    SensorTotals,
    StateChanged,
    Tick,
    Zeroed,
    joined,
)
from imufeedback.rules import (
    STOP_WORDS,
    Limits,
    Rules,
    RuleSet,
    parse_limits,
    parse_recorded,
    passed_over,
    with_limit,
    with_limits,
)
from imufeedback.settings import Sensor, Settings
from imufeedback.timing import Merger, Plausible, SensorClock, Sign, Silence
from imufeedback.timing.merge import Arrived
from imufeedback.timing.releases import Releases

__all__ = ["Pipeline", "run"]

_OWN = "limits of the player"
_UNUSABLE = (LookupError, TypeError, ValueError, ArithmeticError, AttributeError, RecursionError)
"""What values that make no sense end in, wherever they come to be used."""
_OfOneSensor = PacketRejected | Gap | ClockFitted | ClockRestarted | Notice


@dataclass
class _Chain:
    """The stages of one sensor."""

    sensor: Sensor
    decoder: Decoder
    clock: SensorClock
    plausible: Plausible
    fusion: Fusion
    live: bool
    """Its packets come by radio, so that their arrival says something; not those of an import."""


class Pipeline:
    """Feed it items in their order; every call returns the events that follow.

    `feed` raises UsageError or BadToml for misuse only: no ``begin`` at the start, or settings that make no sense. What
    comes after it never raises.
    """

    def __init__(self) -> None:
        self._settings: Settings | None = None
        self._origin_ns = 0
        self._now_ns = 0

    def feed(self, item: Item) -> list[Event]:
        if self._settings is None:
            if not is_begin(item):
                raise UsageError("the first item of a session must be the command begin", where="pipeline")
            return self._begun(item)
        self._now_ns = max(self._now_ns, item.host_ns)
        return self._heard(self._events(item))

    def feed_many(self, items: Iterable[Item]) -> list[Event]:
        """The events of a stretch of items: those of feeding one after the other, in their order, but for angles, which
        come in longer blocks and are equal to rounding (1e-9 rad)."""
        out: list[Event] = []
        together: list[Item] = []
        for item in items:
            if self._goes_with_others(item):
                together.append(item)
                continue
            out += self._together(together)
            together = []
            out += self.feed(item)
        return out + self._together(together)

    def _goes_with_others(self, item: Item) -> bool:
        """Not a command; nor a packet while its effect on the next one matters: a fitting that ends corrects the
        accelerometers."""
        if self._settings is None or isinstance(item, Command):
            return False
        return not self._body.fitting and not self._by_hip

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

    def _begun(self, command: Command) -> list[Event]:
        try:
            return self._begin(command)
        except _UNUSABLE as error:
            self._settings = None
            what = f"the session's settings cannot be used ({type(error).__name__}: {error})"
            raise UsageError(what, where="begin", hint="what was recorded is damaged, or of another version") from error
        except ImuFeedbackError:
            self._settings = None
            raise

    def _begin(self, command: Command) -> list[Event]:
        self._settings = settings = settings_of(command)
        self._origin_ns = self._now_ns = command.host_ns
        layouts = {name: parse_layout(text, f"layout {name}") for name, text in settings.layouts.items()}
        self._chains = {one.id: self._chain(one, layouts, settings) for one in settings.sensors}
        segments = [one.role for one in settings.sensors]
        hand = settings.player.hand
        self._merger = self._new_merger(settings.sensors)
        jointed = [one for one in segments if one is not Segment.LEAD_FOREARM]
        self._body = Body(jointed, hand=hand, grid_hz=settings.grid_hz)
        self._limits, said = _limits(settings.limits)
        rule_set, unknown = parse_recorded(settings.rule_set, "rule set of the session")
        said += [*unknown, *passed_over(rule_set, self._limits)]
        rule_set = with_limits(rule_set, self._limits, _OWN)
        self._motion = _motion(hand, rule_set)
        self._hip_turns = HipTurnStage(hand=hand)
        self._reps = 0
        self._stopped = False
        self._cueing = Cueing()
        self._lateness = Lateness()
        self._silence = Silence()
        self._tone = LosingTone(hand=hand)
        self._judge_by(rule_set)
        missing = [one for one in (Segment.PELVIS, Segment.LEFT_THIGH, Segment.RIGHT_THIGH) if one not in segments]
        if missing:
            names = ", ".join(missing).replace("_", " ")
            said.append(f"no sensor on {names}: swings cannot be judged")
        return [Notice(0.0, text) for text in said]

    def _judge_by(self, rule_set: RuleSet) -> None:
        """From the next rep on."""
        self._rule_set = rule_set
        self._rules = Rules(rule_set)
        self._tone.use(float(np.deg2rad(rule_set.live.target_deg)))
        needed = of_swing(rule_set.features)
        self._motion.use(live=_live(rule_set), rep=_shape(rule_set), kind=rule_set.name, needed=needed)
        drill = rule_set.drill
        self._by_hip = drill is not None and drill.detect == "hip-turn"
        if drill is not None and self._by_hip:
            least = float(np.deg2rad(drill.min_turn_deg))
            self._hip_turns.use(side=drill.side, least_rad=least, kind=rule_set.name)

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
            tick_modulus=layout.counter_modulus,
            nominal_hz=layout.rate_hz,
            origin_ns=self._origin_ns,
            delay_s=layout.delay_s + sensor.offset_s,
        )
        fusion = Fusion(
            sensor.id,
            filter_name=settings.filter,
            period_s=1.0 / layout.rate_hz,
            tells_knocks=sensor.role is Segment.LEAD_FOREARM,
        )
        decoder = Decoder(sensor.id, layout, self._origin_ns)
        return _Chain(sensor, decoder, clock, Plausible(sensor.id), fusion, live=layout.gatt is not None)

    # ── items ────────────────────────────────────────────────────────────────────────────────────────────────────

    def _events(self, item: Item) -> list[Event]:
        if isinstance(item, RawPacket):
            return self._packet(item)
        if isinstance(item, LinkNote):
            return [Link(item.sensor, self._seconds(item.host_ns), item.state, item.detail, item.facts)]
        if isinstance(item, Tick):
            self._awake(item)
            return [e for chain in self._chains.values() for e in self._decoded(chain, chain.decoder.feed(item))]
        return self._command(item)

    def _packet(self, packet: RawPacket) -> list[Event]:
        chain = self._chains.get(packet.sensor)
        if chain is None:
            return [PacketRejected(packet.sensor, self._seconds(packet.host_ns), "no such sensor in this session")]
        return self._decoded(chain, chain.decoder.feed(packet))

    def _command(self, command: Command) -> list[Event]:
        t_s, asked = self._seconds(command.host_ns), parse(command)
        if asked is None:
            return []
        if command.verb == "begin":
            asked = Malformed("begin", "a session begins once")
        if not isinstance(asked, Malformed):
            try:
                return self._obeyed(t_s, asked)
            except (ImuFeedbackError, *_UNUSABLE) as error:
                asked = Malformed(command.verb, str(error) or type(error).__name__)
        return [Notice(t_s, str(asked))]

    def _obeyed(self, t_s: float, asked: AnyCommand) -> list[Event]:
        match asked:
            case SwitchSound(sound=sound, on=on):
                self._cueing.set_enabled(sound, on)
            case Mute(on=on):
                self._cueing.set_muted(on)
            case SetLimit(key=key, value=value):
                self._judge_by(with_limit(self._rule_set, key, value))
            case Estimate(rep=rep, answer=answer):
                return [SelfEstimate(t_s, rep, answer)]
            case Pain():
                self._stopped = True
                drill = self._rule_set.drill
                return [Notice(t_s, f"Stopped. {drill.stop if drill else STOP_WORDS}")]
            case BeginBlock():
                return self._block(t_s, asked)
            case Swap():
                return self._swapped(t_s)
            case _:
                return self._used(self._body.feed(Asked(t_s, asked)))
        return []

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

    def _block(self, t_s: float, asked: BeginBlock) -> list[Event]:
        said: tuple[str, ...] = ()
        if asked.rule_set:
            rule_set, said = parse_recorded(asked.rule_set, "drill of the block")
            self._judge_by(with_limits(rule_set, self._limits, _OWN))
        self._stopped = False
        drill = self._rule_set.drill
        feedback = Feedback(asked.mode, asked.share, asked.estimate)
        self._cueing.begin_block(feedback, drill.cues if drill else ())
        if self._by_hip:  # a hip turn counts from the stance that the player has taken
            self._body.feed(Asked(t_s, SetZero()))
        begun = BlockBegun(t_s, asked.name, asked.role, self._rule_set.name, asked.mode, asked.share)
        return [begun, *(Notice(t_s, text) for text in said)]

    def _swapped(self, t_s: float) -> list[Event]:
        """Give the sensors the places that the fitting movements showed. All memory of the samples stays."""
        found, settings = self._body.take_swap(), self._settings
        if found is None or settings is None:
            return []
        sensors = tuple(
            msgspec.structs.replace(one, role=found.roles.get(one.role, one.role)) for one in settings.sensors
        )
        self._settings = msgspec.structs.replace(settings, sensors=sensors)
        for one in sensors:
            self._chains[one.id].sensor = one
        merger, self._merger = self._merger, self._new_merger(sensors)
        self._merger.state = merger.state
        jointed = [one.role for one in sensors if one.role is not Segment.LEAD_FOREARM]
        self._body, events = self._body.renamed(jointed, found, t_s)
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

    def _decoded(self, chain: _Chain, records: Iterable[DeviceBlock | PacketRejected | Notice]) -> list[Event]:
        out: list[Event] = []
        for made in self._timed(chain, records):
            if isinstance(made, ImuBlock):
                for oriented in chain.fusion.feed(made):
                    out += self._aligned(self._merger.feed(oriented))
            else:
                out.append(made)
        return out

    def _timed(
        self, chain: _Chain, records: Iterable[DeviceBlock | PacketRejected | Notice]
    ) -> Iterator[ImuBlock | _OfOneSensor]:
        """One sensor's samples in session time, and what is to be said about them."""
        for record in records:
            if not isinstance(record, DeviceBlock):
                yield record
                continue
            host_s, name = self._seconds(record.host_ns), chain.sensor.id
            if chain.live:
                yield from self._silence.feed(Sign(host_s, name))
            for timed in chain.clock.feed(record):
                if isinstance(timed, ImuBlock):
                    if chain.live:
                        yield from self._lateness.feed(Arrival(name, host_s, timed.t_s.item(-1)))
                    yield from chain.plausible.feed(timed)
                    continue
                if isinstance(timed, ClockRestarted):
                    self._restarted(chain.sensor, timed)
                yield timed
                if chain.live and isinstance(timed, ClockRestarted):
                    yield from self._silence.feed(Sign(host_s, name, chain.clock.ahead_s))

    def _awake(self, tick: Tick) -> None:
        self._silence.feed(Sign(self._seconds(tick.host_ns)))

    def _restarted(self, sensor: Sensor, event: ClockRestarted) -> None:
        """What is known of a segment begins anew: a rep in which that happens is void."""
        if sensor.role is not Segment.LEAD_FOREARM:  # no joint hangs on it
            told = Restarted(event.t_s, sensor.role)
            self._motion.feed(told)
            self._hip_turns.feed(told)

    def _aligned(self, blocks: Iterable[AlignedBlock]) -> list[Event]:
        out: list[Event] = []
        for block in blocks:
            jointed, forearm = without_forearm(block)
            if forearm is not None:
                out += self._moved(forearm)
            out += self._used(self._body.feed(jointed))
        return out

    def _moved(self, record: Angles | Zeroed | SegmentMotion) -> list[Event]:
        if self._stopped:
            return []
        if self._by_hip:
            turns = self._hip_turns.feed(record) if isinstance(record, Angles | Zeroed) else []
            return [one for rep in turns for one in (*self._ruled(rep), PhaseChanged(rep.end_s, Phase.WAITING))]
        out: list[Event] = []
        for made in self._motion.feed(record):
            out += self._ruled(made) if isinstance(made, Rep) else [made]
        return out

    def _ruled(self, rep: Rep) -> list[Event]:
        """The rep with its number in the session, and its findings."""
        rep = replace(rep, index=self._reps)
        self._reps += 1
        return [rep, *self._rules.feed(rep)]

    def _heard(self, events: list[Event]) -> list[Event]:
        """The events, each followed by the cues that it gives."""
        now_s = self._seconds(self._now_ns)
        return [one for event in events for one in self._hear(now_s, event)]

    def _hear(self, now_s: float, event: Event) -> list[Event]:
        heard = Heard(now_s, event)
        out = [event]
        if not isinstance(event, Angles):
            out += self._cueing.feed(heard)
        for tone in self._tone.feed(heard):
            if self._cueing.guides():
                out += [tone, *self._cueing.feed(Heard(now_s, tone))]
        return out

    # ── many items together ──────────────────────────────────────────────────────────────────────────────────────

    def _together(self, items: Sequence[Item]) -> list[Event]:
        """Items without commands: each stage takes all of them before the next one begins."""
        if not items:
            return []
        told, blocks, now_s = self._all_timed(items)
        arrivals = [one for name, own in blocks.items() for one in _all_oriented(self._chains[name].fusion, own)]
        arrivals.sort(key=lambda one: one[0])
        block, released = self._merger.feed_many([one for _, one in arrivals])
        out: list[Event] = []
        if block is not None:
            number = [arrivals[one.by][0] for one in released]
            releases = Releases(block.t_s, released, [now_s[one] for one in number])
            for release, event in self._all_measured(block, releases):
                while told and told[0][0] < number[release]:
                    at, earlier = told.popleft()
                    out += self._hear(now_s[at], earlier)
                out += self._hear(releases.now_s[release], event)
        return out + [heard for at, event in told for heard in self._hear(now_s[at], event)]

    def _all_timed(
        self, items: Sequence[Item]
    ) -> tuple[deque[tuple[int, Event]], dict[str, list[tuple[int, ImuBlock]]], list[float]]:
        """What is told and the samples of every sensor, each with its number among all that happened; and the session
        time of each number."""
        told: deque[tuple[int, Event]] = deque()
        blocks: dict[str, list[tuple[int, ImuBlock]]] = {name: [] for name in self._chains}
        now_s: list[float] = []
        for chain in self._chains.values():
            chain.decoder.look_ahead(items)
        for item in items:
            self._now_ns = max(self._now_ns, item.host_ns)
            at_s = self._seconds(self._now_ns)
            for name, made in self._one_timed(item):
                if isinstance(made, ImuBlock):
                    blocks[name].append((len(now_s), made))
                else:
                    told.append((len(now_s), made))
                now_s.append(at_s)
        for chain in self._chains.values():
            chain.decoder.look_ahead(())
        return told, blocks, now_s

    def _one_timed(self, item: Item) -> Iterator[tuple[str, ImuBlock | Event]]:
        if isinstance(item, RawPacket) and item.sensor in self._chains:
            chains = [self._chains[item.sensor]]
        elif isinstance(item, Tick):
            self._awake(item)
            chains = list(self._chains.values())
        else:
            yield from (("", event) for event in self._events(item))
            return
        for chain in chains:
            for made in self._timed(chain, chain.decoder.feed(item)):
                yield chain.sensor.id, made

    def _all_measured(self, block: AlignedBlock, releases: Releases) -> Iterator[tuple[int, Event]]:
        """Events of the body and its motion, each with the release of the step that decided it. To be heard one by one:
        what is heard decides how finely the angles are parted."""
        jointed, forearm = without_forearm(block)
        if forearm is not None:
            self._moved(forearm)
        for made in self._body.feed(jointed):
            if isinstance(made, Angles):
                yield from self._parted(made, releases)
            else:
                for event in self._used([made]):
                    yield releases.of(made.t_s), event

    def _parted(self, angles: Angles, releases: Releases) -> Iterator[tuple[int, Event]]:
        """Angles as long as nothing happens, then what happened; release by release where the end of each one is
        listened to."""
        events = _released(self._moved(angles), releases)
        t_s, begin = angles.t_s, 0
        while begin < len(t_s):
            if self._tone.follows:
                release = releases.of(float(t_s[begin]))
            else:
                release = events[0][0] if events else releases.of(float(t_s[-1]))
            end = releases.upto(release, t_s)
            yield release, angles.part(slice(begin, end))
            while events and events[0][0] <= release:
                yield events.popleft()
            begin = end

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
            name: (chain.decoder.state, chain.clock.state, chain.plausible.state, chain.fusion.state)
            for name, chain in self._chains.items()
        }
        stages = (
            *(self._merger.state, self._body.state, self._motion.state, self._hip_turns.state, self._cueing.state),
            *(self._rule_set, self._reps, self._stopped),
            *(self._tone.state, self._lateness.state, self._silence.state),
        )
        return copy.deepcopy((self._settings, self._origin_ns, self._now_ns, chains, stages))

    @state.setter
    def state(self, value: Any) -> None:
        self._settings = None
        if value is None:
            return
        settings, origin_ns, now_ns, chains, stages = copy.deepcopy(value)
        self._begin(recorded(origin_ns, Begin.of(settings)))
        self._now_ns = now_ns
        for name, (decoder, clock, plausible, fusion) in chains.items():
            chain = self._chains[name]
            chain.decoder.state, chain.clock.state, chain.fusion.state = decoder, clock, fusion
            chain.plausible.state = plausible
        merger, body, motion, hip_turns, cueing, rule_set, self._reps, self._stopped, *late = stages
        self._judge_by(rule_set)
        self._hip_turns.state = hip_turns
        self._merger.state, self._body.state, self._motion.state, self._cueing.state = merger, body, motion, cueing
        self._tone.state, self._lateness.state, self._silence.state = late


def _all_oriented(fusion: Fusion, own: Sequence[tuple[int, ImuBlock]]) -> Iterator[tuple[int, Arrived]]:
    """One sensor's numbered blocks through its fusion, as many at once as go together."""
    first = 0
    while first < len(own):
        last = first + 1
        if not fusion.wants_alone(own[first][1]):
            while last < len(own) and not fusion.wants_alone(own[last][1]):
                last += 1
        group = own[first:last]
        for oriented in fusion.feed(joined([block for _, block in group])):
            ends = np.searchsorted(oriented.t_s, [block.t_s[-1] for _, block in group], side="right").tolist()
            for (number, _), begin, end in zip(group, [0, *ends], ends, strict=False):
                if end > begin:
                    yield number, Arrived(oriented, begin, end)
        first = last


def _released(events: Sequence[Event], releases: Releases) -> deque[tuple[int, Event]]:
    """What the motion tells, with the releases at which it does. A rep and its findings are told with the change of
    phase after them."""
    out: deque[tuple[int, Event]] = deque()
    release = 0
    for event in reversed(events):
        if isinstance(event, PhaseChanged | StateChanged):
            release = releases.of(event.t_s)
        out.appendleft((release, event))
    return out


def _limits(text: str) -> tuple[Limits, list[str]]:
    """The player's own limits, and what is to be said when they cannot be used."""
    try:
        return parse_limits(text, _OWN) if text else Limits(1), []
    except BadToml as error:
        return Limits(1), [f"{error}; the usual limits count"]


def _motion(hand: Hand, rule_set: RuleSet) -> MotionStage:
    return MotionStage(
        hand=hand,
        live=_live(rule_set),
        rep=_shape(rule_set),
        kind=rule_set.name,
        needed=of_swing(rule_set.features),
    )


def _live(rule_set: RuleSet) -> LiveLimits:
    live = rule_set.live
    return LiveLimits(
        min_slope=live.min_slope,
        dead_turn_rad=float(np.deg2rad(live.dead_turn_deg)),
        dead_s=live.dead_ms / 1000.0,
        target_rad=float(np.deg2rad(live.target_deg)),
        grow_rad=float(np.deg2rad(live.grow_deg)),
    )


def _shape(rule_set: RuleSet) -> RepLimits:
    rep = rule_set.rep
    return RepLimits(
        min_backswing_rad=float(np.deg2rad(rep.min_backswing_deg)),
        min_through_rad=float(np.deg2rad(rep.min_through_deg)),
        max_s=rep.max_s,
        min_slope=rep.min_slope,
    )


def run(items: Iterable[Item]) -> Iterable[Event]:
    """All events of a list of items, to the end."""
    pipeline = Pipeline()
    for item in items:
        yield from pipeline.feed(item)
    yield from pipeline.finish()
