"""The joints between segments that can be worn."""

from __future__ import annotations

from dataclasses import dataclass

from imufeedback.records import Segment, Side


@dataclass(frozen=True, slots=True)
class Joint:
    """Two neighbouring segments."""

    name: str
    side: Side
    proximal: Segment
    distal: Segment
    arms_m: tuple[tuple[float, float, float], tuple[float, float, float]]
    """Usual place of the joint centre, from the proximal and the distal sensor, in segment coordinates."""


def _joints() -> tuple[Joint, ...]:
    out = []
    for side in Side:
        z = 1.0 if side is Side.RIGHT else -1.0
        out += [
            # sensor on the sacrum, sensor outside on mid-thigh; a person of 1.75 m, from memory
            Joint("hip", side, Segment.PELVIS, Segment.thigh(side), ((0.11, -0.06, 0.085 * z), (0.0, 0.20, -0.07 * z))),
            Joint(
                "knee", side, Segment.thigh(side), Segment.shank(side), ((0.0, -0.20, -0.07 * z), (-0.04, 0.18, 0.0))
            ),
        ]
    return tuple(out)


JOINTS = _joints()
