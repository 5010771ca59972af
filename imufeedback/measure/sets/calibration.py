"""Sensors strapped on anyhow, fitted by players alone: right in half a minute, and refused with the right reason."""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence

import numpy as np
from scipy.spatial.transform import Rotation

from imufeedback.measure import fitters, players, walk
from imufeedback.measure.checks import Band, Context, LeftOut, Measured, SetPart, at_most, exactly
from imufeedback.measure.fitters import Performance, performance, strapped, swapped
from imufeedback.pipeline import run
from imufeedback.record.importer import import_folder
from imufeedback.record.replay import read_items
from imufeedback.records import (
    Event,
    FitRefused,
    Fitted,
    Hand,
    RolesChanged,
    Segment,
    Side,
    Slipped,
    SwapOffered,
)
from imufeedback.synth.movements import Spoil
from imufeedback.synth.performance import make_addresses
from imufeedback.synth.stream import serial_of

READY_S = 30.0
REASONS: Mapping[Spoil, Sequence[str]] = {
    Spoil.MOVED: ("moved while standing",),
    Spoil.SIDEWAYS: ("sideways",),
    Spoil.SAME_SIDE: ("knee was lifted again",),
    Spoil.WALKED: ("walking",),
    Spoil.LOOSE: ("is loose",),
    Spoil.OFF: ("sends nothing", "did not move with you"),
    Spoil.SAT: ("sat down",),
    Spoil.NO_BOW: ("bow twice",),
}
"""Words that the right reason has."""
SITTING_DOWN_S = (44.0, 55.0)


def _roles(seed: int) -> Mapping[Segment, Segment] | None:
    """Right, left and right exchanged, any wrong order: in turn."""
    if seed % 3 == 0:
        return {
            Segment.PELVIS: Segment.PELVIS,
            Segment.LEFT_THIGH: Segment.RIGHT_THIGH,
            Segment.RIGHT_THIGH: Segment.LEFT_THIGH,
        }
    return swapped(seed) if seed % 3 == 1 else None


def good(context: Context) -> Iterator[Measured]:
    """Well made performances."""
    seeds = range(context.seed, context.seed + (18 if context.quick else 200))
    accepted, right, ready = 0, 0, []
    errors: dict[bool, list[float]] = {True: [], False: []}
    within: list[float] = []
    for seed in seeds:
        one = performance(seed, roles=_roles(seed))
        events = one.events(until=(Fitted, FitRefused))
        fitted = next((event for event in events if isinstance(event, Fitted)), None)
        if fitted is None:
            why = next((event.reason for event in events if isinstance(event, FitRefused)), "nothing came of it")
            context.rows.append({"set": "calibration", "seed": seed, "refused": why})
            continue
        accepted += 1
        ready.append(fitted.t_s)
        roles_right = _really(events, one)
        right += roles_right
        if roles_right:
            for found in fitted.fit.segments:
                error = _error_deg(one, found.segment, found.q_sb)
                errors[found.segment is Segment.PELVIS].append(float(np.linalg.norm(error)))
                assert found.sd_axes_rad is not None
                within += (np.abs(error) <= np.degrees(found.sd_axes_rad)).tolist()
    n = len(seeds)
    yield Measured("good performances accepted", 100 * accepted / n, Band(97, None), "%")
    yield Measured("roles right in accepted fits", 100 * right / max(accepted, 1), exactly(100), "%")
    yield Measured("pelvis: axis error, 95th percentile", _p95(errors[True]), at_most(4), "deg")
    yield Measured("thighs: axis error, 95th percentile", _p95(errors[False]), at_most(5), "deg")
    yield Measured("axis errors within one standard deviation", 100 * float(np.mean(within)), Band(60, 85), "%")
    slowest = max(ready, default=float("nan"))
    yield Measured("first still second to ready, slowest", slowest, at_most(READY_S), "s")


def _really(events: Sequence[Event], one: Performance) -> bool:
    """Every sensor has the place in the end on which it really is."""
    known = {serial_of(segment): role for segment, role in one.roles.items()}
    for event in events:
        if isinstance(event, RolesChanged):
            known = dict(event.roles)
    return all(known[serial_of(segment)] is segment for segment in one.places)


def _error_deg(one: Performance, segment: Segment, q_sb: np.ndarray) -> np.ndarray:
    """(3,) about the segment's axes."""
    true = Rotation.from_quat(one.places[segment].q_sb, scalar_first=True)
    found = Rotation.from_quat(q_sb, scalar_first=True)
    error: np.ndarray = np.degrees((found.inv() * true).as_rotvec())
    return error


