"""Sensors' own errors, found by turning each by hand (`sensors calibrate`)."""

from __future__ import annotations

from collections.abc import Callable, Iterator

import msgspec
import numpy as np

from imufeedback.ble.virtual.turned import ROUTINE_S, handled
from imufeedback.constants import normal_gravity_m_s2
from imufeedback.fusion.ageing import aged
from imufeedback.fusion.corrected import matrix
from imufeedback.fusion.six_faces import Contradiction, calibrated
from imufeedback.measure import players
from imufeedback.measure.checks import Band, Context, Measured, SetPart, at_most, exactly
from imufeedback.measure.golfer import items
from imufeedback.records import Floats, Segment, Side
from imufeedback.settings import Calibration
from imufeedback.synth.errors import PRESETS, SensorErrors
from imufeedback.synth.presets import SensorModel
from imufeedback.synth.script import Script
from imufeedback.synth.sensors import WORN

RATE_HZ = 200.0
SENSORS, QUICK_SENSORS = 100, 10
PLAYERS, AGED_PLAYERS, QUICK_PLAYERS = 50, 20, 3
OLD_DAYS, COLDER_K = 180, 15.0


def by_hand(context: Context) -> Iterator[Measured]:
    """Typical sensors in shaking hands: what is found against what was drawn."""
    count = QUICK_SENSORS if context.quick else SENSORS
    g = normal_gravity_m_s2(np.deg2rad(45.0))
    n = np.arange(int(ROUTINE_S * RATE_HZ))
    offsets, scales, gyr_scales, refused = [], [], [], 0
    for k in range(count):
        errors = SensorErrors(PRESETS["typical"], context.seed * 1000 + k, Segment.PELVIS, RATE_HZ)
        t_s = n / RATE_HZ
        gyr, acc = errors.apply(n, t_s, *handled(t_s, context.seed * 1000 + k, g))
        try:
            found = calibrated(t_s, gyr, acc, g)
        except Contradiction:
            refused += 1
            continue
        # What is left: a whole turn of the sensor's axes cannot be seen, so only lengths along the axes are compared.
        left = matrix(found) @ errors.acc_matrix
        offsets.append(np.abs(np.array(found.acc_offset_m_s2) - errors.acc_bias_m_s2).max())
        scales.append(np.abs(np.diag(left) - 1).max())
        gyr_scales.append(np.abs(np.diag(np.array(found.gyr_matrix) @ errors.gyr_matrix) - 1).max())
    name = f"calibrated by hand, {count} sensors"
    yield Measured(f"{name}: refused", refused, exactly(0), "sensors")
    yield Measured(f"{name}: offset, worst axis, 95th percentile", 1e3 * _p95(offsets), at_most(15.0), "mm/s²")
    yield Measured(f"{name}: accelerometer scale, worst axis, 95th percentile", 100 * _p95(scales), at_most(0.2), "%")
    yield Measured(f"{name}: gyroscope scale, worst axis, 95th percentile", 100 * _p95(gyr_scales), at_most(0.5), "%")


def _p95(values: list[float]) -> float:
    return float(np.percentile(values, 95)) if values else float("nan")


def after_calibration(context: Context) -> Iterator[Measured]:
    """Seeded players with typical sensors that were each calibrated by hand before: angles, and their error bars."""
    count = QUICK_PLAYERS if context.quick else PLAYERS
    thigh, marks, score = _played(context, count, lambda one, _rng: one)
    name = f"calibrated by hand, {count} players"
    yield Measured(f"{name}: thigh angle over the rep, RMSE", thigh, at_most(1.0), "deg")
    for mark in ("impact_s", "finish_s"):
        off = marks[players.MARKS.index(mark)]
        yield Measured(f"{name}: thigh angle at {mark[:-2]}, RMSE", off, at_most(1.2), "deg")
    yield from _bars(name, score)


def aged_calibration(context: Context) -> Iterator[Measured]:
    """The same with calibrations that are old and were made in the warm: offsets have gone as far as `aged` says."""
    count = QUICK_PLAYERS if context.quick else AGED_PLAYERS

    def drifted(one: Calibration, rng: np.random.Generator) -> Calibration:
        old = aged(msgspec.structs.replace(one, temperature_c=25.0), OLD_DAYS, 25.0 - COLDER_K)
        grown = np.sqrt(old.acc_offset_sd_m_s2**2 - one.acc_offset_sd_m_s2**2)
        x, y, z = (np.array(one.acc_offset_m_s2) + rng.normal(0.0, grown, 3)).tolist()
        return msgspec.structs.replace(old, acc_offset_m_s2=(x, y, z))

    thigh, _, score = _played(context, count, drifted)
    name = f"calibrated {OLD_DAYS} days ago and {COLDER_K:.0f} K warmer, {count} players"
    yield Measured(f"{name}: thigh angle over the rep, RMSE", thigh, Band(None, None), "deg")
    yield from _bars(name, score)


def _bars(name: str, score: Floats) -> Iterator[Measured]:
    """The bar has a floor for movement and wear, which rigid straps do not need: no upper limit."""
    yield Measured(f"{name}: errors within one bar", 100 * float(np.mean(score <= 1)), Band(60, None), "%")
    yield Measured(f"{name}: errors within two bars", 100 * float(np.mean(score <= 2)), Band(91, None), "%")


def _played(
    context: Context, count: int, change: Callable[[Calibration, np.random.Generator], Calibration]
) -> tuple[float, Floats, Floats]:
    """RMSE of the trail thigh angle over the reps, and at each mark (deg); all errors of both hips over their bars."""
    thigh, marks, scores = [], [], []
    for k in range(count):
        context.say(f"player {k + 1} of {count}")
        session, model = players.script(context.seed + k), players.typical(soft_tissue=False)
        rng = np.random.default_rng([session.seed, 3])
        kept = {segment: change(one, rng) for segment, one in _by_hand(session, model).items()}
        seen = players.errors(session, items(session, WORN, model=model, calibrations=kept))
        for rep in session.truth.reps:
            thigh.append(seen.thigh(rep))
            marks.append(seen.thigh_at_marks(rep))
            inside = seen.inside(rep)
            scores += [np.abs(seen.error[side][inside]) / seen.sd[side][inside] for side in Side]
    at_marks = np.sqrt(np.mean(np.square(marks), axis=0))
    return players.rms(thigh), at_marks, np.concatenate(scores)


def _by_hand(session: Script, model: SensorModel) -> dict[Segment, Calibration]:
    """What a minute by hand finds of each sensor's errors, the same as it has in the session."""
    g, n = normal_gravity_m_s2(np.deg2rad(45.0)), np.arange(int(ROUTINE_S * RATE_HZ))
    t_s, found = n / RATE_HZ, {}
    for k, segment in enumerate(WORN):
        errors = SensorErrors(model, session.seed, segment, RATE_HZ)
        found[segment] = calibrated(t_s, *errors.apply(n, t_s, *handled(t_s, session.seed * 10 + k, g)), g)
    return found


STEPS = (
    SetPart("calibration by hand", by_hand),
    SetPart("players with calibrated sensors", after_calibration),
    SetPart("players with old calibrations", aged_calibration),
)
