"""Sessions into which troubles are put: a golfer with typical sensors, whose truth is known, and a person who walks."""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass
from functools import cached_property
from pathlib import Path
from typing import Any

import numpy as np

from imufeedback.commands import settings_of
from imufeedback.measure import persons, persons_methods, players
from imufeedback.measure.golfer import items
from imufeedback.measure.troubles import Packets, with_full_scale
from imufeedback.pipeline import Pipeline
from imufeedback.record.replay import read_items
from imufeedback.records import Angles, Command, Event, Floats, Item, RawPacket, Segment, Side
from imufeedback.synth.sensors import WORN

PELVIS = "pelvis"
Key = tuple[str, Side | None]
"""Joint and side; the pelvis has no side."""
HALF_STEP_S = 1e-4
"""Two instants of the grid that are nearer than this are one."""
AFTER_S = 2.0
"""Of the session after the last instant that is looked at."""


@dataclass(frozen=True)
class SceneAngles:
    """All angles of a session, as one series an angle; degrees."""

    t_s: Floats
    angle: Mapping[Key, Floats]
    """(N, 3) NaN where not shown."""
    sd: Mapping[Key, Floats]
    events: Sequence[Event]


@dataclass(frozen=True)
class Scene:
    """One session."""

    name: str
    begin: Command
    before: Sequence[Item]
    """Items until shortly before the first moment, the first command left out."""
    rest: Packets
    sensors: Mapping[Segment, str]
    moments: Mapping[str, float]
    """Instants (s) at which something may befall it, by name."""
    ends: Mapping[str, float]
    """Until when errors count, by moment."""
    whole_again_s: Mapping[str, tuple[float, float] | None]
    """A stretch after the next zero, by moment: everything must be known there again."""
    trail: Side
    truth: Callable[[Floats, Key], Floats] | None
    """(N,) instants → (N, 3) degrees; None where nobody knows."""

    @cached_property
    def _states(self) -> dict[float | None, Any]:
        return {}

    @cached_property
    def undisturbed(self) -> SceneAngles:
        return self.played(self.rest)

    def played(self, packets: Sequence[RawPacket], full_scale_rad_s: float | None = None) -> SceneAngles:
        """The session with other packets after its beginning."""
        if full_scale_rad_s not in self._states:
            pipeline = Pipeline()
            pipeline.feed(with_full_scale(self.begin, full_scale_rad_s))
            pipeline.feed_many(self.before)
            self._states[full_scale_rad_s] = pipeline.state
        pipeline = Pipeline()
        pipeline.state = self._states[full_scale_rad_s]
        return seen(pipeline.feed_many(packets) + pipeline.finish())

    def moved(self, found: SceneAngles, key: Key) -> Floats:
        """(N, 3) degrees by which the trouble moved an angle: against the undisturbed session. NaN where not shown in
        one of both."""
        plain = self.undisturbed
        right = np.clip(np.searchsorted(plain.t_s, found.t_s - HALF_STEP_S), 0, len(plain.t_s) - 1)
        same = np.abs(plain.t_s[right] - found.t_s) < HALF_STEP_S
        change = found.angle[key] - np.where(same[:, None], plain.angle[key][right], np.nan)
        wrapped: Floats = (change + 180.0) % 360.0 - 180.0
        return wrapped

    def error(self, found: SceneAngles, key: Key) -> Floats | None:
        """(N, 3) degrees against the truth, NaN where not shown; None where the truth is not known."""
        return None if self.truth is None else found.angle[key] - self.truth(found.t_s, key)


def seen(events: Sequence[Event]) -> SceneAngles:
    """The angles of a session's events."""
    blocks = [one for one in events if isinstance(one, Angles)]
    others = [one for one in events if not isinstance(one, Angles)]
    if not blocks:
        return SceneAngles(np.empty(0), {}, {}, others)
    series: dict[Key, list[Any]] = {}
    for block in blocks:
        series.setdefault((PELVIS, None), []).append(block.pelvis)
        for joint in block.joints:
            series.setdefault((joint.joint, joint.side), []).append(joint)
    angle, sd = {}, {}
    for key, parts in series.items():
        ok = np.concatenate([one.ok for one in parts])
        angle[key] = np.where(ok, np.degrees(np.concatenate([one.angle_rad for one in parts])), np.nan)
        sd[key] = np.degrees(np.concatenate([one.sd_rad for one in parts]))
    return SceneAngles(np.concatenate([one.t_s for one in blocks]), angle, sd, others)


def golfer(seed: int) -> Scene:
    """Two reps at full pace; the first is the one that something befalls."""
    script = players.script(seed, reps=2)
    first, second = script.truth.reps
    whole = list(items(script, WORN, model=players.typical(soft_tissue=False)))
    begin, rest = whole[0], whole[1:]
    assert isinstance(begin, Command)
    cut_ns = int((first.start_s - 0.5) * 1e9)
    end_s = first.finish_s + 1.0
    middle_s = 0.5 * (first.top_s + first.impact_s)
    moments = {
        "address": first.start_s + 0.5,
        "backswing": 0.5 * (first.address_s + first.top_s),
        "top": first.top_s,
        "downswing": middle_s,
        "impact": first.impact_s,
        "finish": first.finish_s + 0.2,
    }

    def truth(t_s: Floats, key: Key) -> Floats:
        pose = script.golfer.pose(t_s, ())
        _, side = key
        if side is None:
            return np.degrees(pose.pelvis_rad)
        return np.degrees(pose.hip_rad[side])

    return Scene(
        f"golfer {seed}",
        begin,
        [one for one in rest if one.host_ns < cut_ns],
        [one for one in rest if one.host_ns >= cut_ns and isinstance(one, RawPacket)],
        {one.role: one.id for one in settings_of(begin).sensors},
        moments,
        dict.fromkeys(moments, end_s),
        dict.fromkeys(moments, (second.address_s - 0.1, second.finish_s)),
        script.hand.trail,
        truth,
    )


def walker(data: Path, work: Path, rng: np.random.Generator, *, count: int) -> Scene:
    """A person walking, at random moments; hips and knees. Raises BadFile when the recording cannot be used."""
    trial = persons.trial(data / persons.FOLDER / "optical_walk")
    path = work / "walker.mcap"
    if not path.exists():
        persons_methods.import_trial(trial, path)
    begin, *rest = read_items(path)
    assert isinstance(begin, Command)
    (from_s, to_s), *_ = trial.judged_s
    moments = {f"walking {k + 1}": float(rng.uniform(from_s, to_s - 4.0)) for k in range(count)}
    cut_ns = int((from_s - 0.5) * 1e9)
    return Scene(
        "walker",
        begin,
        [one for one in rest if one.host_ns < cut_ns],
        [one for one in rest if one.host_ns >= cut_ns and isinstance(one, RawPacket)],
        {one.role: one.id for one in settings_of(begin).sensors},
        moments,
        {name: min(at + 8.0, to_s) for name, at in moments.items()},
        dict.fromkeys(moments),
        Side.RIGHT,
        None,
    )
