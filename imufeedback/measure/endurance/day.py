"""The items of a long day with faults: a session of some reps, again and again, on links that break and come back.

The same seed gives the same items. Nothing is kept of what has been given, so a day may be as long as one likes.

The links are a model of what the client does (`ble.link`): a broken link is told at once, or after the time that
silence takes to be noticed; then the sensor is searched until it is back. Nothing arrives meanwhile.
"""

from __future__ import annotations

import heapq
from collections.abc import Iterator
from dataclasses import replace

from imufeedback import resources
from imufeedback.begin import session_settings
from imufeedback.ble.limits import TimeLimits
from imufeedback.ble.virtual import FaultScript, disturbed, parse_faults
from imufeedback.ble.virtual.faults import Battery, Disconnect, Reboot
from imufeedback.commands import SwitchSound, recorded
from imufeedback.measure.bad_day import looped, replace_seed
from imufeedback.measure.golfer import fit_command
from imufeedback.measure.players import typical
from imufeedback.packets import Layout, parse_layout
from imufeedback.records import Item, Json, LinkNote, LinkState, RawPacket, Tick
from imufeedback.settings import Player
from imufeedback.synth.flaws import Flaw
from imufeedback.synth.script import Script, make_script
from imufeedback.synth.sensors import WORN
from imufeedback.synth.stream import SensorStream, sensor_streams

LAYOUT, SCRIPT = "house", "long_day"
FLAWS = (Flaw.NONE, Flaw.STALL, Flaw.PUSH_BACK, Flaw.STALL)
TICK_S = 0.05
"""As often as `station` tells the time."""
BACK_S = 0.4
"""From being in reach again to streaming: connecting, reading the facts, subscribing. Chosen, no source."""
FULL_BATTERY = 87

Window = tuple[float, float]


class LongDay:
    """One day. `items` may be asked for once or more, and gives the same each time."""

    def __init__(self, seconds: float, seed: int, script: Script | None = None) -> None:
        self.seconds = seconds
        self.script = script or make_script(reps=len(FLAWS), flaw=FLAWS, seed=seed)
        text = resources.text("layouts", LAYOUT)
        self.layout: Layout = parse_layout(text, LAYOUT)
        self.faults: FaultScript = replace_seed(parse_faults(resources.text("radio", SCRIPT), SCRIPT), seed)
        self.streams = sensor_streams(self.script, self.layout, WORN, model=typical(soft_tissue=False))
        worn = [(stream.serial, stream.segment) for stream in self.streams]
        self.settings = session_settings(worn, LAYOUT, player=Player(hand=self.script.hand))

    def items(self) -> Iterator[Item]:
        """Everything after ``begin``, in order of time from 0 to the day's end."""
        streams = [self._sensor(one) for one in self.streams]
        return heapq.merge(self._ticks(), self._commands(), *streams, key=lambda item: item.host_ns)

    def _ticks(self) -> Iterator[Item]:
        for number in range(1, int(self.seconds / TICK_S) + 1):
            yield Tick(round(number * TICK_S * 1e9))

    def _commands(self) -> Iterator[Item]:
        """The calibration, and the held tone switched on, so that the sound has something to do all day."""
        fit = fit_command(self.script)
        if fit.host_ns > self.seconds * 1e9:
            return
        yield fit
        yield recorded(fit.host_ns, SwitchSound("losing", True))

    # ── one sensor ───────────────────────────────────────────────────────────────────────────────────────────────

    def _sensor(self, stream: SensorStream) -> Iterator[Item]:
        return heapq.merge(self._packets(stream), self._notes(stream), key=lambda item: item.host_ns)

    def _packets(self, stream: SensorStream) -> Iterator[Item]:
        names = (stream.serial, str(stream.segment))
        stream = replace(stream, rate_error=self.faults.rate_error(*names))
        payloads = looped(stream, self.script.ready_s, self.seconds)
        away = iter(outages(self.faults, names, self.seconds))
        gone = next(away, None)
        for at_ns, payload in disturbed(payloads, self.faults, self.layout, *names):
            t_s = at_ns * 1e-9
            if t_s >= self.seconds:
                return
            while gone is not None and t_s >= gone[1]:
                gone = next(away, None)
            if gone is None or t_s < gone[0]:
                yield RawPacket(stream.serial, at_ns, payload)

    def _notes(self, stream: SensorStream) -> Iterator[Item]:
        """What the client tells of the link."""
        names = (stream.serial, str(stream.segment))
        parts = (self._link(stream, names), self._vitals(stream, names))
        return heapq.merge(*parts, key=lambda item: item.host_ns)

    def _link(self, stream: SensorStream, names: tuple[str, str]) -> Iterator[LinkNote]:
        serial = stream.serial
        yield from self._up(serial, 0.0)
        for fault, at_s, back_s in broken(self.faults, names, self.seconds):
            if fault.callback:
                yield _note(serial, at_s, LinkState.LOST, "the link broke")
            else:
                noticed_s = _noticed_s(fault)
                yield _note(serial, at_s + noticed_s, LinkState.SILENT, f"no data for {noticed_s:.1f} s")
            yield _note(serial, back_s - BACK_S, LinkState.CONNECTING)
            yield from self._up(serial, back_s)

    def _up(self, serial: str, at_s: float) -> Iterator[LinkNote]:
        facts: dict[str, Json] = {"name": serial, "serial": serial, "battery_percent": FULL_BATTERY, "mtu": 247}
        yield _note(serial, at_s, LinkState.CONNECTED, facts=facts)
        yield _note(serial, at_s, LinkState.STREAMING)

    def _vitals(self, stream: SensorStream, names: tuple[str, str]) -> Iterator[LinkNote]:
        """The battery, read every minute."""
        level, every_s = FULL_BATTERY, TimeLimits().vitals_s
        falls = {one.at_s: one.percent for one in self.faults.of(*names) if isinstance(one, Battery)}
        for number in range(1, int(self.seconds / every_s) + 1):
            at_s = number * every_s
            level = min([level, *(percent for fallen_s, percent in falls.items() if fallen_s <= at_s)])
            yield _note(stream.serial, at_s, LinkState.STREAMING, facts={"battery_percent": level})


def broken(
    faults: FaultScript, names: tuple[str, ...], until_s: float
) -> Iterator[tuple[Disconnect | Reboot, float, float]]:
    """(fault, from, to) in order of time: the link of a sensor is broken between; none begins inside another."""
    found = sorted(
        (at_s, k, one)
        for k, one in enumerate(faults.of(*names))
        if isinstance(one, Disconnect | Reboot)
        for at_s in one.times_s(until_s)
    )
    last_s = 0.0
    for at_s, _, one in found:
        if at_s < last_s:
            continue
        last_s = at_s + max(one.away_s, _noticed_s(one)) + BACK_S
        yield one, at_s, last_s


def outages(faults: FaultScript, names: tuple[str, ...], until_s: float) -> Iterator[Window]:
    """When nothing of a sensor arrives, because its link is broken."""
    return ((at_s, back_s) for _, at_s, back_s in broken(faults, names, until_s))


def _noticed_s(fault: Disconnect | Reboot) -> float:
    limits = TimeLimits()
    return 0.0 if fault.callback else limits.silence_s + limits.watch_s


def _note(
    sensor: str, at_s: float, state: LinkState, detail: str = "", facts: dict[str, Json] | None = None
) -> LinkNote:
    return LinkNote(sensor, round(at_s * 1e9), state, detail, facts or {})
