"""This tool beside the well-known open filters, in the same run on the same samples."""

from __future__ import annotations

from collections.abc import Callable, Iterable, Iterator
from functools import partial
from pathlib import Path

import numpy as np
from scipy.spatial.transform import Rotation

from imufeedback.measure import optics, own_stages, peers, players, synthetic, tilt
from imufeedback.measure.checks import Band, Context, LeftOut, Measured, at_most
from imufeedback.measure.optics import Parts
from imufeedback.measure.rows import add_row, timed
from imufeedback.measure.walk import FOLDER as WALK
from imufeedback.measure.walk import STILL_S
from imufeedback.records import Floats, Segment

MARKER_SD_DEG = 1.0
"""Of a marker cluster against the sensor's own axes, each axis: what any method's total error on ``joint3d`` contains
and no filter can know. Chosen; constant offsets of 1 to 2 degrees are seen."""
WALK_SEGMENTS = (
    Segment.PELVIS,
    Segment.LEFT_THIGH,
    Segment.RIGHT_THIGH,
    Segment.LEFT_SHANK,
    Segment.RIGHT_SHANK,
)


def data_folder(context: Context, name: str) -> Path:
    if context.data is None or not (context.data / name).is_dir():
        raise LeftOut(f"the recordings {name} are not here; name their folder with --data")
    return context.data / name


def _some(context: Context) -> tuple[str, ...]:
    """Filters that are run; the quick form leaves the slow ones out."""
    return ("vqf", "madgwick") if context.quick else tuple(peers.ORIENT)


def joint(context: Context) -> Iterator[Measured]:
    """Two segments on a ball joint against optics, from 10 s on."""
    trials = optics.pairs(data_folder(context, "joint3d"))
    if not trials:
        raise LeftOut("the folder joint3d holds no trial")
    found, floors, inside = [], [], []
    for pair in trials:
        context.say(pair.name)
        delay_s = optics.delay_s(pair)  # from the rates, and the same for every method
        floors.append(peers.floor(pair, delay_s))
        (relative, sd), seconds = timed(partial(own_stages.relative, pair, delay_s))
        inside.append(_in_bars(relative, sd, pair))
        found.append(_pair_rows(context, "joint3d", pair, (relative, seconds), floors[-1], delay_s))
    mine = [one.pop("imufeedback") for one in found]
    best = min(float(np.mean([one[name] for one in found])) for name in found[0])
    yield Measured("joint3d: mean error / best causal peer's mean", float(np.mean(mine)) / best, at_most(0.95), "ratio")
    worst = max(one / min(others.values()) for one, others in zip(mine, found, strict=True))
    yield Measured("joint3d: worst trial / best peer of that trial", worst, at_most(1.10), "ratio")
    yield Measured("joint3d: mean error / floor", float(np.mean(mine) / np.mean(floors)), at_most(1.20), "ratio")
    one_sd, two_sd = np.mean(inside, axis=0)
    yield Measured("joint3d: errors within one standard deviation", 100 * one_sd, Band(60, 76), "%")
    yield Measured("joint3d: errors within two standard deviations", 100 * two_sd, Band(91, None), "%")


def _pair_rows(
    context: Context, set_name: str, pair: optics.JointTrial, own: tuple[Rotation, float], floor: float, delay_s: float
) -> dict[str, float]:
    """Rows of one pair of sensors; total errors (deg) of the causal methods, by name. `own`: what this tool gave, and
    its seconds; `delay_s`: of the samples, for all others alike."""
    relative, seconds = own
    mine = optics.relative_parts(relative, pair)
    add_row(context, set_name, pair.name, "imufeedback", mine, seconds, floor)
    found = {"imufeedback": mine.total or 0.0}
    methods: dict[str, Callable[[optics.JointTrial], peers.Both]] = {
        name: partial(peers.heading_once, name) for name in (*_some(context), *peers.OFFLINE)
    }
    methods["mekf"] = peers.mekf
    for name, method in methods.items():
        try:
            both, seconds = timed(partial(method, pair))
        except ImportError:  # a library of the tests; the tool does without
            continue
        parts = optics.relative_parts(peers.at_reference(name, both, pair, delay_s), pair)
        add_row(context, set_name, pair.name, name, parts, seconds, floor)
        if name not in peers.OFFLINE:
            found[name] = parts.total or 0.0
    return found


def _in_bars(relative: Rotation, sd: Floats, pair: optics.JointTrial) -> tuple[float, float]:
    found, true = optics.common(relative, pair.reference)
    error = np.abs(np.degrees((found.inv() * true).as_rotvec()))[pair.counted]
    bar = np.hypot(np.degrees(sd[: len(found)][pair.counted]), MARKER_SD_DEG)
    return float(np.mean(error <= bar)), float(np.mean(error <= 2 * bar))


