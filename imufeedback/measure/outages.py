"""Outages of virtual sensors in real time: how soon they are noticed, and how soon all is well again."""

from __future__ import annotations

import asyncio
from collections.abc import Iterator
from dataclasses import dataclass

import numpy as np

from imufeedback import resources
from imufeedback.ble import profile
from imufeedback.ble.clock import MonotonicClock
from imufeedback.ble.radio import Radio
from imufeedback.ble.virtual import VirtualRadio, VirtualSensor
from imufeedback.conduct.sensor_clock import clock_of
from imufeedback.packets import Decoder, Layout, encode, parse_layout
from imufeedback.records import DeviceBlock, ImuBlock, LinkNote, LinkState, RawPacket

BEFORE_S, AWAY_S, AFTER_S = 2.0, 5.0, 4.0


@dataclass(frozen=True, slots=True)
class Outage:
    """What one sensor went through."""

    told: bool
    """The computer was told that the link had ended."""
    noticed_s: float
    """From its last packet to the note that it is lost or silent."""
    back_s: float
    """From being in reach again to its next packet."""
    configured: bool
    """It has the settings that were asked for, not the factory's."""
    clock_error_s: float
    """Largest error of its sample times after the outage, less the radio's least delay."""


def _payloads(layout: Layout, seconds: float) -> Iterator[tuple[int, bytes]]:
    """A still sensor with noise; every packet is sent as soon as its last sample is taken."""
    rng = np.random.default_rng(1)
    per_packet = layout.samples_per_packet
    for k in range(int(seconds * layout.rate_hz) // per_packet):
        last_ns = round(((k + 1) * per_packet - 1) / layout.rate_hz * 1e9)
        first_tick = round(k * per_packet * layout.nominal_step_ticks)
        gyr, noise = rng.normal(0.0, 0.01, (per_packet, 3)), rng.normal(0.0, 0.05, (per_packet, 3))
        yield last_ns, encode(layout, k, first_tick, gyr, noise + np.array([0.0, 0.0, 9.81]))


def outages() -> list[Outage]:
    """Two of three sensors are away at the same time for 5 s; the computer is told of one of them only."""
    return asyncio.run(_outages())


async def _outages() -> list[Outage]:
    layout = parse_layout(resources.text("layouts", "house"), "house")
    clock = MonotonicClock()
    total_s = BEFORE_S + AWAY_S + AFTER_S
    sensors = [VirtualSensor(f"S{k}", f"S{k}", _payloads(layout, total_s), layout) for k in range(3)]
    air = VirtualRadio(sensors, clock)
    await air.open()
    items: list[RawPacket | LinkNote] = []
    errors: list[BaseException] = []
    radio = Radio(layout, clock, items.append, backends=air.backends, on_fault=errors.append)
    away = {sensors[0]: True, sensors[1]: False}
    try:
        await radio.open(await radio.scan(5.0, expect=3))
        await radio.start()
        air.begin()
        origin_ns = clock.now_ns()
        await air.play(round(BEFORE_S * 1e9), realtime=True)
        for sensor, told in away.items():
            await sensor.vanish(forget=False, told=told)
        await air.play(round((BEFORE_S + AWAY_S) * 1e9), realtime=True)
        for sensor in away:
            await sensor.come_back()
        back_ns = clock.now_ns()
        await air.play(round(total_s * 1e9), realtime=True)
        settings = {sensor: sensor.settings for sensor in away}
    finally:
        await radio.close()
        await air.close()
    if errors:
        raise errors[0]
    wanted = profile.SensorSettings(round(layout.rate_hz), layout.samples_per_packet)
    return [
        _outage(layout, items, sensor, told, settings[sensor] == wanted, origin_ns, back_ns)
        for sensor, told in away.items()
    ]


def _outage(
    layout: Layout,
    items: list[RawPacket | LinkNote],
    sensor: VirtualSensor,
    told: bool,
    configured: bool,
    origin_ns: int,
    back_ns: int,
) -> Outage:
    packets = [one for one in items if isinstance(one, RawPacket) and one.sensor == sensor.serial]
    before = [one for one in packets if one.host_ns < back_ns]
    after = [one for one in packets if one.host_ns >= back_ns]
    noted = [
        one.host_ns
        for one in items
        if isinstance(one, LinkNote)
        and one.sensor == sensor.serial
        and one.state in (LinkState.LOST, LinkState.SILENT)
        and one.host_ns >= before[-1].host_ns
    ]
    return Outage(
        told=told,
        noticed_s=(min(noted) - before[-1].host_ns) * 1e-9 if noted else float("nan"),
        back_s=(after[0].host_ns - back_ns) * 1e-9 if after else float("nan"),
        configured=configured,
        clock_error_s=_clock_error_s(layout, packets, origin_ns, back_ns),
    )


def _clock_error_s(layout: Layout, packets: list[RawPacket], origin_ns: int, back_ns: int) -> float:
    """Sample times against the true ones, which are tick by tick from the origin."""
    serial = packets[0].sensor
    decoder = Decoder(serial, layout, origin_ns)
    clock = clock_of(serial, layout, origin_ns)
    errors = []
    for packet in packets:
        for block in decoder.feed(packet):
            if not isinstance(block, DeviceBlock):
                continue
            true_s = block.tick * layout.counter.unit_s
            timed = [one for one in clock.feed(block) if isinstance(one, ImuBlock)]
            errors += [float(np.max(np.abs(one.t_s - true_s))) for one in timed if packet.host_ns >= back_ns]
    return max(errors, default=float("nan"))
