"""Angles to trust: against optics, against exact truth, against the well-known open filters in the same run."""

from __future__ import annotations

from collections.abc import Iterator

import numpy as np

from imufeedback import resources
from imufeedback.constants import STANDARD_GRAVITY_M_S2
from imufeedback.measure import players, side_by_side, speed
from imufeedback.measure.checks import Band, Context, Measured, SetPart, at_most
from imufeedback.measure.golfer import LAYOUT, items
from imufeedback.records import (
    Floats,
    Item,
    RawPacket,
    Segment,
    Side,
)
from imufeedback.synth.player import Pace
from imufeedback.synth.script import make_script
from imufeedback.synth.sensors import WORN
from imufeedback.synth.stream import serial_of


def many_players(context: Context) -> Iterator[Measured]:
    """Seeded players at full pace with typical sensors, fitted by a well performed sequence, zeroed at address."""
    # two reps of a player are off by the same: more players, one rep each
    seeds = range(context.seed, context.seed + (8 if context.quick else 50))
    thigh, rotation, marks, scores = [], [], [], []
    for seed in seeds:
        context.say(f"player {seed - context.seed + 1} of {len(seeds)}")
        seen = players.played(players.script(seed, reps=1), players.typical(soft_tissue=False))
        for rep in seen.script.truth.reps:
            thigh.append(seen.thigh(rep))
            rotation.append(seen.rotations(rep))
            marks.append(seen.thigh_at_marks(rep))
            inside = seen.inside(rep)
            scores += [np.abs(seen.error[side][inside]) / seen.sd[side][inside] for side in Side]
    yield Measured("typical sensors: trail thigh angle, RMSE over reps", players.rms(thigh), at_most(1.5), "deg")
    yield Measured("typical sensors: hip rotations, RMSE over reps", players.rms(rotation), at_most(2.0), "deg")
    for i, name in enumerate(players.MARKS):
        at = [one[i : i + 1] for one in marks]
        yield Measured(f"typical sensors: thigh angle at {name[:-2]}, RMSE", players.rms(at), at_most(1.5), "deg")
    score = np.concatenate(scores)
    yield Measured(
        "typical sensors: errors within one standard deviation", 100 * float(np.mean(score <= 1)), Band(60, 76), "%"
    )
    yield Measured("typical sensors: errors within two", 100 * float(np.mean(score <= 2)), Band(91, None), "%")


def soft_tissue(context: Context) -> Iterator[Measured]:
    """The change of the thigh angle within a rep, through soft tissue."""
    seeds = range(context.seed, context.seed + (2 if context.quick else 20))
    change = []
    for seed in seeds:
        context.say(f"player {seed - context.seed + 1} of {len(seeds)}")
        seen = players.played(players.script(seed), players.typical(soft_tissue=True))
        change += [seen.change(rep) for rep in seen.script.truth.reps]
    yield Measured("soft tissue: change of thigh angle in a rep, RMSE", players.rms(change), at_most(2.5), "deg")


def long_session(context: Context) -> Iterator[Measured]:
    """A whole bucket of balls: are the last reps as right as the first?"""
    reps = 30 if context.quick else 460  # about 7.8 s a rep at full pace
    session = make_script(reps=reps, seed=context.seed, pace=Pace.FULL)
    seen = players.played(session, players.typical(soft_tissue=False))
    first = players.rms(seen.thigh(rep) for rep in session.truth.reps[:10])
    last = players.rms(seen.thigh(rep) for rep in session.truth.reps[-10:])
    minutes = session.duration_s / 60
    yield Measured(f"{minutes:.0f} minutes: last 10 reps / first 10, RMSE", last / first, at_most(1.2), "ratio")


def knock(context: Context) -> Iterator[Measured]:
    """A 9.8 g knock of 10 ms on the trail thigh's sensor while standing at address."""
    session = players.script(context.seed, reps=1)
    at_s = session.truth.reps[0].address_s - 0.5
    segment = Segment.thigh(session.hand.trail)

    def change(where: Segment, t_s: Floats, values: Floats) -> Floats:
        hit = (t_s >= at_s) & (t_s < at_s + 0.010)
        if where is segment and hit.any():
            values[hit, 3] += 9.8 * STANDARD_GRAVITY_M_S2
        return values

    seen = players.errors(session, players.changed(items(session, WORN), change))
    error = np.abs(seen.error[seen.trail][:, players.FLEXION])
    after = (seen.t_s >= at_s) & (seen.t_s < at_s + 5)
    yield Measured("knock: thigh angle off by", float(np.max(error[after])), at_most(2.0), "deg")
    late = (seen.t_s >= at_s + 1) & (seen.t_s < at_s + 5)
    yield Measured("knock: left of it after 1 s", float(np.max(error[late])), at_most(0.5), "deg")


