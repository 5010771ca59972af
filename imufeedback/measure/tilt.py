"""Segment tilt against the library qmt, from the same CSV samples but by another way.

Nothing of this package takes part in the reference: the file is read by numpy, the long axis is where the mean of the
accelerometer points in quiet standing, and qmt's offline filter (forth and back over the whole file) gives the
orientation. Source: qmt 0.2.4, D. Laidig et al., TU Berlin.
"""

from __future__ import annotations

from collections.abc import Iterable
from pathlib import Path

import numpy as np
from scipy.spatial.transform import Rotation

from imufeedback.fusion import Fusion
from imufeedback.measure.own_stages import blocks
from imufeedback.measure.peers import Orient
from imufeedback.records import Angles, Floats, Segment, Side


def reference_deg(csv: Path, still_s: tuple[float, float]) -> tuple[Floats, Floats]:
    """Time (N,) and tilt (N,) of the long axis from the vertical. Raises ImportError without qmt."""
    import qmt

    table = np.genfromtxt(csv, delimiter=",", names=True)
    t_s: Floats = table["time_s"]
    gyr = np.column_stack([table[f"gyr_{axis}_rad_s"] for axis in "xyz"])
    acc = np.column_stack([table[f"acc_{axis}_m_s2"] for axis in "xyz"])
    still = (t_s >= still_s[0]) & (t_s <= still_s[1])
    up_s = acc[still].mean(axis=0)
    q_es = qmt.oriEstOfflineVQF(gyr, acc, params={"Ts": float(np.median(np.diff(t_s)))})
    up_e = qmt.rotate(q_es, up_s / np.linalg.norm(up_s))
    return t_s, np.degrees(np.arccos(np.clip(up_e[:, 2], -1.0, 1.0)))


def own_deg(angles: Iterable[Angles], segment: Segment) -> tuple[Floats, Floats]:
    """Time and tilt of a segment's long axis, put together again from the angles of the joints above it.

    Chain: pelvis (Baker's order), hip, knee (Z-X-Y); a heading that all of it shares does not change a tilt.
    """
    parts = list(angles)
    t_s = np.concatenate([one.t_s for one in parts])
    y_up = np.concatenate([_chain(one, segment).as_matrix()[:, 1, 1] for one in parts])
    return t_s, np.degrees(np.arccos(np.clip(y_up, -1.0, 1.0)))


def rms_difference_deg(angles: Iterable[Angles], segment: Segment, csv: Path, still_s: tuple[float, float]) -> float:
    """RMS over the whole recording of own minus reference."""
    t_s, own = own_deg(angles, segment)
    reference = np.interp(t_s, *reference_deg(csv, still_s))
    return float(np.sqrt(np.mean((own - reference) ** 2)))


def fused_rms_difference_deg(csv: Path, still_s: tuple[float, float]) -> float:
    """RMS of the tilt that this package's own fusion gives for one sensor, causal, minus the reference."""
    own = fused_deg(csv, still_s)
    return float(np.sqrt(np.mean((own - reference_deg(csv, still_s)[1]) ** 2)))


def fused_deg(csv: Path, still_s: tuple[float, float]) -> Floats:
    """(N,) tilt of the long axis from the vertical by this package's own fusion."""

    def orient(gyr: Floats, acc: Floats, rate_hz: float) -> Rotation:
        fusion = Fusion(csv.stem, period_s=1.0 / rate_hz)
        out = [one.q_es for block in blocks(csv.stem, gyr, acc, rate_hz) for one in fusion.feed(block)]
        return Rotation.from_quat(np.concatenate(out), scalar_first=True)

    return peer_deg(orient, csv, still_s)


def peer_deg(orient: Orient, csv: Path, still_s: tuple[float, float]) -> Floats:
    """(N,) the same by any filter."""
    table = np.genfromtxt(csv, delimiter=",", names=True)
    t_s: Floats = table["time_s"]
    gyr = np.column_stack([table[f"gyr_{axis}_rad_s"] for axis in "xyz"])
    acc = np.column_stack([table[f"acc_{axis}_m_s2"] for axis in "xyz"])
    up_s = acc[(t_s >= still_s[0]) & (t_s <= still_s[1])].mean(axis=0)
    up_e = orient(gyr, acc, 1.0 / float(np.median(np.diff(t_s)))).apply(up_s / np.linalg.norm(up_s))
    own: Floats = np.degrees(np.arccos(np.clip(up_e[:, 2], -1.0, 1.0)))
    return own


def _chain(block: Angles, segment: Segment) -> Rotation:
    turn, side_tilt, forward_tilt = block.pelvis.angle_rad.T  # of a right-handed player: + turn is + about y
    out = Rotation.from_euler("YXZ", np.column_stack((turn, side_tilt, -forward_tilt)))
    for side in Side:
        if segment in (Segment.thigh(side), Segment.shank(side)):
            out = out * _joint(block, "hip", side)
        if segment is Segment.shank(side):
            out = out * _joint(block, "knee", side)
    return out


def _joint(block: Angles, joint: str, side: Side) -> Rotation:
    sign = 1.0 if side is Side.RIGHT else -1.0
    bend = -1.0 if joint == "knee" else 1.0  # knee flexion carries the shank backward: negative about z
    return Rotation.from_euler("ZXY", block.joint(joint, side).angle_rad * [bend, sign, sign])
