"""``sensors``: find sensors, give them their places, check them, watch them, set their clocks to each other."""

from __future__ import annotations

from typing import TYPE_CHECKING, Annotated

import typer

from imufeedback.cli.in_reach import cell as _cell
from imufeedback.cli.in_reach import name, the_one, who
from imufeedback.cli.in_reach import place as _place
from imufeedback.cli.output import say, show, table_console
from imufeedback.errors import BadToml, RadioError, UsageError
from imufeedback.foreign_text import printable

if TYPE_CHECKING:
    from collections.abc import Awaitable, Callable
    from contextlib import AbstractAsyncContextManager

    from rich.table import Table

    from imufeedback.ble.monitor import MonitorRow
    from imufeedback.ble.roster import Roster
    from imufeedback.ble.sensor_check import Desk
    from imufeedback.packets import Layout
    from imufeedback.records import Floats

app = typer.Typer(help="Find, assign, check, watch and align sensors.", no_args_is_help=True, rich_markup_mode=None)

STEP_S = 0.5
CHECK_S = 8.0
TURN_CHECK_S = 18.0
SETTLE_S = 20.0
"""A clock fit is good to 3 ms so long after connecting."""
SHAKE_S = 5.0
SHAKE_WAIT_S = 60.0

LayoutName = Annotated[str, typer.Option("--layout", metavar="NAME", help="Layout of the sensors' packets.")]
Virtual = Annotated[
    bool, typer.Option("--virtual", help="Three virtual sensors on a bench instead of real ones: to try this out.")
]
Seconds = Annotated[float | None, typer.Option(min=0.5, help="How long.", show_default=False)]


@app.command("scan")
def scan(
    layout: LayoutName = "house",
    virtual: Virtual = False,
    neighbours: Annotated[
        int, typer.Option("--neighbours", metavar="N", min=0, max=30, help="With --virtual: sensors of other people.")
    ] = 0,
) -> None:
    """Who is in reach: own sensors first, with battery and firmware, then others. Only own ones are connected."""

    async def work(desk: Desk, roster: Roster) -> int:
        reach = await desk.look(roster, expect=3 + neighbours if virtual else None)
        missing = await desk.take(roster, reach)
        table_console().print(who(desk, roster, reach))
        for line in missing:
            say(line)
        without = [link.sensor for link in desk.radio.links if roster.role_of(link.sensor) is None]
        if without:
            say(f"without a place: {', '.join(without)} – `imufeedback sensors assign SERIAL pelvis`, left_thigh, …")
        if reach.others:
            say(
                f"{len(reach.others)} not yours, or new: left alone. `imufeedback sensors blink SENSOR` shows which "
                "one it is, `imufeedback sensors assign SENSOR pelvis` makes it yours"
            )
        return 0

    _run(work, layout, virtual, neighbours)


@app.command("assign")
def assign(
    serial: Annotated[str, typer.Argument(metavar="SENSOR", help="Serial number, or address, as `scan` shows it.")],
    place: Annotated[str, typer.Argument(help="pelvis, left_thigh, right_thigh, …; or none.")],
    layout: LayoutName = "house",
    virtual: Virtual = False,
) -> None:
    """Say where a sensor is worn: it is yours from then on. Another sensor there loses the place.

    One that is not known yet is connected for a moment, to read its serial number.
    """
    from imufeedback.ble.roster import key
    from imufeedback.records import Segment

    if place != "none" and place not in list(Segment):
        raise UsageError(f"no place {place!r}", where="sensors assign", hint=f"choose of {', '.join(Segment)}, none")
    segment = None if place == "none" else Segment(place)

    async def work(desk: Desk, roster: Roster) -> int:
        reach = await desk.look(roster, expect=3 if virtual else None)
        roster.assign(await desk.adopt(roster, the_one(desk, reach, serial, "assign")), segment)
        _print_places(roster)
        return 0

    roster = _roster()
    if key(serial) not in roster.known:
        _run(work, layout, virtual)
        return
    roster.assign(serial, segment)
    _save(roster)
    _print_places(roster)


