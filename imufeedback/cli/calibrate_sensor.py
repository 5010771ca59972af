"""``sensors calibrate``: a minute of turning one sensor by hand shows its own errors."""

from __future__ import annotations

import datetime
from contextlib import contextmanager
from typing import TYPE_CHECKING

from imufeedback.cli.in_reach import the_one
from imufeedback.cli.output import say, show
from imufeedback.errors import RadioError

if TYPE_CHECKING:
    from collections.abc import Callable, Iterator

    from imufeedback.ble.roster import Roster
    from imufeedback.ble.sensor_check import Desk
    from imufeedback.settings import Calibration

STEP_S = 0.5
LIMIT_S = 240.0
ENOUGH_OFFSET_M_S2, ENOUGH_SCALE, ENOUGH_GYR = 0.006, 0.001, 0.002
"""So sure (one standard deviation) is enough: well below what is promised, 15 mm/s² and 0.2 %."""


async def calibrate(
    desk: Desk, roster: Roster, text: str, gravity_m_s2: float, *, sound: bool
) -> tuple[str, Calibration]:
    """Serial number and what was found. Raises RadioError when the sensor is not there, or its data contradict."""
    from imufeedback.fusion.six_faces import Contradiction, calibrated, missing, poses

    reach = await desk.look(roster)
    serial = await desk.adopt(roster, the_one(desk, reach, text, "calibrate"))
    desk.monitors[serial].keep_s = LIMIT_S
    await desk.radio.start()
    say(f"hold {serial} still for 3 s on each of its six faces, in any order; turn it slowly from one to the next")
    seen, reason, passed = 0, "", 0.0
    with _tones(sound) as tone:
        while passed < LIMIT_S:
            await desk.pass_time(STEP_S)
            passed += STEP_S
            desk.listen()
            samples = desk.monitors[serial].samples()
            found = poses(*samples)
            if len(found) <= seen:
                continue
            seen = len(found)
            lacking = missing(found)
            say(_words(found[-1].face, lacking, first=not any(one.face == found[-1].face for one in found[:-1])))
            tone()
            if lacking:
                continue
            try:
                result = calibrated(*samples, gravity_m_s2)
            except Contradiction as why:
                reason = str(why)
                continue
            reason = ""
            if _is_enough(result):
                return serial, _dated(result, desk, serial)
    lines = f"not seen: {', '.join(missing(found))} up" if missing(found) else "it stays unsure"
    raise RadioError(
        reason or lines,
        where=f"sensors calibrate {serial}",
        hint="hold it steadier, turn it slowly, try again",
    )


def _words(face: str, lacking: list[str], *, first: bool) -> str:
    if lacking:
        what = f"{face} up: seen" if face else "an edge: seen"
        return f"{what if first or not face else f'{face} up: seen again'}; still missing: {', '.join(lacking)} up"
    return "seen. Now hold it on its edges too, tilted by half, each time on another one"


def _is_enough(one: Calibration) -> bool:
    return (
        one.acc_offset_sd_m_s2 < ENOUGH_OFFSET_M_S2
        and one.acc_scale_sd < ENOUGH_SCALE
        and one.gyr_scale_sd < ENOUGH_GYR
    )


def _dated(one: Calibration, desk: Desk, serial: str) -> Calibration:
    import msgspec

    row = desk.monitors[serial].row(desk.clock.now_ns())
    today = datetime.datetime.now().astimezone().date().isoformat()
    return msgspec.structs.replace(one, day=today, temperature_c=row.temperature_c)


def tell(serial: str, one: Calibration) -> None:
    """What was found and how sure it is."""
    import math

    offsets = ", ".join(f"{1e3 * value:+.0f}" for value in one.acc_offset_m_s2)
    scales = ", ".join(f"{100 * (value - 1):+.2f}" for value in one.acc_scale)
    gyr = ", ".join(f"{100 * (row[k] - 1):+.2f}" for k, row in enumerate(one.gyr_matrix))
    bias = ", ".join(f"{math.degrees(value):+.2f}" for value in one.gyr_bias_rad_s)
    warm = "" if one.temperature_c is None else f", {one.temperature_c:.1f} °C"
    show(f"{serial}, {one.day}{warm}:")
    show(f"  accelerometer offset {offsets} mm/s² (± {1e3 * one.acc_offset_sd_m_s2:.0f})")
    show(f"  accelerometer scale {scales} % (± {100 * one.acc_scale_sd:.2f})")
    show(f"  gyroscope scale {gyr} % (± {100 * one.gyr_scale_sd:.2f})")
    show(f"  gyroscope bias {bias} °/s")


@contextmanager
def _tones(sound: bool) -> Iterator[Callable[[], None]]:
    """What lets a pose be heard; nothing without sound."""
    if not sound:
        yield lambda: None
        return
    import time

    from imufeedback.audio import open_player
    from imufeedback.sounds import Sound

    with open_player() as player:
        yield lambda: player.play(Sound.FIT_STEP, time.monotonic_ns() + 10**9)
