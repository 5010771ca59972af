"""The sensors of a practice: own ones found, connected and told about before a session begins, then streaming into it.

One thread with one asyncio loop for the life of the window: systems do not like loops that come and go. It has the
turns on the processor that a session needs. `Station` is
for real sensors; its methods may be called from any thread and return at once.
"""

from __future__ import annotations

import asyncio
from collections.abc import Callable, Coroutine, Iterable
from contextlib import suppress
from dataclasses import replace
from typing import Any

from imufeedback.ble.backends import Backends
from imufeedback.ble.clock import Clock, MonotonicClock
from imufeedback.ble.handshake import WrongSensor
from imufeedback.ble.own import STALE_S, absent, changed, has_all, in_reach, is_changed, label
from imufeedback.ble.radio import Radio
from imufeedback.ble.roster import KnownSensor
from imufeedback.ble.scan import HeardSensor
from imufeedback.errors import ImuFeedbackError, RadioError
from imufeedback.packets import Layout
from imufeedback.records import Event, Item, Link, LinkNote, LinkState, Notice, RawPacket, Tick
from imufeedback.threads import start_prompt

SEARCH_S = 6.0
TICK_S = 0.05
"""Waits of the pipeline can end although the radio is silent."""
CLOSE_S, END_S = 6.0, 0.3
"""For letting go: more than a sensor that answers needs, with the 2 s that a system may take to end a link
(`ble/limits.py`); then for what still runs. A window waits for longer than both (`app/stopping.py`)."""
BLINK_S = 5