@app.command("forget")
def forget(serial: Annotated[str, typer.Argument(help="Serial number, as `scan` shows it.")]) -> None:
    """This sensor is not yours any more: it is left alone from now on."""
    roster = _roster()
    roster.forget(serial)
    _save(roster)
    _print_places(roster)


@app.command("blink")
def blink(
    serial: Annotated[str, typer.Argument(metavar="SENSOR", help="Serial number, or address, as `scan` shows it.")],
    layout: LayoutName = "house",
    virtual: Virtual = False,
) -> None:
    """Let a sensor show its light for five seconds, to see which one it is. No other one is connected."""

    async def work(desk: Desk, roster: Roster) -> int:
        reach = await desk.look(roster, expect=3 if virtual else None)
        found = the_one(desk, reach, serial, "blink")
        await desk.radio.blink(found, 5)
        show(f"{name(reach, found)} blinks for 5 s")
        return 0

    _run(work, layout, virtual)


@app.command("check")
def check(
    seconds: Seconds = None,
    turn: Annotated[
        bool, typer.Option("--turn", help="Also turn each by 90° by hand about two axes, and see it read.")
    ] = False,
    layout: LayoutName = "house",
    virtual: Virtual = False,
) -> None:
    """One line a sensor: can it be trusted? Lay all of them down first. Exit status 1 if one cannot be used."""

    async def work(desk: Desk, roster: Roster) -> int:
        from imufeedback.ble.verdict import judge
        from imufeedback.records import Level

        missing = await desk.connect(roster, expect=3 if virtual else None)
        await desk.radio.start()
        if turn:
            say("leave them still for 3 s; turn them by 90° about a level axis in 1 to 2 s, leave them still for 3 s")
            say("then turn them by 90° about another of their axes, level as well, and leave them still again")
        else:
            say("leave them still")
        duration_s = seconds or (TURN_CHECK_S if turn else CHECK_S)
        await _listen(desk, duration_s)
        status = 0
        for monitor in desk.monitors.values():
            row = monitor.row(desk.clock.now_ns())
            verdict = judge(row, *monitor.samples(), turned=turn)
            status |= verdict.level is Level.POOR
            rate = "no data" if row.rate_hz is None else f"{row.rate_hz:.1f} Hz, {row.loss_percent:.1f} % lost"
            show(f"{row.sensor} ({_place(roster, row.sensor)}): {verdict} [{rate}]")
        for line in missing:
            say(line)
        return status

    _run(work, layout, virtual)


@app.command("calibrate")
def calibrate(
    serial: Annotated[str, typer.Argument(metavar="SENSOR", help="Serial number, or address, as `scan` shows it.")],
    latitude: Annotated[
        float, typer.Option(min=-90, max=90, help="Where you are, in degrees: gravity is 0.5 % less at the equator.")
    ] = 45.0,
    height: Annotated[float, typer.Option(min=-500, max=9000, help="Metres above the sea.")] = 0.0,
    sound: Annotated[bool, typer.Option("--sound/--no-sound", help="A tone for each pose that was seen.")] = True,
    layout: LayoutName = "house",
    virtual: Virtual = False,
) -> None:
    """Find one sensor's own errors: hold it still on its six faces and some edges, turn it slowly in between.

    What is found is kept with its serial number, and used in every session from then on.
    """
    import math

    from imufeedback import resources
    from imufeedback.cli import calibrate_sensor as by_hand
    from imufeedback.constants import normal_gravity_m_s2

    gravity = normal_gravity_m_s2(math.radians(latitude), height)

    async def work(desk: Desk, roster: Roster) -> int:
        name, found = await by_hand.calibrate(desk, roster, serial, gravity, sound=sound)
        by_hand.tell(name, found)
        if not virtual:
            from imufeedback.record.calibrations import keep

            keep(resources.data_folder(), name, found)
            say(
                "kept: used in every session from now on. The error bar widens as it gets older, and in warmer or "
                "colder weather: calibrate again every few months"
            )
        return 0

    _run(work, layout, virtual, handled=gravity)


