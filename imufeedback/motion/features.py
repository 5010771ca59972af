"""What can be measured of one rep. Names end in their unit; `report/SUMMARY.md` lists them.

A feature that a rule compares with a limit has its standard deviation beside it, under `records.sd_name`.
"""

from __future__ import annotations

from collections.abc import Mapping

import numpy as np

from imufeedback.motion import errorbars as bars
from imufeedback.motion.falling import Falling
from imufeedback.motion.positions import crossing
from imufeedback.motion.track import Col
from imufeedback.records import Floats

AT_POSITIONS = {
    "pelvis_turn": Col.TURN,
    "pelvis_side_tilt": Col.SIDE_TILT,
    "pelvis_forward_tilt": Col.FORWARD_TILT,
    "trail_thigh_angle": Col.TRAIL_THIGH,
    "lead_thigh_angle": Col.LEAD_THIGH,
    "trail_hip_rotation": Col.TRAIL_ROTATION,
    "lead_hip_rotation": Col.LEAD_ROTATION,
    "trail_knee_flexion": Col.TRAIL_KNEE,
    "lead_knee_flexion": Col.LEAD_KNEE,
}
"""Features given at every position; hip rotation is internal positive."""
MAIN_POSITIONS = ("address_s", "top_s", "level_s", "impact_s", "finish_s")

LATE_SHARE = 1.5
"""Stands for "not before the finish" where a share of the turn from top to impact says when something happens."""
LEAST_SHARE_SD = 0.01
"""No share is known better: about a sample's turn at full pace."""
KNEE_FROM_SHARE, KNEE_PAST_IMPACT = 0.5, float(np.deg2rad(20.0))
"""Part of that turn after which a lead knee should only straighten, and turn after impact up to which; chosen. Before,
it may bend: players sit into the downswing."""


def features(track: Floats, positions: Mapping[str, float], fall: Falling) -> dict[str, float]:
    """Features of one rep, from the rows of its track, its positions, and how its trail thigh angle falls."""
    out = _at_positions(track, positions)
    out |= _thigh(track, positions, out, fall)
    out |= _times(positions)
    out |= _turn(track, positions)
    if "impact_s" in positions:
        out |= _hips(out)
        out |= _half_way(track, positions, out)
        if np.isfinite(track[:, [Col.TRAIL_KNEE, Col.LEAD_KNEE]]).all():
            out |= _knees(track, positions, out)
    out |= _rotations(track, positions, out)
    return out


def _at_positions(track: Floats, positions: Mapping[str, float]) -> dict[str, float]:
    t = track[:, Col.T]
    there = [one for one in MAIN_POSITIONS if one in positions]
    at_s = [positions[one] for one in there]
    out: dict[str, float] = {}
    for name, col in AT_POSITIONS.items():
        if np.isfinite(track[:, col]).all():
            for position, value in zip(there, np.rad2deg(np.interp(at_s, t, track[:, col])).tolist(), strict=True):
                out[f"{name}_{position.removesuffix('_s')}_deg"] = value
    return out


def _thigh(track: Floats, positions: Mapping[str, float], at: Mapping[str, float], fall: Falling) -> dict[str, float]:
    t = track[:, Col.T]
    down = (t >= positions["top_s"]) & (t <= positions["finish_s"])
    turned = at["pelvis_turn_finish_deg"] - at["pelvis_turn_top_deg"]
    lost = at["trail_thigh_angle_top_deg"] - at["trail_thigh_angle_finish_deg"]
    absolute = _deg(np.max(track[down, Col.THIGH_SD]))
    both = min(at["trail_thigh_angle_finish_deg"], at["lead_thigh_angle_finish_deg"])
    out = {
        "trail_thigh_angle_min_deg": _deg(np.min(track[down, Col.TRAIL_THIGH])),
        "trail_thigh_angle_min_sd_deg": bars.at_once(absolute),
        "trail_thigh_loss_top_finish_deg": lost,
        "trail_thigh_loss_top_finish_sd_deg": bars.change(turned),
        "trail_thigh_flat_turn_deg": _deg(fall.flat_turn_rad),
        "trail_thigh_flat_turn_sd_deg": _deg(fall.flat_sd_rad),
        "trail_thigh_flat_turn_up_sd_deg": _deg(fall.flat_up_sd_rad),
        "trail_thigh_flat_from_s": fall.flat_from_s,
        "trail_thigh_growth_deg": _deg(fall.growth_rad),
        "trail_thigh_growth_sd_deg": bars.GROWTH_DEG,
        "trail_thigh_growth_from_s": fall.growth_from_s,
        "least_flexed_hip_finish_deg": both,
        "least_flexed_hip_finish_sd_deg": bars.at_once(absolute),
        "thigh_angle_sd_deg": absolute,
    }
    if "impact_s" in positions:
        lost = at["trail_thigh_angle_top_deg"] - at["trail_thigh_angle_impact_deg"]
        turned = at["pelvis_turn_impact_deg"] - at["pelvis_turn_top_deg"]
        out["trail_thigh_loss_top_impact_deg"] = lost
        out["trail_thigh_slope_top_impact_ratio"] = lost / turned
    return out