def losses(context: Context) -> Iterator[Measured]:
    """One packet in ten lost, and one gap of 300 ms in the downswing."""
    session = players.script(context.seed, reps=3, pace=Pace.SLOW)
    rng = np.random.default_rng(context.seed)
    gap_s = session.truth.reps[1].top_s + 0.3
    trail = serial_of(Segment.thigh(session.hand.trail))

    def lossy(stream: Iterator[Item]) -> Iterator[Item]:
        for item in stream:
            t_s = item.host_ns * 1e-9
            gone = isinstance(item, RawPacket) and (
                (t_s > session.ready_s and rng.random() < 0.10) or (item.sensor == trail and gap_s <= t_s < gap_s + 0.3)
            )
            if not gone:
                yield item

    model = players.typical(soft_tissue=False)
    whole = players.played(session, model)
    seen = players.errors(session, lossy(items(session, WORN, model=model)))
    reps = session.truth.reps

    def over_reps(one: players.Errors) -> float:
        parts = [one.thigh(rep) for rep in reps]
        return players.rms([part[np.isfinite(part)] for part in parts])

    yield Measured("losses: RMSE / loss-free", over_reps(seen) / over_reps(whole), at_most(1.5), "ratio")
    inside = (seen.t_s > gap_s + 0.05) & (seen.t_s < gap_s + 0.25)
    shown = float(np.count_nonzero(seen.ok[seen.trail][inside]))
    yield Measured("losses: angles shown inside the gap", shown, Band(0, 0), "steps")


def clipping(context: Context) -> Iterator[Measured]:
    """The trail thigh's gyroscope clips for 30 ms in the downswing."""
    session = players.script(context.seed, reps=1)
    rep = session.truth.reps[0]
    segment = Segment.thigh(session.hand.trail)
    limit = 12.0  # of all sensors; seeded golfers stay below it
    text = resources.text("layouts", LAYOUT).replace(
        'unit = "rad/s"\nscale = 1.0', f'unit = "rad/s"\nscale = 1.0\nfull_scale = {limit}'
    )
    middle_s = 0.5 * (rep.top_s + rep.impact_s)

    def change(where: Segment, t_s: Floats, values: Floats) -> Floats:
        inside = np.abs(t_s - middle_s) <= 0.015
        if where is segment:
            # elsewhere the range is never reached; inside, the largest axis sticks at the end of it
            values[~inside, :3] = np.clip(values[~inside, :3], -0.98 * limit, 0.98 * limit)
            for i in np.flatnonzero(inside):
                k = int(np.argmax(np.abs(values[i, :3])))
                values[i, k] = np.copysign(limit, values[i, k])
        return values

    seen = players.errors(session, players.changed(items(session, WORN, layout_text=text), change))
    side = seen.trail
    after = (seen.t_s >= middle_s) & (seen.t_s <= rep.finish_s + 1.0)
    score = np.abs(seen.error[side][after]) / seen.sd[side][after]
    shown = score[np.isfinite(score)]  # an angle whose bar is too wide is not shown
    covered = 100 * float(np.mean(shown <= 2)) if len(shown) else float("nan")
    yield Measured("clipping: error bars that cover the error (2 sd), of what is shown", covered, Band(91, None), "%")
    before = np.flatnonzero(seen.t_s < middle_s - 0.02)[-1]
    wider = float(seen.sd[side][np.flatnonzero(after)[8], 0] / seen.sd[side][before, 0])
    yield Measured("clipping: error bar after / before", wider, Band(1.2, None), "ratio")


def speed_of_a_step(context: Context) -> Iterator[Measured]:
    """Fusion, joints and body for three sensors in packets of four, per step of 5 ms. Processor time: other work on
    the machine does not count."""
    session = players.script(context.seed, reps=1 if context.quick else 3)
    cost = speed.cost(speed.prepared(session), session)
    yield Measured("fusion, joints and body, three sensors, per step", cost.fusion_and_body, at_most(120.0), "µs")
    # not a limit of anybody: the price of everything around the filter
    ratio = cost.fusion_and_body / cost.vqf
    yield Measured("the same / VQF alone in the same packets", ratio, Band(1.0, None), "ratio")


STEPS = (
    SetPart("a ball joint against optics", side_by_side.joint),
    SetPart("tilt against optics", side_by_side.inclination),
    SetPart("a walker beside the well-known filters", side_by_side.walker),
    SetPart("players beside the well-known filters", side_by_side.golfers),
    SetPart("players with typical sensors", many_players),
    SetPart("soft tissue", soft_tissue),
    SetPart("a long session", long_session),
    SetPart("a knock", knock),
    SetPart("losses and a gap", losses),
    SetPart("clipping", clipping),
    SetPart("speed", speed_of_a_step),
)