class Station:
    """Real sensors of one layout. `tell` gets events for the screen, `on_searched` None or why a search failed.

    Only `known` sensors are connected by themselves. Nothing is sent to others, unless a person points at one (`take`,
    `blink`).
    """

    def __init__(
        self,
        layout: Layout,
        tell: Callable[[list[Event]], None],
        on_searched: Callable[[str | None], None],
        *,
        known: Callable[[], Iterable[KnownSensor]] = tuple,
        clock: Clock | None = None,
        make_backends: Callable[[], Coroutine[Any, Any, Backends]] | None = None,
        search_s: float = SEARCH_S,
    ) -> None:
        """`known` tells this player's sensors, in the thread that calls `search`; nobody's is known without it.
        `make_backends` is awaited in the station's loop before the first search: a virtual radio, for trying out."""
        self.clock = clock or MonotonicClock()
        self._layout = layout
        self._tell = tell
        self._on_searched = on_searched
        self._known = known
        self._make_backends = make_backends
        self._search_s = search_s
        self.others: tuple[HeardSensor, ...] = ()
        """Heard by the last search, and not known; strongest first."""
        self.absent: tuple[KnownSensor, ...] = ()
        """Known, with a place, and not heard by the last search."""
        self.troubles: tuple[str, ...] = ()
        """A line for each known sensor that was heard and could not be connected."""
        self._loop = asyncio.new_event_loop()
        self._busy = asyncio.Lock()
        self._radio: Radio | None = None
        self._backends: Backends | None = None
        self._left: dict[str, HeardSensor] = {}
        """Connected once, by sensor: how it is found again after it was let go of."""
        self._notes: dict[str, LinkNote] = {}
        self._put: Callable[[Item], None] | None = None
        self._session: frozenset[str] = frozenset()
        self._ticking: asyncio.Task[None] | None = None
        self._thread = start_prompt("ble", self._run)

    @property
    def sensors(self) -> tuple[str, ...]:
        """Those that are connected now."""
        return tuple(self._notes)

    def temperature_c(self, sensor: str) -> float | None:
        """Of its inertial part, as it was told when it was connected."""
        note = self._notes.get(sensor)
        told = None if note is None else note.facts.get("temperature_c")
        return float(told) if isinstance(told, int | float) else None

    def search(self) -> None:
        """Find own sensors and connect them; ends in a call of `on_searched`."""
        self._spawn(self._told("the search", self._search(tuple(self._known()))))

    def take(self, *who: str) -> None:
        """Connect some of `others`, by address, or some that were left, by name; ends in a call of `on_searched`."""
        self._spawn(self._told("connecting", self._take_some(who)))

    def leave(self, sensor: str) -> None:
        """Let go of a connected sensor; ends in a call of `on_searched`."""
        self._spawn(self._told("letting go", self._leave(sensor)))

    def blink(self, who: str) -> None:
        """Let one show its light: a connected sensor by name, one of `others` by address. What fails is a Notice."""
        self._spawn(self._blink(who))

    def stream(self, put: Callable[[Item], None], sensors: Iterable[str]) -> None:
        """Let these send and let go of all others. Their items go to `put` from here on, the present links first;
        nothing of any other sensor does."""
        self._spawn(self._stream(put, frozenset(sensors)))

    def close(self) -> None:
        """Let go of the sensors and end the thread, within a few seconds. May be called again."""
        if self._thread.is_alive():
            done = asyncio.run_coroutine_threadsafe(self._close(), self._loop)
            with suppress(Exception):
                done.result(CLOSE_S)
            self._loop.call_soon_threadsafe(self._loop.stop)
            self._thread.join(2 * END_S)

    # ── in the loop ──────────────────────────────────────────────────────────────────────────────────────────────

    def _run(self) -> None:
        asyncio.set_event_loop(self._loop)
        self._loop.run_forever()
        left = asyncio.all_tasks(self._loop)
        for task in left:
            task.cancel()
        if left:  # a radio's own; nobody waits for them any more
            self._loop.run_until_complete(asyncio.wait(left, timeout=END_S))
        self._loop.close()

    def _spawn(self, work: Coroutine[Any, Any, None]) -> None:
        asyncio.run_coroutine_threadsafe(work, self._loop)

    async def _told(self, what: str, work: Coroutine[Any, Any, None]) -> None:
        """One piece of work after the other; how it ended is told."""
        async with self._busy:
            try:
                await work
            except ImuFeedbackError as error:
                self._on_searched(str(error))
            except Exception as error:  # noqa: BLE001 - a loop has nobody to raise to: the person is told
                self._on_searched(f"{what} failed ({type(error).__name__}: {error})")
            else:
                self._on_searched(None)

    async def _search(self, known: tuple[KnownSensor, ...]) -> None:
        await self._let_go()
        self.others, self.absent, self.troubles, self._left = (), (), (), {}
        if self._backends is None and self._make_backends is not None:
            self._backends = await self._make_backends()
        radio = self._radio = Radio(
            self._layout, self.clock, self._take, backends=self._backends, on_fault=self._tell_of_fault
        )

        known = tuple(one for one in known if one.layout == self._layout.name)
        found = await radio.scan(self._search_s, enough=lambda heard: has_all(heard, known))
        if not found:
            lines = changed(known, await radio.overhear(STALE_S)) if known else []
            if lines:
                raise RadioError(lines[0])
            raise RadioError("no sensor was heard", hint="switch them on, bring them close, and search again")
        reach = in_reach(found, known)
        self.others = reach.others
        self._left = {sensor.serial: one for one, sensor in reach.own}
        missing = absent(reach, known)
        heard = await radio.overhear(STALE_S) if any(one.address for one in missing) else frozenset()
        failed = await radio.reach([(one, sensor.serial) for one, sensor in reach.own])
        self.others += tuple(one for one, error in failed if isinstance(error, WrongSensor))
        self.absent = tuple(one for one in missing if not is_changed(one, heard))
        self.troubles = (*changed(missing, heard), *reach.doubts, *(str(error) for _, error in failed))

    async def _take_some(self, who: Iterable[str]) -> None:
        errors: list[RadioError] = []
        for one in who:
            found = self._left.get(one) or next((other for other in self.others if other.address == one), None)
            if self._radio is None or found is None or self._put is not None:
                errors.append(RadioError(f"{one} is not in reach", hint="search again"))
                continue
            failed = await self._radio.reach([(found, one if one in self._left else None)])
            errors += [error for _, error in failed]
            if not failed:
                self._left[self._radio.links[-1].sensor] = found
                self.others = tuple(other for other in self.others if other is not found)
        if errors:
            raise errors[0]

    async def _leave(self, sensor: str) -> None:
        if self._radio is not None and self._put is None:
            await self._radio.drop(sensor)

    async def _blink(self, who: str) -> None:
        try:
            async with self._busy:
                if self._radio is None:
                    return
                for link in self._radio.links:
                    if link.sensor == who:
                        await link.blink(BLINK_S)
                for found in self.others:
                    if found.address == who:
                        await self._radio.blink(found, BLINK_S)
                        self._tell([Notice(0.0, f"{label(found)} blinks for {BLINK_S} s")])
        except ImuFeedbackError as error:
            self._tell([Notice(0.0, str(error))])

    async def _stream(self, put: Callable[[Item], None], sensors: frozenset[str]) -> None:
        async with self._busy:
            assert self._radio is not None
            for link in self._radio.links:
                if link.sensor not in sensors:
                    await self._radio.drop(link.sensor)
            now_ns = self.clock.now_ns()
            for sensor, note in self._notes.items():
                if sensor in sensors:
                    put(replace(note, host_ns=now_ns))
            self._session, self._put = sensors, put
            self._ticking = asyncio.create_task(self._tick(put))
            try:
                await self._radio.start()
            except ImuFeedbackError as error:
                put(LinkNote("radio", self.clock.now_ns(), LinkState.LOST, str(error)))

    async def _tick(self, put: Callable[[Item], None]) -> None:
        while True:
            put(Tick(self.clock.now_ns()))
            await asyncio.sleep(TICK_S)

    def _take(self, item: RawPacket | LinkNote) -> None:
        if self._put is not None:
            if item.sensor in self._session:
                self._put(item)
        elif isinstance(item, LinkNote):
            self._note(item)

    def _note(self, note: LinkNote) -> None:
        if note.state is LinkState.CONNECTED:
            self._notes[note.sensor] = note
        elif note.state is LinkState.CLOSED and self._is_linked(note.sensor):
            return  # a second one of the same serial number was let go of
        elif note.state in (LinkState.LOST, LinkState.CLOSED):
            self._notes.pop(note.sensor, None)
        self._tell([Link(note.sensor, 0.0, note.state, note.detail, note.facts)])

    def _is_linked(self, sensor: str) -> bool:
        return self._radio is not None and any(link.sensor == sensor for link in self._radio.links)

    def _tell_of_fault(self, error: BaseException) -> None:
        self._tell([Notice(0.0, f"radio: {type(error).__name__}: {error}")])

    async def _let_go(self) -> None:
        if self._ticking is not None:
            self._ticking.cancel()
            self._ticking = None
        if self._radio is not None:
            radio, self._radio = self._radio, None
            await radio.close()
        self._put = None
        self._session = frozenset()
        self._notes.clear()

    async def _close(self) -> None:
        await self._let_go()
