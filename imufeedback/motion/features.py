"""What can be measured of one rep: marks and features."""

from __future__ import annotations

from collections.abc import Mapping

import numpy as np

from imufeedback.motion.live import Judge
from imufeedback.motion.track import Col
from imufeedback.records import Floats

IMPACT_SHARE = 0.66
"""Estimate of impact without a sensor that feels it: this share of the turn from top to finish is made. Tour players
stand at -42 at the top and +42 at impact (Zheng et al. 2008) and finish at about +85 (common practice, no source)."""


def marks(track: Floats, top_s: float, finish_s: float) -> tuple[dict[str, float], tuple[str, ...]]:
    """Marks of a rep in seconds, and the names of those that are estimates.

    `track` runs from the address to the finish. ``address`` is where the turn leaves its still pose, ``level`` where
    side tilt crosses zero upwards in the downswing; a mark that is not found is left out.
    """
    t, turn = track[:, Col.T], track[:, Col.TURN]
    out = {"address_s": _leaves_address(track, top_s), "top_s": top_s}
    down = (t >= top_s) & (t <= finish_s)
    level_s = _crossing(t[down], track[down, Col.SIDE_TILT], 0.0)
    if level_s is not None:
        out["level_s"] = level_s
    top_turn, finish_turn = np.interp([top_s, finish_s], t, turn)
    impact_s = _crossing(t[down], turn[down], top_turn + IMPACT_SHARE * (finish_turn - top_turn))
    if impact_s is not None:
        out["impact_s"] = impact_s
    out["finish_s"] = finish_s
    return out, ("impact_s",) if impact_s is not None else ()


def _leaves_address(track: Floats, top_s: float) -> float:
    """Last instant before the top at which the turn stood still."""
    before = track[track[:, Col.T] <= top_s]
    fastest = float(np.max(-before[:, Col.TURN_RATE], initial=0.0))
    still = (np.abs(before[:, Col.TURN_RATE]) < 0.02 * fastest) & (np.abs(before[:, Col.TURN]) < np.deg2rad(2.0))
    at = np.flatnonzero(still)
    return float(before[at[-1], Col.T] if len(at) else before[0, Col.T])


def _crossing(t: Floats, values: Floats, level: float) -> float | None:
    """First upward crossing of `level`, between samples."""
    above = values >= level
    at = np.flatnonzero(above[1:] & ~above[:-1])
    if not len(at):
        return None
    i = int(at[0])
    return float(t[i] + (t[i + 1] - t[i]) * (level - values[i]) / (values[i + 1] - values[i]))


AT_MARKS = {
    "pelvis_turn": Col.TURN,
    "pelvis_side_tilt": Col.SIDE_TILT,
    "trail_thigh_angle": Col.TRAIL_THIGH,
    "lead_thigh_angle": Col.LEAD_THIGH,
    "trail_hip_rotation": Col.TRAIL_ROTATION,
    "lead_hip_rotation": Col.LEAD_ROTATION,
}
"""Features given at every mark; hip rotation is internal positive."""


def features(track: Floats, marked: Mapping[str, float], judge: Judge) -> dict[str, float]:
    """Features of one rep; names end in their unit.

    ``trail_thigh_flat_turn_deg`` is the longest stretch of turn in which the angle was not lost before the target;
    ``trail_thigh_growth_deg`` its largest growth there; ``own_axis_share`` the part of the pelvis' turn from top to
    impact that is rotation in the hip joints, mean of both sides; 1 means that the legs stay and 0 that they go along.
    """
    t = track[:, Col.T]
    out: dict[str, float] = {}
    for name, col in AT_MARKS.items():
        for mark, at_s in marked.items():
            out[f"{name}_{mark.removesuffix('_s')}_deg"] = _deg(np.interp(at_s, t, track[:, col]))
    down = (t >= marked["top_s"]) & (t <= marked["finish_s"])
    out["trail_thigh_angle_min_deg"] = _deg(np.min(track[down, Col.TRAIL_THIGH]))
    out["trail_thigh_loss_top_finish_deg"] = out["trail_thigh_angle_top_deg"] - out["trail_thigh_angle_finish_deg"]
    out["trail_thigh_flat_turn_deg"] = _deg(judge.flat_turn_rad)
    out["trail_thigh_growth_deg"] = _deg(judge.growth_rad)
    out["backswing_s"] = marked["top_s"] - marked["address_s"]
    if "impact_s" in marked:
        out["trail_thigh_loss_top_impact_deg"] = out["trail_thigh_angle_top_deg"] - out["trail_thigh_angle_impact_deg"]
        out["lead_hip_turn_in_deg"] = out["lead_hip_rotation_impact_deg"] - out["lead_hip_rotation_top_deg"]
        trail_out = out["trail_hip_rotation_top_deg"] - out["trail_hip_rotation_impact_deg"]
        turned = out["pelvis_turn_impact_deg"] - out["pelvis_turn_top_deg"]
        out["own_axis_share"] = (out["lead_hip_turn_in_deg"] + trail_out) / 2 / turned
        out["downswing_s"] = marked["impact_s"] - marked["top_s"]
        out["tempo_ratio"] = out["backswing_s"] / out["downswing_s"]
    out["turn_rate_max_deg_s"] = _deg(np.max(track[down, Col.TURN_RATE]))
    out["thigh_angle_sd_deg"] = _deg(np.max(track[down, Col.THIGH_SD]))
    out["hip_rotation_sd_deg"] = _deg(np.max(track[down, Col.ROTATION_SD]))
    return out


def _deg(value: float | np.floating) -> float:
    return float(np.rad2deg(value))