@app.command("conform")
def conform(
    sensor: Annotated[str, typer.Argument(metavar="SENSOR", help="Address, serial number or name of the sensor.")],
    virtual: Virtual = False,
) -> None:
    """For whoever builds a sensor: every rule of the profile, checked over the air, with the byte that is wrong.

    Lay it still. Takes about 20 s. Exit status 1 if a rule is broken.
    """

    async def work(desk: Desk, roster: Roster) -> int:
        broken = kept = 0
        async for one in desk.radio.conform(sensor, desk.pass_time):
            broken, kept = broken + bool(one.wrong), kept + (not one.wrong)
            detail = one.wrong or one.note
            show(
                f"{'WRONG' if one.wrong else 'ok':5}  {printable(one.rule)}{f': {printable(detail)}' if detail else ''}"
            )
        show(f"{kept} rules kept, {broken} broken")
        return int(broken > 0)

    _run(work, "house", virtual)


@app.command("watch")
def watch(seconds: Seconds = None, layout: LayoutName = "house", virtual: Virtual = False) -> None:
    """A live table of all sensors, until Ctrl-C."""

    async def work(desk: Desk, roster: Roster) -> int:
        from rich.live import Live

        for line in await desk.connect(roster, expect=3 if virtual else None):
            say(line)
        await desk.radio.start()
        left_s = seconds or float("inf")
        with Live(_table(desk, roster), console=table_console(), refresh_per_second=4) as live:
            while left_s > 0:
                await desk.pass_time(min(STEP_S, left_s))
                left_s -= STEP_S
                desk.listen()
                live.update(_table(desk, roster))
        return 0

    _run(work, layout, virtual)


@app.command("align")
def align(layout: LayoutName = "house", virtual: Virtual = False) -> None:
    """Measure the constant delay between sensors from one shared shake, and keep it with each sensor."""

    async def work(desk: Desk, roster: Roster) -> int:
        from imufeedback.timing.shake import NoShake, offsets_s

        await desk.connect(roster, expect=3 if virtual else None)
        if len(desk.radio.links) < 2:
            raise RadioError("only one sensor was heard", where="sensors align", hint="switch on all of them")
        await desk.radio.start()
        say(f"take all sensors in one hand; the clocks settle for {SETTLE_S:.0f} s")
        await _listen(desk, SETTLE_S)
        say(f"now turn the hand to and fro, quickly, for {SHAKE_S:.0f} s")
        reason = ""
        for _ in range(round(SHAKE_WAIT_S / STEP_S)):
            await _listen(desk, STEP_S)
            shaken = [_shaken(*monitor.samples()) for monitor in desk.monitors.values()]
            if any(one is None for one in shaken):
                continue
            try:
                found = offsets_s([one for one in shaken if one is not None])
            except NoShake as why:
                reason = str(why)
                continue
            for sensor, offset_s in zip(desk.monitors, found, strict=True):
                roster.set_offset(sensor, offset_s)
                show(f"{sensor} ({_place(roster, sensor)}): {offset_s * 1e3:+.1f} ms")
            return 0
        raise RadioError(reason or "no shake was seen", where="sensors align", hint="hold them together and try again")

    _run(work, layout, virtual)


# ── helpers ──────────────────────────────────────────────────────────────────────────────────────────────────────


def _save(roster: Roster) -> None:
    from imufeedback.record.files import write_own

    roster.save(write_own)


def _print_places(roster: Roster) -> None:
    for one in roster.known.values():
        show(f"{one.serial}: {_place(roster, one.serial)}")


