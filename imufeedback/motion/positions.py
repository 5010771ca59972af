"""The instants between the phases of a rep.

============ ===========================================================================================
address      the turn leaves its still pose
top          the pelvis' turn reverses; a rep without a backswing has it where the turn sets off
hand_top     the lead forearm reverses (only with its sensor)
downswing    a degree of turn towards the target is made: the downswing has begun beyond doubt
level        side tilt crosses zero upwards after the top
knees_cross  the trail knee is bent as far as the lead knee (only with shank sensors)
impact       felt by the forearm's sensor; else estimated, and named among the estimates
finish       the turn comes to rest
============ ===========================================================================================
"""

from __future__ import annotations

from collections.abc import Mapping

import numpy as np

from imufeedback.motion.track import Col
from imufeedback.records import Floats

IMPACT_SHARE = 0.66
"""Estimate of impact without a sensor that feels it: this share of the turn from top to finish is made. Tour players
stand at -42 at the top and +42 at impact (Zheng et al. 2008) and finish at about +85 (common practice, no source)."""
IMPACT_SHARE_SD = 0.12
"""Players differ so: two in three of those drawn from published turns (42 ± 12 at impact) lie within it."""
BEGUN_RAD = float(np.deg2rad(1.0))
SHOCK_M_S2 = 3.0
"""Least second difference of the forearm's acceleration at 200 Hz that is a hit; chosen."""
SHOCK_SHARE, SHOCK_OVER_REST = 0.35, 6.0
"""The hit begins at this share of its greatest, and that many times above what the swing itself shows; chosen."""
SHOCK_APART_S = 0.025
"""Jolts further apart are not of one hit: the arm's own swing jolts too; chosen."""
SHOCK_NEAR_S, SHOCK_NEAR_SHARE = 0.08, 0.4
"""So near to the estimate, in seconds and as a share of the downswing, the hit is looked for."""


def positions_of(
    track: Floats, top_s: float, finish_s: float, arm: Floats | None = None
) -> tuple[dict[str, float], tuple[str, ...]]:
    """Positions of a rep in seconds, and the names of those that are estimates.

    `track` runs from the address to the finish; `arm` holds (N, 7) rows ``t, gyr (3), acc (3)`` of the lead forearm's
    sensor, in its own axes. A position that is not found is left out.
    """
    t = track[:, Col.T]
    out = {"address_s": _leaves_address(track, top_s), "top_s": top_s}
    down = track[(t >= top_s) & (t <= finish_s)]
    top_turn, finish_turn = np.interp([top_s, finish_s], t, track[:, Col.TURN])
    wanted = {
        "downswing_s": (down[:, Col.TURN], top_turn + BEGUN_RAD),
        "level_s": (down[:, Col.SIDE_TILT], 0.0),
        "knees_cross_s": (down[:, Col.TRAIL_KNEE] - down[:, Col.LEAD_KNEE], 0.0),
        "impact_s": (down[:, Col.TURN], top_turn + IMPACT_SHARE * (finish_turn - top_turn)),
    }
    for name, (values, level) in wanted.items():
        at_s = crossing(down[:, Col.T], values, level)
        if at_s is not None:
            out[name] = at_s
    out["finish_s"] = finish_s
    felt_s = _hit(arm, out)
    reversed_s = _hand_top(arm, out)
    if reversed_s is not None:
        out["hand_top_s"] = reversed_s
    if felt_s is not None:
        out["impact_s"] = felt_s
        return out, ()
    return out, ("impact_s",) if "impact_s" in out else ()


def impact_sd_s(track: Floats, positions: Mapping[str, float]) -> float:
    """Standard deviation of an estimated impact: how much sooner and later the turn is `IMPACT_SHARE_SD` off."""
    t, turn = track[:, Col.T], track[:, Col.TURN]
    down = (t >= positions["top_s"]) & (t <= positions["finish_s"])
    top, finish = np.interp([positions["top_s"], positions["finish_s"]], t, turn)
    far = [
        crossing(t[down], turn[down], top + (IMPACT_SHARE + off) * (finish - top))
        for off in (-IMPACT_SHARE_SD, IMPACT_SHARE_SD)
    ]
    sooner, later = (positions["finish_s"] if one is None else one for one in far)
    return (later - sooner) / 2


def _leaves_address(track: Floats, top_s: float) -> float:
    """Last instant before the top at which the turn stood still."""
    before = track[track[:, Col.T] <= top_s]
    if not len(before):
        return top_s
    fastest = float(np.max(-before[:, Col.TURN_RATE], initial=0.0))
    still = (np.abs(before[:, Col.TURN_RATE]) < 0.02 * fastest) & (np.abs(before[:, Col.TURN]) < np.deg2rad(2.0))
    at = np.flatnonzero(still)
    return float(before[at[-1], Col.T] if len(at) else before[0, Col.T])


def crossing(t: Floats, values: Floats, level: float) -> float | None:
    """First upward crossing of `level`, between samples; None when there is none, or nothing but NaN."""
    above = values >= level
    at = np.flatnonzero(above[1:] & (values[:-1] < level))
    if not len(at):
        return None
    i = int(at[0])
    return float(t[i] + (t[i + 1] - t[i]) * (level - values[i]) / (values[i + 1] - values[i]))


def _hit(arm: Floats | None, positions: dict[str, float]) -> float | None:
    """When the forearm felt the hit, near the estimate; None when it felt none."""
    if arm is None or len(arm) < 5 or "impact_s" not in positions:
        return None
    near_s = min(SHOCK_NEAR_S, SHOCK_NEAR_SHARE * (positions["impact_s"] - positions["top_s"]))
    inner = np.linalg.norm(arm[2:, 4:] - 2 * arm[1:-1, 4:] + arm[:-2, 4:], axis=1)
    t = arm[1:-1, 0]
    here = np.abs(t - positions["impact_s"]) <= near_s
    if not here.any():
        return None
    jolt, t = inner[here], t[here]
    least = max(SHOCK_SHARE * float(jolt.max()), SHOCK_OVER_REST * float(np.median(jolt)), SHOCK_M_S2)
    felt = t[jolt >= least]
    if not len(felt):
        return None
    before = felt[felt <= t[int(np.argmax(jolt))]]  # back from the hardest one to the begin of its hit
    breaks = np.flatnonzero(np.diff(before) > SHOCK_APART_S)
    return float(before[breaks[-1] + 1 if len(breaks) else 0])


def _hand_top(arm: Floats | None, positions: dict[str, float]) -> float | None:
    """When the forearm's turn reverses: its rate along its own downswing direction crosses zero, nearest to the top."""
    if arm is None or "impact_s" not in positions:
        return None
    top_s, span_s = positions["top_s"], positions["impact_s"] - positions["top_s"]
    t = arm[:, 0]
    down = arm[(t > top_s + 0.2 * span_s) & (t < top_s + 0.6 * span_s), 1:4]
    near = arm[(t >= positions["address_s"]) & (t <= top_s + 0.5 * span_s)]
    if not len(down) or not len(near):
        return None
    along = near[:, 1:4] @ down.mean(axis=0)
    ups = np.flatnonzero((along[1:] >= 0) & (along[:-1] < 0))
    if not len(ups):
        return None
    i = int(ups[np.argmin(np.abs(near[ups, 0] - top_s))])
    share = -along[i] / (along[i + 1] - along[i])
    return float(near[i, 0] + share * (near[i + 1, 0] - near[i, 0]))
