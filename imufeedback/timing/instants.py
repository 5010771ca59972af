"""Whether the host's times of a session's items can be true: one wild time must not carry the session away.

Times that jump are held until what comes next confirms them. A long silence is confirmed and stays as long as it was.
Times that go back for good are counted on from what came before; so are times that begin far from the session's start.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, field, replace

from imufeedback.phrases import phrase
from imufeedback.records import Item, Notice, PacketRejected, RawPacket
from imufeedback.stage import Stage

WILD_NS = 3_000_000_000
"""A time further ahead of all before, or further behind, needs witnesses. Chosen: threads hand over within fractions of
a second, and while a computer is awake something comes every few hundredths."""
WITNESSES = 8
"""So many items in a row that jump alike are no mistake. Chosen: three sensors take turns, so one with a clock of its
own does not come so often in a row."""
FEWEST = 2
"""At the end of a session so many are enough …"""
LONE_NS = 60_000_000_000
"""… or one that is ahead by no more. Chosen: a sensor may have come back just then."""
START_NS = 86_400_000_000_000
"""A session that begins so long after its own start was counted from somewhere else. Chosen: a day."""

Placed = Item | PacketRejected | Notice
"""An item whose time can be true, or what is told of times that cannot."""


@dataclass
class _State:
    latest_ns: int
    shift_ns: int = 0
    """What is added to the times that come in."""
    begun: bool = False
    held: list[Item] = field(default_factory=list)
    """Items that jump alike, already shifted."""
    told: bool = False


class Instants(Stage[Item, Placed]):
    """Passes items on in their order, with times that can be true. A packet whose time cannot is rejected; what else
    came with such a time counts as of now. `origin_ns` is the time of the session's first item."""

    _state: _State

    def __init__(self, origin_ns: int) -> None:
        self._origin_ns = origin_ns
        self._state = _State(origin_ns)

    def feed(self, item: Item) -> list[Placed]:
        s = self._state
        if s.shift_ns:
            item = replace(item, host_ns=item.host_ns + s.shift_ns)
        ahead_ns = item.host_ns - s.latest_ns
        if -WILD_NS <= ahead_ns <= WILD_NS:
            out = self._given_up() if s.held else []
            s.begun = True
            if ahead_ns > 0:
                s.latest_ns = item.host_ns
            out.append(item)
            return out
        out = [] if not s.held or self._alike(item) else self._given_up()
        s.held.append(item)
        return out + self._confirmed() if len(s.held) >= WITNESSES else out

    def feed_many(self, items: Sequence[Item]) -> Sequence[Placed]:
        """The same, one item after the other."""
        s, passed = self._state, 0
        latest_ns = s.latest_ns
        if not s.shift_ns and not s.held:
            for item in items:
                if item.host_ns > latest_ns:
                    if item.host_ns - latest_ns > WILD_NS:
                        break
                    latest_ns = item.host_ns
                elif latest_ns - item.host_ns > WILD_NS:
                    break
                passed += 1
        s.latest_ns, s.begun = latest_ns, s.begun or passed > 0
        if passed == len(items):
            return items
        return [*items[:passed], *(one for item in items[passed:] for one in self.feed(item))]

    def finish(self) -> list[Placed]:
        s = self._state
        lone = len(s.held) == 1 and 0 < s.held[0].host_ns - s.latest_ns <= LONE_NS
        return self._confirmed() if lone or len(s.held) >= FEWEST else self._given_up()

    def _alike(self, item: Item) -> bool:
        """Whether it follows those that are held; a slow sensor's next packet may come much later."""
        return item.host_ns >= self._state.held[-1].host_ns - WILD_NS

    def _given_up(self) -> list[Placed]:
        """The session went on without them."""
        s = self._state
        held, s.held = s.held, []
        return [self._refused(one) for one in held]

    def _refused(self, item: Item) -> Placed:
        now_ns = self._state.latest_ns
        if not isinstance(item, RawPacket):
            return replace(item, host_ns=now_ns)
        off_s = (item.host_ns - now_ns) * 1e-9
        side = "after" if off_s > 0 else "before"
        reason = f"its time is {abs(off_s):.3g} s {side} that of the packets around it"
        return PacketRejected(item.sensor, (now_ns - self._origin_ns) * 1e-9, reason)

    def _confirmed(self) -> list[Placed]:
        s = self._state
        held, s.held = s.held, []
        jump_ns = min(one.host_ns for one in held) - s.latest_ns
        out: list[Placed] = []
        if jump_ns < 0 or (jump_ns > START_NS and not s.begun):
            s.shift_ns -= jump_ns
            held = [replace(one, host_ns=one.host_ns - jump_ns) for one in held]
            out += self._told(jump_ns * 1e-9)
        s.begun = True
        s.latest_ns = max(s.latest_ns, *(one.host_ns for one in held))
        return [*out, *held]

    def _told(self, jump_s: float) -> list[Placed]:
        s = self._state
        if s.told:
            return []
        s.told = True
        text = phrase("notice.times_go_back" if jump_s < 0 else "notice.times_begin_late", jump_s=abs(jump_s))
        return [Notice((s.latest_ns - self._origin_ns) * 1e-9, text)]
