"""Synthetic players with real sensors' errors through the pipeline, and what became of their angles."""

from __future__ import annotations

from collections.abc import Callable, Iterable, Iterator
from dataclasses import dataclass

import numpy as np

from imufeedback.errors import UsageError
from imufeedback.measure.golfer import items
from imufeedback.pipeline import run
from imufeedback.records import Angles, Bools, Event, Floats, Hand, Item, RawPacket, Segment, Side
from imufeedback.synth.errors import PRESETS, SensorModel
from imufeedback.synth.player import Pace
from imufeedback.synth.script import Script, make_script
from imufeedback.synth.sensors import WORN
from imufeedback.synth.stream import serial_of
from imufeedback.synth.truth import RepTruth

FLEXION, ROTATION = 0, 2
MARKS = ("top_s", "level_s", "impact_s", "finish_s")
_SAMPLE = np.dtype([("tick", "<u8"), ("value", "<f8", 6)])
_HEADER_BYTES = 8

Change = Callable[[Segment, Floats, Floats], Floats]
"""(segment, (N,) seconds, (N, 6) rates and specific forces) → the same, changed."""


@dataclass(frozen=True)
class Errors:
    """Angles of one session against their truth; all in degrees."""

    script: Script
    events: list[Event]
    t_s: Floats
    error: dict[Side, Floats]
    """(N, 3) hip flexion, adduction, internal rotation: measured minus true; NaN where not ok."""
    sd: dict[Side, Floats]
    ok: dict[Side, Bools]

    @property
    def trail(self) -> Side:
        return self.script.hand.trail

    def inside(self, rep: RepTruth) -> Bools:
        """Steps from leaving the address to the finish."""
        inside: Bools = (self.t_s >= rep.address_s) & (self.t_s <= rep.finish_s)
        return inside

    def thigh(self, rep: RepTruth) -> Floats:
        """Error of the trail thigh angle in one rep."""
        error: Floats = self.error[self.trail][self.inside(rep), FLEXION]
        return error

    def rotations(self, rep: RepTruth) -> Floats:
        """Errors of both hips' rotation in one rep."""
        return np.concatenate([self.error[side][self.inside(rep), ROTATION] for side in Side])

    def thigh_at_marks(self, rep: RepTruth) -> Floats:
        marks = [getattr(rep, one) for one in MARKS]
        at: Floats = np.interp(marks, self.t_s, self.error[self.trail][:, FLEXION])
        return at

    def change(self, rep: RepTruth) -> Floats:
        """Error of the trail thigh angle's change since the address."""
        error = self.thigh(rep)
        changed: Floats = error - error[0]
        return changed


def script(seed: int, *, reps: int = 2, pace: Pace = Pace.FULL) -> Script:
    """A seeded player, left- and right-handed in turn."""
    return make_script(hand=Hand.RIGHT if seed % 2 else Hand.LEFT, pace=pace, reps=reps, seed=seed)


def typical(*, soft_tissue: bool) -> SensorModel:
    """Typical sensors; the strap stays where it was fitted."""
    return PRESETS["typical"].without(soft_tissue=not soft_tissue, strap_twist=True)


def errors(session: Script, stream: Iterable[Item]) -> Errors:
    """Run a session's items and compare every angle with the truth."""
    seen = compared(session, list(run(stream)))
    if seen is None:
        raise UsageError("the session gave no angles", where="validate")
    return seen


def compared(session: Script, events: list[Event]) -> Errors | None:
    """Events of a session whose script began at session time 0, against its truth; None when they have no angles."""
    blocks = [one for one in events if isinstance(one, Angles)]
    if not blocks:
        return None
    t_s = np.concatenate([one.t_s for one in blocks])
    truth = session.golfer.pose(t_s, ())
    error, sd, ok = {}, {}, {}
    for side in Side:
        hips = [one.joint("hip", side) for one in blocks]
        error[side] = np.degrees(np.concatenate([one.angle_rad for one in hips]) - truth.hip_rad[side])
        sd[side] = np.degrees(np.concatenate([one.sd_rad for one in hips]))
        ok[side] = np.concatenate([one.ok.all(axis=1) for one in hips])
    return Errors(session, [one for one in events if not isinstance(one, Angles)], t_s, error, sd, ok)


def played(session: Script, model: SensorModel | None) -> Errors:
    return errors(session, items(session, WORN, model=model))


def changed(stream: Iterable[Item], change: Change) -> Iterator[Item]:
    """Items of the lossless layout with their samples changed."""
    segments = {serial_of(one): one for one in WORN}
    for item in stream:
        if not isinstance(item, RawPacket):
            yield item
            continue
        samples = np.frombuffer(item.payload, _SAMPLE, offset=_HEADER_BYTES).copy()
        samples["value"] = change(segments[item.sensor], samples["tick"] * 1e-9, samples["value"])
        yield RawPacket(item.sensor, item.host_ns, item.payload[:_HEADER_BYTES] + samples.tobytes())


def rms(values: Iterable[Floats]) -> float:
    """Root mean square over all; NaN when there is nothing, or anything is missing."""
    together = np.concatenate(list(values))
    return float(np.sqrt(np.mean(together**2))) if len(together) else float("nan")