def inclination(context: Context) -> Iterator[Measured]:
    """Tilt of one sensor against optics: rows for every trial, lines for fast and disturbed motion."""
    against_vqf, against_vqf_shifted, against_ahrs = [], [], []
    for single in _trials(context):
        context.say(single.name)
        found, plain = _single_rows(context, single)
        if not _is_fast_or_disturbed(single):
            continue
        shifted = min(
            optics.inclination_rmse_deg(optics.carried(plain, single.gyr, k / single.rate_hz), single)
            for k in (0.5, 0.75, 1.0)
        )
        against_vqf.append(found["imufeedback"] / found["vqf"])
        against_vqf_shifted.append(found["imufeedback"] / shifted)
        against_ahrs.append(found["imufeedback"] / min(found[name] for name in peers.AHRS if name in found))
    if not against_vqf:
        raise LeftOut("the folder broad holds no fast or disturbed trial")
    yield Measured("broad: tilt error / VQF defaults, worst trial", max(against_vqf), at_most(1.0), "ratio")
    # not a limit of anybody: the same comparison with VQF given the sensors' delay too
    yield Measured(
        "broad: the same, VQF at its best shift, mean", float(np.mean(against_vqf_shifted)), Band(0, 2), "ratio"
    )
    yield Measured("broad: tilt error / best ahrs filter, worst trial", max(against_ahrs), at_most(0.40), "ratio")


def _trials(context: Context) -> Iterable[optics.Single]:
    folder = data_folder(context, "broad")
    if not context.quick:
        return optics.singles(folder)
    return [one for one in optics.singles(folder) if _is_fast_or_disturbed(one)][:2]


def _is_fast_or_disturbed(single: optics.Single) -> bool:
    return "_fast_" in single.name or "_disturbed_" in single.name


def _single_rows(context: Context, single: optics.Single) -> tuple[dict[str, float], Rotation]:
    """Rows of one sensor; tilt errors (deg) by method, and what VQF gave. The floor is offline VQF's tilt error."""
    methods: dict[str, Callable[[], Rotation]] = {"imufeedback": lambda: own_stages.oriented(single)[0]}
    orient = {**peers.OFFLINE, **{name: peers.ORIENT[name] for name in _some(context)}}
    for name, one in orient.items():
        methods[name] = partial(one, single.gyr, single.acc, single.rate_hz)
    made = {name: timed(method) for name, method in methods.items()}
    parts = {name: optics.single_parts(q_es, single) for name, (q_es, _) in made.items()}
    floor = parts["offline-vqf"].inclination
    for name, (_, seconds) in made.items():
        add_row(context, "broad", single.name, name, parts[name], seconds, floor)
    return {name: one.inclination or 0.0 for name, one in parts.items()}, made["vqf"][0]


def walker(context: Context) -> Iterator[Measured]:
    """Rows of a walking person's sensors: tilt against an offline filter of another library; no optics, so no more."""
    folder = data_folder(context, WALK)
    for segment in WALK_SEGMENTS[:1] if context.quick else WALK_SEGMENTS:
        context.say(str(segment).replace("_", " "))
        csv = folder / f"{segment}.csv"
        if not csv.is_file():
            continue
        try:
            reference = tilt.reference_deg(csv, STILL_S)[1]
        except ImportError as error:
            raise LeftOut(f"it compares with the library qmt, which cannot be used here ({error})") from error
        methods: dict[str, Callable[[], Floats]] = {"imufeedback": partial(tilt.fused_deg, csv, STILL_S)}
        for name in _some(context):
            methods[name] = partial(tilt.peer_deg, peers.ORIENT[name], csv, STILL_S)
        for name, method in methods.items():
            own, seconds = timed(method)
            rms = float(np.sqrt(np.mean((own - reference) ** 2)))
            add_row(context, WALK, str(segment), name, Parts(None, None, rms), seconds, None)
    yield from ()


def golfers(context: Context) -> Iterator[Measured]:
    """Rows of synthetic players: pelvis and trail thigh, exact truth, typical sensors; from the first address on.

    This tool goes through its whole pipeline, calibration and zeroing included; peers get the samples, the mounting and
    the true heading of the first second.
    """
    for seed in range(context.seed, context.seed + (1 if context.quick else 5)):
        context.say(f"player {seed}")
        session = players.script(seed)
        pair = synthetic.pair(session)
        own = timed(partial(synthetic.through_pipeline, session, synthetic.packets(session)))
        _pair_rows(context, "synthetic", pair, own, peers.floor(pair, 0.0), 0.0)  # samples at their own instants
    yield from ()