def _p95(values: Sequence[float]) -> float:
    return float(np.percentile(values, 95)) if values else float("nan")


def bias(context: Context) -> Iterator[Measured]:
    """The thigh angle in a rep after the calibration."""
    biases: list[float] = []
    for seed in range(context.seed, context.seed + (4 if context.quick else 40)):
        one = performance(seed, reps=1)
        seen = players.compared(one.script, one.events())
        if seen is None:
            continue
        inside = seen.inside(one.script.truth.reps[0])
        biases += [abs(float(np.mean(seen.error[side][inside, players.FLEXION]))) for side in Side]
    value = float(np.mean(biases)) if biases else float("nan")
    yield Measured("thigh angle bias in a rep after calibration, mean absolute", value, at_most(2), "deg")


def spoiled(context: Context) -> Iterator[Measured]:
    """Each kind of spoiled performance."""
    seeds = range(context.seed, context.seed + (4 if context.quick else 40))
    for spoil in Spoil:
        right = 0
        for seed in seeds:
            events = performance(seed, spoil=spoil).events(until=(Fitted, FitRefused))
            refused = next((event.reason for event in events if isinstance(event, FitRefused)), None)
            accepted = any(isinstance(event, Fitted | SwapOffered) for event in events)
            fine = not accepted and refused is not None and any(word in refused for word in REASONS[spoil])
            right += fine
            if not fine:
                context.rows.append({"set": "calibration", "spoil": str(spoil), "seed": seed, "told": refused})
        yield Measured(f"{spoil}: refused with the right reason", 100 * right / len(seeds), Band(95, None), "%")


def slips(context: Context) -> Iterator[Measured]:
    """A strap that turns by 10° about the thigh in mid-session, and addresses without one."""
    sessions, count = (4, 7) if context.quick else (25, 14)
    noticed, false, addresses = 0, 0, 0
    for seed in range(context.seed, context.seed + sessions):
        rng = np.random.default_rng([seed, 27])
        script, before = make_addresses(seed, count, hand=Hand.RIGHT if seed % 2 else Hand.LEFT)
        segment = Segment.thigh(Side.LEFT if rng.uniform() < 0.5 else Side.RIGHT)
        at_s = before[-3] + 0.2
        slip = fitters.StrapSlip(segment, at_s, float(np.deg2rad(10.0) * rng.choice([-1.0, 1.0])))
        events = Performance(script, strapped(seed), {one: one for one in strapped(seed)}, slip=slip).events()
        told = [event for event in events if isinstance(event, Slipped)]
        in_time = [event for event in told if at_s < event.t_s < before[-1] and event.segment is segment]
        noticed += bool(in_time)
        false += len(told) - bool(in_time)
        addresses += sum(t < at_s for t in before)
    yield Measured("slip of 10° noticed within two addresses", 100 * noticed / sessions, exactly(100), "%")
    yield Measured(f"false notices in {addresses} addresses, per 100", 100 * false / addresses, Band(None, 0.999), "1")


def person(context: Context) -> Iterator[Measured]:
    """A person fitted by walking and by sitting down: is the hip flexion the same?"""
    if context.data is None or not (context.data / walk.FOLDER).is_dir():
        raise LeftOut(f"the recording {walk.FOLDER} is not here; name its folder with --data")
    seen = []
    for name, flex_s in (("walking", walk.FLEX_S), ("sitting", SITTING_DOWN_S)):
        out = context.work / f"fit-{name}.mcap"
        made = import_folder(context.data / walk.FOLDER, out, still_s=walk.STILL_S, flex_s=flex_s)
        seen.append(walk.Walk(tuple(run(read_items(made.path)))))
    for side in Side:
        pairs = [one.hip_deg(side, walk.WALKING_S)[:, 0] for one in seen]
        away = float(np.sqrt(np.nanmean((pairs[0] - pairs[1]) ** 2)))
        yield Measured(f"a person, {side} hip: fitted by walking against sitting down, RMS", away, at_most(5), "deg")
        seated = abs(seen[0].sitting_deg(side) - seen[1].sitting_deg(side))
        yield Measured(f"a person, {side} hip: the same while sitting", seated, at_most(5), "deg")


STEPS = (
    SetPart("good performances", good),
    SetPart("thigh angle after calibration", bias),
    SetPart("spoiled performances", spoiled),
    SetPart("straps that slip", slips),
    SetPart("a person fitted in two ways", person),
)
