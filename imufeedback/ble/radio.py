"""All sensors of a session: found, connected one at a time, started together, stopped together."""

from __future__ import annotations

import asyncio
from collections.abc import AsyncIterator, Awaitable, Callable, Sequence

from imufeedback.ble.backends import Backends
from imufeedback.ble.blink import blink
from imufeedback.ble.clock import Clock
from imufeedback.ble.conform import conform
from imufeedback.ble.conform_packets import ProfileFinding
from imufeedback.ble.handshake import WrongSensor
from imufeedback.ble.limits import TimeLimits
from imufeedback.ble.link import SensorLink
from imufeedback.ble.own import claims
from imufeedback.ble.scan import HeardSensor, overhear, scan
from imufeedback.errors import RadioError, UsageError
from imufeedback.packets import Layout
from imufeedback.records import LinkNote, RawPacket


class Radio:
    """The links of one session. All methods belong to one event loop; `on_item` is called from it.

    `layout` describes the packets of all the sensors. `on_fault` is told of errors in the links' own tasks.
    """

    def __init__(
        self,
        layout: Layout,
        clock: Clock,
        on_item: Callable[[RawPacket | LinkNote], None],
        *,
        backends: Backends | None = None,
        limits: TimeLimits | None = None,
        on_fault: Callable[[BaseException], None] | None = None,
    ) -> None:
        self._layout = layout
        self._clock = clock
        self._on_item = on_item
        self._on_fault = on_fault
        self._backends = backends or Backends()
        self._limits = limits or TimeLimits()
        self._connecting = asyncio.Lock()
        self._links: list[SensorLink] = []

    @property
    def links(self) -> tuple[SensorLink, ...]:
        return tuple(self._links)

    async def scan(
        self,
        seconds: float,
        expect: int | None = None,
        *,
        enough: Callable[[list[HeardSensor]], bool] = lambda heard: False,
        while_streaming: bool = False,
    ) -> list[HeardSensor]:
        """Sensors of this layout that can be heard; sooner when `expect` are, or when it is `enough`.

        Raises RadioError without Bluetooth, and UsageError while sensors stream, unless that is asked for: an adapter
        that
        listens to all sides loses packets of those that are connected.
        """
        if not while_streaming and any(link.streaming for link in self._links):
            raise UsageError("a scan disturbs the sensors that stream", where="radio", hint="stop them first")
        if self._layout.gatt is None:
            raise RadioError(f"layout {self._layout.name} has no [gatt]", hint="give it the UUIDs of the service")
        return await scan(
            seconds, backends=self._backends, service=self._layout.gatt.service, expect=expect, enough=enough
        )

    def _link(self, found: HeardSensor, serial: str | None = None) -> SensorLink:
        return SensorLink(
            found,
            self._layout,
            self._clock,
            self._on_item,
            backends=self._backends,
            limits=self._limits,
            connecting=self._connecting,
            on_fault=self._on_fault,
            serial=serial,
            look=self._look,
        )

    async def _look(self, serial: str, address: str) -> HeardSensor | None:
        """The one sensor that announces this serial number now, or else that is heard where it was; None when there is
        none, or several."""
        assert self._layout.gatt is not None
        heard = await scan(
            self._limits.look_s,
            backends=self._backends,
            service=self._layout.gatt.service,
            enough=lambda found: any(claims(one, serial) or one.address == address for one in found),
            least_s=0.0,
        )
        alike = [one for one in heard if claims(one, serial)] or [one for one in heard if one.address == address]
        return alike[0] if len(alike) == 1 else None

    async def overhear(self, seconds: float) -> frozenset[str]:
        """Addresses of all that is heard, whatever it offers. Raises RadioError."""
        return await overhear(seconds, backends=self._backends)

    async def reach(self, wanted: Sequence[tuple[HeardSensor, str | None]]) -> list[tuple[HeardSensor, RadioError]]:
        """Connect to these, one after the other, each as the serial number it must have, if one is given.

        What could not be reached is returned, each with its error; the others stay connected. Everybody gets one
        attempt before anybody gets a second: a sensor with an empty battery must not keep the others waiting.
        """
        waiting = [(found, self._link(found, serial)) for found, serial in wanted]
        failed: list[tuple[HeardSensor, RadioError]] = []
        for tries, last in ((1, False), (max(self._limits.first_tries - 1, 1), True)):
            again: list[tuple[HeardSensor, SensorLink]] = []
            for found, link in waiting:
                error = await self._try(link, tries)
                if error is not None and (last or isinstance(error, WrongSensor)):
                    failed.append((found, error))
                elif error is not None:
                    again.append((found, link))
            waiting = again
        return failed

    async def _try(self, link: SensorLink, tries: int) -> RadioError | None:
        """Keep the link if it opens; else the reason."""
        self._links.append(link)
        try:
            await link.open(tries)
            self._check_unique(link)
        except RadioError as error:
            self._links.remove(link)
            await link.close()
            return error
        except BaseException:
            await self.close()
            raise
        return None

    async def drop(self, sensor: str) -> None:
        """Let go of one sensor; nothing if it is not connected."""
        for link in [one for one in self._links if one.sensor == sensor]:
            self._links.remove(link)
            await link.close()

    async def blink(self, found: HeardSensor, seconds: int) -> None:
        """Let one that is not connected show its light, and do nothing else to it. Raises RadioError."""
        await blink(found, self._layout, seconds, self._backends, self._limits, self._connecting)

    def conform(self, text: str, pass_time: Callable[[float], Awaitable[None]]) -> AsyncIterator[ProfileFinding]:
        """Does the sensor of this address, serial number or name keep the profile? One finding a rule."""
        return conform(text, backends=self._backends, limits=self._limits, clock=self._clock, pass_time=pass_time)

    async def open(self, found: Sequence[HeardSensor]) -> None:
        """Connect to these, one after the other.

        Raises RadioError when one cannot be reached or two carry one serial number; all are closed again then.
        """
        try:
            for one in found:
                link = self._link(one)
                self._links.append(link)
                await link.open()
                self._check_unique(link)
        except BaseException:
            await self.close()
            raise

    def _check_unique(self, link: SensorLink) -> None:
        if any(other.sensor == link.sensor for other in self._links if other is not link):
            raise RadioError(
                f"two sensors carry the serial number {link.sensor}",
                where="radio",
                hint="give each its own, or use one of them",
            )

    async def start(self) -> None:
        """Let all send. Comes after every subscription stands, so that no first packet is lost.

        Raises RadioError when one does not obey; all are closed again then.
        """
        try:
            for link in self._links:
                await link.start()
        except BaseException:
            await self.close()
            raise

    async def close(self) -> None:
        """Stop and disconnect all, at the same time, within a bounded time."""
        links, self._links = self._links, []
        await asyncio.gather(*(link.close() for link in links))
