"""Invented angles and reps for tests of the windows."""

from __future__ import annotations

from collections.abc import Mapping

import numpy as np
import numpy.typing as npt

from imufeedback.app.rep_table import DETAIL, RESULT, RepTable
from imufeedback.records import (
    Angles,
    Finding,
    Floats,
    JointAngles,
    Motion,
    PelvisAngles,
    Rep,
    Side,
    StateChanged,
    Verdict,
    frozen,
)


class HandClock:
    """Seconds that pass when the test says so."""

    def __init__(self) -> None:
        self.now_s = 100.0

    def __call__(self) -> float:
        return self.now_s


def hip(
    side: Side, t_s: Floats, flexion_deg: npt.ArrayLike, rotation_deg: npt.ArrayLike, ok: npt.ArrayLike = True
) -> JointAngles:
    angle = np.zeros((len(t_s), 3))
    angle[:, 0] = np.radians(flexion_deg)
    angle[:, 2] = np.radians(rotation_deg)
    sd = np.full((len(t_s), 3), np.radians(2.0))
    known = np.broadcast_to(np.asarray(ok, bool).reshape(-1, 1), (len(t_s), 3))
    return JointAngles("hip", side, t_s, frozen(angle), frozen(np.zeros_like(angle)), frozen(sd), frozen(known, bool))


def angles(
    t_s: npt.ArrayLike, right_deg: tuple[float, float] = (20.0, 5.0), left_deg: tuple[float, float] = (10.0, -7.0)
) -> Angles:
    """Constant flexion and rotation of both hips."""
    times = np.asarray(t_s, dtype=np.float64)
    return of_hips(times, hip(Side.RIGHT, times, *right_deg), hip(Side.LEFT, times, *left_deg))


def of_hips(t_s: Floats, *hips: JointAngles) -> Angles:
    zero = np.zeros((len(t_s), 3))
    return Angles(t_s, PelvisAngles(t_s, zero, zero, zero, np.ones((len(t_s), 3), bool)), hips)


def grid(from_s: float, to_s: float, hz: float = 200.0) -> Floats:
    return np.arange(round(from_s * hz), round(to_s * hz)) / hz


def rep(index: int = 0, *, features: Mapping[str, float] | None = None, start_s: float = 61.5) -> Rep:
    marks = {"address_s": start_s, "top_s": start_s + 1.0, "impact_s": start_s + 1.5, "finish_s": start_s + 2.0}
    measured = {
        "trail_thigh_angle_top_deg": 23.6,
        "trail_thigh_angle_impact_deg": 8.2,
        "trail_thigh_angle_finish_deg": -0.3,
        "trail_thigh_angle_min_deg": -11.7,
    }
    shown = measured if features is None else features
    return Rep(index, "swing", start_s, start_s + 2.2, marks, ("impact_s",), shown)


def finding(rep_index: int = 0, verdict: Verdict = Verdict.FAULT, value: float = 4.25) -> Finding:
    return Finding("trail-thigh-keeps-falling", rep_index, 62.9, value, 3.0, "deg", verdict, "It stopped falling.")


def state(motion: Motion, t_s: float = 1.0, thigh_deg: float = 12.0) -> StateChanged:
    return StateChanged(t_s, t_s - 0.05, motion, float(np.radians(thigh_deg)), 0.3)


def texts(table: RepTable, index: int) -> list[str]:
    """What the table says about a rep: its cells from left to right, then the findings."""
    row = table._row(index)
    cells = [table.item(row, column) for column in range(RESULT + 1)] + [table.item(row + 1, DETAIL)]
    return [cell.text() for cell in cells if cell is not None]
