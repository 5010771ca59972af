"""What is known of a joint that begins again after a gap or after clipped samples.

Its tilt comes from both sensors' gravity. Its heading was known before; meanwhile it has turned by what the sensors
lost, as their fusion tells it. When that is much, the joint's own range says as much or more.
"""

from __future__ import annotations

import numpy as np

PRIOR_ROTATION_RAD = {"hip": np.deg2rad(25.0), "knee": np.deg2rad(18.0)}
"""How far a joint's internal rotation is from that of its zero when nothing else is known. People's exercises and
walking 5 to 12 degrees, swings up to 45 for tenths of a second: within two of these."""
PRIOR_FROM_RAD = np.deg2rad(10.0)
"""A heading that is known better than this is left alone."""
JUMP_RAD = np.deg2rad(0.05)
"""A heading's error that grows by more within one step has lost samples in it: its drift is 200 times smaller."""
AGAIN_RAD = np.deg2rad(5.0)
"""A joint begins again when its sensors have lost so much turn, also without a gap: an update is linear in errors."""
UNKNOWN_RAD = np.pi
SURE_TILT_RAD = np.deg2rad(8.0)
"""Till both sensors' tilts are known so well the joint is what they say: from a tilt that is off by tens of degrees the
joint's own filter goes astray and believes it."""
LEVEL_AGAIN = 6.0
"""Least level of the residuals' variance after it: nothing is learnt from a few that err alike. Chosen."""


def heading(kept_rad: float, kept_sd: float, neutral_rad: float, neutral_sd: float) -> tuple[float, float]:
    """Heading and its standard deviation, all in radians: the one that was kept, or a mean of it and of the one that
    leaves the joint without rotation, by how sure each is."""
    if kept_sd < PRIOR_FROM_RAD:
        return kept_rad, kept_sd
    off = float((neutral_rad - kept_rad + np.pi) % (2.0 * np.pi) - np.pi)
    share = kept_sd**2 / (kept_sd**2 + neutral_sd**2)
    return kept_rad + share * off, float(np.sqrt(share)) * neutral_sd
