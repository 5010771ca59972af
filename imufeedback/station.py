"""The sensors of a practice: found, connected and told about before a session begins, then streaming into it.

One thread with one asyncio loop for the life of the window: systems do not like loops that come and go. `Station` is
for real sensors; its methods may be called from any thread and return at once.
"""

from __future__ import annotations

import asyncio
import threading
from collections.abc import Callable, Coroutine
from contextlib import suppress
from dataclasses import replace
from typing import Any

from imufeedback.ble.backends import Backends
from imufeedback.ble.clock import Clock, MonotonicClock
from imufeedback.ble.radio import Radio
from imufeedback.errors import ImuFeedbackError, RadioError
from imufeedback.packets import Layout
from imufeedback.records import Event, Item, Link, LinkNote, LinkState, Notice, RawPacket, Tick

SEARCH_S = 6.0
TICK_S = 0.05
"""Waits of the pipeline can end although the radio is silent."""
CLOSE_S = 3.0


class Station:
    """Real sensors of one layout. `tell` gets events for the screen, `on_searched` None or why a search failed."""

    def __init__(
        self,
        layout: Layout,
        tell: Callable[[list[Event]], None],
        on_searched: Callable[[str | None], None],
        *,
        clock: Clock | None = None,
        make_backends: Callable[[], Coroutine[Any, Any, Backends]] | None = None,
        search_s: float = SEARCH_S,
    ) -> None:
        """`make_backends` is awaited in the station's loop before the first search: a virtual radio, for trying out."""
        self.clock = clock or MonotonicClock()
        self._layout = layout
        self._tell = tell
        self._on_searched = on_searched
        self._make_backends = make_backends
        self._search_s = search_s
        self._loop = asyncio.new_event_loop()
        self._radio: Radio | None = None
        self._backends: Backends | None = None
        self._notes: dict[str, LinkNote] = {}
        self._put: Callable[[Item], None] | None = None
        self._ticking: asyncio.Task[None] | None = None
        self._thread = threading.Thread(target=self._run, name="ble", daemon=True)
        self._thread.start()

    @property
    def sensors(self) -> tuple[str, ...]:
        """Those that are connected now."""
        return tuple(self._notes)

    def search(self) -> None:
        """Find and connect all; ends in a call of `on_searched`."""
        self._spawn(self._search())

    def stream(self, put: Callable[[Item], None]) -> None:
        """Let the connected sensors send; every item from here on goes to `put`, the present links first."""
        self._spawn(self._stream(put))

    def close(self) -> None:
        """Let go of the sensors and end the thread, within a few seconds. May be called again."""
        if self._thread.is_alive():
            done = asyncio.run_coroutine_threadsafe(self._close(), self._loop)
            with suppress(Exception):
                done.result(CLOSE_S)
            self._loop.call_soon_threadsafe(self._loop.stop)
            self._thread.join(CLOSE_S)

    # ── in the loop ──────────────────────────────────────────────────────────────────────────────────────────────

    def _run(self) -> None:
        asyncio.set_event_loop(self._loop)
        self._loop.run_forever()
        self._loop.close()

    def _spawn(self, work: Coroutine[Any, Any, None]) -> None:
        asyncio.run_coroutine_threadsafe(work, self._loop)

    async def _search(self) -> None:
        try:
            await self._let_go()
            if self._backends is None and self._make_backends is not None:
                self._backends = await self._make_backends()
            self._radio = Radio(
                self._layout, self.clock, self._take, backends=self._backends, on_fault=self._tell_of_fault
            )
            found = await self._radio.scan(self._search_s)
            if not found:
                raise RadioError("no sensor was heard", hint="switch them on, bring them close, and search again")
            await self._radio.open(found)
        except ImuFeedbackError as error:
            self._on_searched(str(error))
        except Exception as error:  # noqa: BLE001 - a loop has nobody to raise to: the person is told
            self._on_searched(f"the search failed ({type(error).__name__}: {error})")
        else:
            self._on_searched(None)

    async def _stream(self, put: Callable[[Item], None]) -> None:
        assert self._radio is not None
        now_ns = self.clock.now_ns()
        for note in self._notes.values():
            put(replace(note, host_ns=now_ns))
        self._put = put
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
            self._put(item)
        elif isinstance(item, LinkNote):
            self._note(item)

    def _note(self, note: LinkNote) -> None:
        if note.state is LinkState.CONNECTED:
            self._notes[note.sensor] = note
        elif note.state in (LinkState.LOST, LinkState.CLOSED):
            self._notes.pop(note.sensor, None)
        self._tell([Link(note.sensor, 0.0, note.state, note.detail, note.facts)])

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
        self._notes.clear()

    async def _close(self) -> None:
        await self._let_go()
