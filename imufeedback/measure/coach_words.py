"""Checks in a coach's words: no set names, no ratios without saying of what."""

from __future__ import annotations

import re

from imufeedback.measure.checks import Measured

_WORDS: tuple[tuple[str, str], ...] = (
    (
        r"joint3d: mean error / best",
        "Two sensors on a joint, watched by cameras: our error, as a part of the best other",
    ),
    (r"joint3d: worst trial", "The same, in the recording that went worst for us"),
    (r"joint3d: mean error / floor", "The same, against the least error that the sensors allow"),
    (r"joint3d: errors within one", "Camera recordings: errors no larger than the ± we show"),
    (r"joint3d: errors within two", "Camera recordings: errors no larger than twice the ± we show"),
    (
        r"broad: tilt error / VQF",
        "Fast and shaken movements, watched by cameras: our lean, as a part of another filter's",
    ),
    (r"broad: the same, VQF", "The same, when the other filter is allowed to look at a better moment"),
    (r"broad: tilt error / best ahrs", "The same, against the best of three older filters"),
    (r"people: calibrations refused", "People's recordings whose calibration was refused"),
    (r"people, no gaps", "Walking people, watched by cameras: our error, as a part of a plain filter's"),
    (r"people, gaps: hip (\w+)", r"Exercises with missing samples, hip \1: our error, as a part of a plain filter's"),
    (r"people: shown samples", "People, watched by cameras: errors no larger than twice the ± we show"),
    (r"(.+): within two bars of undisturbed", r"\1 in motion: changes no larger than twice the ± we show"),
    (r"(.+): within two bars of the truth", r"\1 in a swing: errors no larger than twice the ± we show"),
    (r"reps with a result although", "Swings with a result although an angle was not known"),
    (r"undisturbed samples still", "Angles that nothing has disturbed and that are shown"),
    (r"0.5 s without samples at address", "Half a second of radio silence at address: thigh angle back after"),
    (r"the same: sessions whose rotation", "The same: sessions whose hip rotation is not back at the next address"),
    (r"typical sensors: trail thigh angle, RMSE", "Trail thigh angle in a full swing: how far off"),
    (r"typical sensors: hip rotations", "Rotation of both hips in a full swing: how far off"),
    (r"typical sensors: thigh angle at (\w+)", r"Trail thigh angle at “\1”: how far off"),
    (r"typical sensors: errors within one", "Swings: errors no larger than the ± we show"),
    (r"typical sensors: errors within two", "Swings: errors no larger than twice the ± we show"),
    (r"soft tissue", "Change of the thigh angle in a swing, through skin and muscle: how far off"),
    (r"(\d+) minutes: last", r"After \1 minutes of balls: the last ten swings' error, as a part of the first ten's"),
    (r"knock: thigh angle", "A hard knock on a sensor at address: the thigh angle jumps by"),
    (r"knock: left", "One second after the knock: still off by"),
    (r"losses: RMSE", "A bad radio, one packet in ten lost: error, as a part of that with a good one"),
    (r"losses: angles shown", "Angles shown while a sensor was silent"),
    (r"clipping: error bars", "A turn too fast for the sensor: errors no larger than twice the ± we show"),
    (r"clipping: error bar after", "The same: how much wider the ± becomes"),
    (r"fusion, joints and body", "Computing time for each moment of 5 thousandths of a second"),
    (r"cost against (.+), exponent", r"How the work grows with \1 (1: just as fast)"),
    (r"live, three sensors, with window", "A live session with its window: part of one processor core"),
    (r"live, three sensors, without window", "The same work without a window"),
    (r"the same / VQF alone", "The same, as a multiple of the filter that it is built on"),
    (r"long day \((.+?)\): memory growth, carried on", r"A long day (\1 of it): memory that eight hours would add"),
    (r"long day \((.+?)\): memory growth", r"A long day (\1): memory that it adds"),
    (r"long day .*: (\w+)'s queue, peak", r"The same: most that waited at once for the \1"),
    (r"long day .*: events that the window missed", "The same: events that the window missed"),
    (r"long day .*: packet to events", "The same: how much slower the work has become"),
    (r"long day .*: packet to sound", "The same: how much later the sounds have become"),
    (r"long day .*: engine's share", "The same: how busy one core was"),
    (r"long day .*: recording /", "The same, as a multiple of what the sensors sent"),
    (r"long day .*: recording", "The same: what an hour's recording takes on the disk"),
    (r"long day .*: packets lost", "The same: packets that came and are not in the recording as they came"),
    (r"long day .*: items that", "The same: entries of the recording that cannot be read"),
    (
        r"long day .*: first (.+?) checked",
        r"The same: its first \1 checked again, with another result",
    ),
    (r"long day .*: exceptions", "The same: errors of the program"),
    (r"long day .*: frames", "The same: pictures drawn in each of its seconds"),
)
_UNITS = {"deg": "°", "ratio": " times", "%": " of 100", "steps": " times", "s": " s"}


def sentence(check: str) -> str:
    """The check in plain words; its own text where there are none."""
    for pattern, words in _WORDS:
        found = re.match(pattern, check)
        if found:
            return found.expand(words)
    return check[:1].upper() + check[1:]


def amount(value: float, unit: str) -> str:
    """A value with its unit; "not measured" for NaN."""
    if value != value:
        return "not measured"
    number = f"{value:.3g}" if abs(value) < 1000 else f"{value:.0f}"
    return f"{number}{_UNITS.get(unit, f' {unit}')}"


def wanted(line: Measured) -> str:
    """Where the value should lie."""
    low, high = line.limit.low, line.limit.high
    if low is None:
        return "–" if high is None else f"at most {amount(high, line.unit)}"
    if high is None:
        return f"at least {amount(low, line.unit)}"
    if low == high:
        return f"exactly {amount(low, line.unit)}"
    return f"{low:g} to {amount(high, line.unit)}"


def verdict(line: Measured) -> str:
    if line.value != line.value:
        return "not measured"
    return "yes" if line.ok else "no"