def _times(positions: Mapping[str, float]) -> dict[str, float]:
    out = {"backswing_s": positions["top_s"] - positions["address_s"]}
    if "impact_s" in positions:
        out["downswing_s"] = positions["impact_s"] - positions["top_s"]
        out["tempo_ratio"] = out["backswing_s"] / out["downswing_s"]
    return out


def _turn(track: Floats, positions: Mapping[str, float]) -> dict[str, float]:
    t = track[:, Col.T]
    down = (t >= positions["top_s"]) & (t <= positions["finish_s"])
    finish = _deg(np.interp(positions["finish_s"], t, track[:, Col.TURN]))
    out = {
        "pelvis_turn_finish_sd_deg": bars.turn(finish),
        "turn_rate_max_deg_s": _deg(np.max(track[down, Col.TURN_RATE])),
    }
    if "impact_s" in positions:
        out["turn_rate_impact_deg_s"] = _deg(np.interp(positions["impact_s"], t, track[:, Col.TURN_RATE]))
    if "level_s" in positions:
        out["side_tilt_rate_level_deg_s"] = _deg(np.interp(positions["level_s"], t, track[:, Col.SIDE_TILT_RATE]))
    return out


def _rotations(track: Floats, positions: Mapping[str, float], at: Mapping[str, float]) -> dict[str, float]:
    """Of each hip whose rotation was known all along; where no rule looks at it, it may not have been."""
    t = track[:, Col.T]
    down = (t >= positions["top_s"]) & (t <= positions["finish_s"])
    rep = (t >= positions["address_s"]) & (t <= positions["finish_s"])
    out: dict[str, float] = {}
    if "trail_hip_rotation_top_deg" in at:
        out["trail_hip_turn_out_rate_max_deg_s"] = _deg(np.max(-track[down, Col.TRAIL_ROTATION_RATE]))
        out["trail_hip_rotation_range_deg"] = _deg(np.ptp(track[rep, Col.TRAIL_ROTATION]))
        gained = at["trail_hip_rotation_top_deg"] - at["trail_hip_rotation_address_deg"]
        out["trail_hip_turn_in_back_deg"] = gained
        out["trail_hip_turn_in_back_sd_deg"] = bars.rotation(gained)
    if "lead_hip_rotation_top_deg" in at:
        out["lead_hip_turn_in_rate_max_deg_s"] = _deg(np.max(track[down, Col.LEAD_ROTATION_RATE]))
        out["lead_hip_rotation_range_deg"] = _deg(np.ptp(track[rep, Col.LEAD_ROTATION]))
    if "trail_hip_rotation_top_deg" in at and "lead_hip_rotation_top_deg" in at:
        out["hip_rotation_sd_deg"] = _deg(np.max(track[down, Col.ROTATION_SD]))
        out |= _mirror(track, positions)
    return out


def _hips(at: Mapping[str, float]) -> dict[str, float]:
    """``own_axis_share``: part of the pelvis' turn from top to impact that is rotation in the hip joints, mean of both
    sides; 1 means that the legs stay and 0 that they go along."""
    out: dict[str, float] = {}
    rate = at["turn_rate_max_deg_s"]
    if "lead_hip_rotation_top_deg" in at:
        lead_in = at["lead_hip_rotation_impact_deg"] - at["lead_hip_rotation_top_deg"]
        out |= {"lead_hip_turn_in_deg": lead_in, "lead_hip_turn_in_sd_deg": bars.rotation(lead_in, rate)}
    if "trail_hip_rotation_top_deg" in at:
        trail_out = at["trail_hip_rotation_top_deg"] - at["trail_hip_rotation_impact_deg"]
        out |= {"trail_hip_turn_out_deg": trail_out, "trail_hip_turn_out_sd_deg": bars.rotation(trail_out, rate)}
    if "lead_hip_turn_in_deg" in out and "trail_hip_turn_out_deg" in out:
        turned = at["pelvis_turn_impact_deg"] - at["pelvis_turn_top_deg"]
        mean = (lead_in + trail_out) / 2
        out |= {"own_axis_share": mean / turned, "own_axis_sd_share": bars.rotation(mean, rate) / turned}
    return out


