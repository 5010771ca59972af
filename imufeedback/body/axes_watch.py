"""While a session runs: do the sensors' axes and units go on agreeing with gravity, and with each other?

Looked at in chunks of some seconds, and only as long as it is not known: axes do not change, so a sensor that was seen
to be right is watched no more.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass, field, replace

import numpy as np

from imufeedback.body.axes import AxisEvidence, AxisVerdict, evidence, units
from imufeedback.body.joints import JOINTS
from imufeedback.body.neighbours import accused, odds
from imufeedback.body.suspects import Samples, line
from imufeedback.records import AlignedBlock, Angles, Bools, Doubted, Floats, Segment, frozen

CHUNK_S = 12.0
MOVED_RAD_S = float(np.deg2rad(8.0))
"""Mean rate of a chunk in which something may be seen."""
SURE = 2.0
"""Live, the evidence has to be so many times what it has to be where a person asks: nobody waits for it here."""
MOST_WINDOWS = 100.0
"""After so many windows all has been seen that this sensor's motion shows."""
SETTLED = 8.0
"""Odds at which two neighbours have the same up."""


@dataclass
class AxesWatch:
    """Feed it aligned blocks; it tells each doubt once."""

    since_s: dict[Segment, float] = field(default_factory=dict)
    """Doubted sensors, and from when on."""
    _seen: dict[Segment, AxisEvidence] = field(default_factory=dict)
    _settled: set[Segment] = field(default_factory=set)
    _odds: dict[tuple[Segment, Segment], float] = field(default_factory=dict)
    _waiting: list[tuple[Floats, Floats, Floats, Bools]] = field(default_factory=list)
    _segments: tuple[Segment, ...] = ()
    _chunk: int = 0

    def feed(self, block: AlignedBlock, *, placed: bool) -> list[Doubted]:
        """`placed`: sensors are known to be where they are said to be, so neighbours may be compared."""
        if not len(block.t_s):
            return []
        self._segments = block.segments
        part = block.t_s, block.gyr_rad_s, block.acc_m_s2, block.ok
        if int(block.t_s.item(-1) // CHUNK_S) == self._chunk:
            self._waiting.append(part)
            return []
        out: list[Doubted] = []
        number = np.floor(block.t_s / CHUNK_S)
        for chunk in np.unique(number):
            if chunk > self._chunk:
                out += self._look(chunk * CHUNK_S, placed)
                self._waiting, self._chunk = [], int(chunk)
            keep = number == chunk
            self._waiting.append((part[0][keep], part[1][keep], part[2][keep], part[3][keep]))
        return out

    def _look(self, now_s: float, placed: bool) -> list[Doubted]:
        chunk = dict(self._samples())
        found: dict[Segment, AxisVerdict] = {}
        for segment, samples in chunk.items():
            if segment not in self._settled:
                verdict = self._judged(segment, samples)
                if verdict.wrong:
                    found[segment] = verdict
        if placed and not found and not self.since_s:
            found = self._compared(chunk)
        out = []
        for segment, verdict in found.items():
            self._settled.add(segment)
            if segment not in self.since_s:
                self.since_s[segment] = now_s
                kind = "units" if verdict.kind == "units" else "axes"
                out.append(Doubted(now_s, _name(segment), kind, f"{line(segment, verdict)}; its angles are not shown"))
        return out

    def _samples(self) -> Iterator[tuple[Segment, Samples]]:
        """Every sensor's in this chunk; those that are not ok are left out, so they are gaps."""
        if not self._waiting:
            return
        t_s, gyr, acc = (np.concatenate([one[k] for one in self._waiting]) for k in range(3))
        ok = np.concatenate([one[3] for one in self._waiting])
        for i, segment in enumerate(self._segments):
            keep = ok[:, i]
            if keep.sum() > 1:
                yield segment, (t_s[keep], gyr[keep, i], acc[keep, i])

    def _judged(self, segment: Segment, samples: Samples) -> AxisVerdict:
        unit = units(samples[0], samples[2])
        if unit is not None:
            return unit
        seen = self._seen.get(segment, AxisEvidence())
        if _moved(samples):
            seen = self._seen[segment] = seen + evidence(*samples)
        verdict = seen.verdict(SURE)
        if verdict.kind == "fine" or seen.windows > MOST_WINDOWS:
            self._settled.add(segment)
        return verdict

    def _compared(self, chunk: dict[Segment, Samples]) -> dict[Segment, AxisVerdict]:
        moving = {one: samples for one, samples in chunk.items() if _moved(samples)}
        open_ = {
            one
            for joint in JOINTS
            for one in (joint.proximal, joint.distal)
            if abs(self._odds.get((joint.proximal, joint.distal), 0.0)) < SETTLED
        }
        for pair, value in odds({one: samples for one, samples in moving.items() if one in open_}).items():
            self._odds[pair] = self._odds.get(pair, 0.0) + value
        return accused(self._odds, SURE)


def withheld(made: Angles, since_s: dict[Segment, float]) -> Angles:
    """The angles without those that rest on a doubted sensor."""
    if not since_s:
        return made
    joints = []
    for one in made.joints:
        ends = next((j.proximal, j.distal) for j in JOINTS if j.name == one.joint and j.side is one.side)
        from_s = min((since_s[end] for end in ends if end in since_s), default=np.inf)
        joints.append(replace(one, ok=frozen(one.ok & (made.t_s < from_s)[:, None], np.bool_)))
    right = made.t_s < since_s.get(Segment.PELVIS, np.inf)
    ok = made.pelvis.ok
    pelvis = replace(made.pelvis, ok=frozen(ok & (right[:, None] if ok.ndim > 1 else right), np.bool_))
    return replace(made, pelvis=pelvis, joints=tuple(joints))


def _moved(samples: Samples) -> bool:
    return float(np.linalg.norm(samples[1], axis=1).mean()) > MOVED_RAD_S


def _name(segment: Segment) -> str:
    return str(segment).replace("_", " ")
