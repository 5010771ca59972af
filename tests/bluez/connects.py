"""Find, connect, stream, close, so many times: `connects.py LAYOUT TIMES`. A line a round."""

from __future__ import annotations

import asyncio
import sys
import time

from imufeedback import resources
from imufeedback.ble.clock import MonotonicClock
from imufeedback.ble.radio import Radio
from imufeedback.packets import parse_layout
from imufeedback.records import LinkNote, LinkState, RawPacket

STREAM_S = 1.5


async def main(name: str, times: int) -> None:
    layout = parse_layout(resources.text("layouts", name), name)
    for k in range(times):
        begun, items = time.monotonic(), list[RawPacket | LinkNote]()
        radio = Radio(layout, MonotonicClock(), items.append)
        await radio.open(await radio.scan(8.0, expect=3))
        await radio.start()
        await asyncio.sleep(STREAM_S)
        closing = len(items)
        await radio.close()
        packets = [one for one in items if isinstance(one, RawPacket)]
        sensors = {one.sensor for one in packets}
        samples = sorted({one.payload[1] for one in packets})
        lost = sum(isinstance(one, LinkNote) and one.state is LinkState.LOST for one in items[closing:])
        took_s = time.monotonic() - begun
        counts = f"{len(sensors)} sensors, {samples} samples a packet, {lost} lost at the end"
        sys.stdout.write(f"round {k + 1}: {counts}, {took_s:.1f} s\n")


asyncio.run(main(sys.argv[1], int(sys.argv[2])))