def _run(
    work: Callable[[Desk, Roster], Awaitable[int]],
    layout_name: str,
    virtual: bool,
    neighbours: int = 0,
    *,
    handled: float | None = None,
) -> None:
    """Do the work with sensors on the desk; what was learnt about them is kept, whatever came of it."""
    import asyncio

    from imufeedback import resources
    from imufeedback.packets import parse_layout

    layout = parse_layout(resources.text("layouts", layout_name), f"layout {layout_name}")
    if layout.gatt is None:
        raise BadToml(f"layout {layout_name} has no [gatt]", hint="choose the layout of the sensors")
    roster = _roster()
    if virtual:
        roster.known.clear()  # the bench's sensors are this person's, and nothing is kept

    async def all_of_it() -> int:
        make = _desk(layout, virtual, neighbours) if handled is None else _hand(layout, virtual, handled)
        async with make as desk:
            return await work(desk, roster)

    try:
        status = asyncio.run(all_of_it())
    finally:
        if not virtual:
            _save(roster)
    if status:
        raise typer.Exit(status)


def _desk(layout: Layout, virtual: bool, neighbours: int) -> AbstractAsyncContextManager[Desk]:
    from imufeedback.ble.sensor_check import desk, virtual_desk

    return virtual_desk(layout, neighbours=neighbours) if virtual else desk(layout)


def _hand(layout: Layout, virtual: bool, gravity_m_s2: float) -> AbstractAsyncContextManager[Desk]:
    """One virtual sensor in a hand, or real ones."""
    from imufeedback.ble.sensor_check import desk, virtual_desk
    from imufeedback.ble.virtual.bench import NAMES
    from imufeedback.ble.virtual.turned import handled_sensor

    if not virtual:
        return desk(layout)
    return virtual_desk(layout, made=[handled_sensor(layout, NAMES[0], gravity_m_s2)])


def _roster() -> Roster:
    from imufeedback import resources
    from imufeedback.ble.roster import load

    return load(resources.data_folder())


async def _listen(desk: Desk, seconds: float) -> None:
    while seconds > 0:
        await desk.pass_time(min(STEP_S, seconds))
        seconds -= STEP_S
        desk.listen()


def _shaken(t_s: Floats, gyr: Floats, _acc: Floats) -> tuple[Floats, Floats] | None:
    """The last seconds, if they hold a shake that is over or long enough."""
    import numpy as np

    from imufeedback.timing.shake import LEAST_RATE_RAD_S

    speed = np.linalg.norm(gyr, axis=1)
    fast = np.flatnonzero(speed > LEAST_RATE_RAD_S)
    if not len(fast) or t_s[fast[-1]] - t_s[fast[0]] < 2.0:
        return None
    begin = int(np.searchsorted(t_s, t_s[fast[-1]] - SHAKE_S))
    return t_s[begin:], gyr[begin:]


def _table(desk: Desk, roster: Roster) -> Table:
    from rich.table import Table

    heads = ("sensor", "place", "link", "Hz", "lost %", "rejected", "saturated %", "battery %", "signal dBm")
    table = Table(*heads, "skew ppm", "spread ms", "°C", caption=f"waiting {desk.waiting()}, at most {desk.peak}")
    for row in sorted(desk.rows(), key=lambda one: _place(roster, one.sensor)):
        table.add_row(printable(row.sensor), _place(roster, row.sensor), *_cells(row))
    return table


def _cells(row: MonitorRow) -> tuple[str, ...]:
    battery = _cell(row.battery_percent, ".0f")
    if row.battery_age_s is not None:
        battery += f" ({row.battery_age_s:.0f} s ago)"
    return (
        str(row.link),
        _cell(row.rate_hz, ".1f"),
        f"{row.loss_percent:.2f}",
        str(row.rejected),
        f"{row.saturated_percent:.2f}",
        battery,
        _cell(row.signal_dbm),
        _cell(row.skew_ppm, "+.0f"),
        _cell(row.spread_ms, ".1f"),
        _cell(row.temperature_c, ".1f"),
    )
