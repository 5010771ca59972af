"""Measures on the recording of a person who stands, sits and walks (folder ``human_walk`` of the data).

The recording goes the way of ``import`` and ``analyse``: CSV, packets, journal, pipeline.
"""

from __future__ import annotations

from dataclasses import dataclass
from pathlib import Path

import numpy as np

from imufeedback.pipeline import run
from imufeedback.record.importer import import_folder
from imufeedback.record.replay import read_items
from imufeedback.records import Angles, Cue, Event, Floats, Rep, Side

FOLDER = "human_walk"
STILL_S, FLEX_S = (40.5, 43.5), (95.0, 113.0)
STANDING_S, SITTING_S, WALKING_S = (41.0, 43.0), (55.0, 75.0), (97.0, 113.0)
MOVEMENT_SOUNDS = frozenset({"stalled", "regaining", "target-reached"})


@dataclass(frozen=True, slots=True)
class Walk:
    """What came of the recording."""

    events: tuple[Event, ...]

    @property
    def angles(self) -> list[Angles]:
        return [one for one in self.events if isinstance(one, Angles)]

    @property
    def reps(self) -> int:
        return sum(isinstance(one, Rep) for one in self.events)

    @property
    def sounds(self) -> list[str]:
        return [one.sound for one in self.events if isinstance(one, Cue)]

    def hip_deg(self, side: Side, window_s: tuple[float, float]) -> Floats:
        """(N, 3) flexion, adduction and internal rotation in a window of time."""
        parts = []
        for block in self.angles:
            inside = (block.t_s >= window_s[0]) & (block.t_s <= window_s[1])
            parts.append(block.joint("hip", side).angle_rad[inside])
        return np.degrees(np.concatenate(parts))

    def sitting_deg(self, side: Side) -> float:
        return float(np.median(self.hip_deg(side, SITTING_S)[:, 0]))

    def excursion_deg(self, side: Side) -> float:
        """2nd to 98th percentile of hip flexion in brisk walking."""
        low, high = np.percentile(self.hip_deg(side, WALKING_S)[:, 0], [2.0, 98.0])
        return float(high - low)

    def standing_deg(self) -> float:
        """Largest of all three hip angles of both sides, at any instant of quiet standing."""
        return max(float(np.abs(self.hip_deg(side, STANDING_S)).max()) for side in Side)


def walk(data: Path, work: Path) -> Walk:
    """Import and judge the recording; `work` gets the file."""
    made = import_folder(data / FOLDER, work / f"{FOLDER}.mcap", still_s=STILL_S, flex_s=FLEX_S)
    return Walk(tuple(run(read_items(made.path))))