def _half_way(track: Floats, positions: Mapping[str, float], at: Mapping[str, float]) -> dict[str, float]:
    """When the hips come level, as a share of the turn from top to impact; level before the top is 0."""
    sd = bars.tilt(track[:, Col.TILT_SD], track[:, Col.TURN])
    share, sd_share = _share(track, positions, at, track[:, Col.SIDE_TILT], sd)
    return {"level_turn_share": share, "level_turn_sd_share": sd_share}


def _knees(track: Floats, positions: Mapping[str, float], at: Mapping[str, float]) -> dict[str, float]:
    t = track[:, Col.T]
    turned = at["pelvis_turn_impact_deg"] - at["pelvis_turn_top_deg"]
    rate, turn_rate = (
        np.interp(positions["impact_s"], t, track[:, col]) for col in (Col.LEAD_KNEE_RATE, Col.TURN_RATE)
    )
    apart = track[:, Col.TRAIL_KNEE] - track[:, Col.LEAD_KNEE]
    sd = np.full(len(t), np.deg2rad(bars.KNEES_APART_DEG))
    share, sd_share = _share(track, positions, at, apart, sd)
    return {
        "knees_cross_turn_share": share,
        "knees_cross_turn_sd_share": sd_share,
        "lead_knee_rate_impact_deg_s": _deg(rate),
        "lead_knee_slope_impact_ratio": float(rate / turn_rate) if turn_rate > 0 else 0.0,
        "lead_knee_slope_impact_sd_ratio": bars.KNEE_SLOPE,
        "lead_knee_bends_again_deg": _bends_again(track, positions, turned),
        "lead_knee_bends_again_sd_deg": bars.KNEE_BENDS_DEG,
    }


def _bends_again(track: Floats, positions: Mapping[str, float], turned_deg: float) -> float:
    """Bend that the lead knee gains around impact, above its least since half way down."""
    t, turn = track[:, Col.T], track[:, Col.TURN]
    top, impact = np.interp([positions["top_s"], positions["impact_s"]], t, turn)
    half = top + KNEE_FROM_SHARE * np.deg2rad(turned_deg)
    here = (
        (t >= positions["top_s"]) & (t <= positions["finish_s"]) & (turn >= half) & (turn <= impact + KNEE_PAST_IMPACT)
    )
    knee = track[here, Col.LEAD_KNEE]
    return _deg(np.max(knee - np.minimum.accumulate(knee), initial=0.0))


def _share(
    track: Floats, positions: Mapping[str, float], at: Mapping[str, float], values: Floats, sd: Floats
) -> tuple[float, float]:
    """Turn made when something rises through nothing, as a share of that from top to impact; 0 when it had happened
    before the top. And its standard deviation: how much sooner and later that is with values one `sd` off."""
    down = (track[:, Col.T] >= positions["top_s"]) & (track[:, Col.T] <= positions["finish_s"])
    turn = track[down, Col.TURN]

    def made(shifted: Floats) -> float:
        at_turn = crossing(turn, shifted[down], 0.0)
        if at_turn is None:
            return 0.0 if shifted[down][0] >= 0.0 else LATE_SHARE
        return (_deg(at_turn) - at["pelvis_turn_top_deg"]) / (at["pelvis_turn_impact_deg"] - at["pelvis_turn_top_deg"])

    share, sooner, later = (made(values + off * sd) for off in (0.0, 1.0, -1.0))
    return share, max(abs(share - sooner), abs(later - share), LEAST_SHARE_SD)


def _mirror(track: Floats, positions: Mapping[str, float]) -> dict[str, float]:
    """How far the downswing mirrors the backswing between the hips: the lead hip should turn in, turn by turn, as the
    trail hip did on the way back. RMS difference of the two, over the turn that both have."""
    t = track[:, Col.T]
    back = track[(t >= positions["address_s"]) & (t <= positions["top_s"])]
    down = track[(t >= positions["top_s"]) & (t <= positions.get("impact_s", positions["finish_s"]))]
    if len(back) < 3 or len(down) < 3:
        return {}
    reach = min(-float(back[:, Col.TURN].min()), float(down[:, Col.TURN].max()))
    if reach < np.deg2rad(5.0):
        return {}
    turn = np.linspace(0.0, reach, 50)
    trail = np.interp(turn, np.maximum.accumulate(-back[:, Col.TURN]), back[:, Col.TRAIL_ROTATION])
    lead = np.interp(turn, np.maximum.accumulate(down[:, Col.TURN]), down[:, Col.LEAD_ROTATION])
    apart = _deg(np.sqrt(np.mean((trail - lead) ** 2)))
    return {"hip_mirror_deg": apart, "hip_mirror_sd_deg": bars.rotation(apart)}


def _deg(value: float | np.floating) -> float:
    return float(np.rad2deg(value))
