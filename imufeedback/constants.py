"""Numbers with their source beside them."""

from __future__ import annotations

import math

STANDARD_GRAVITY_M_S2 = 9.80665
"""Standard acceleration of gravity: 3rd CGPM (1901); exact by definition. What "1 g" means in data sheets."""

# WGS84 normal gravity on the ellipsoid (Somigliana): NIMA TR8350.2, 3rd ed.
GRAVITY_EQUATOR_M_S2 = 9.7803253359
GRAVITY_FORMULA_K = 0.00193185265
WGS84_ECCENTRICITY_SQUARED = 0.00669437999


def normal_gravity_m_s2(latitude_rad: float, height_m: float = 0.0) -> float:
    """WGS84 normal gravity at a latitude, with the free-air gradient for the height.

    Source: NIMA TR8350.2 (Somigliana formula); free-air gradient -3.086e-6 1/s² (standard geodesy value).
    """
    s2 = math.sin(latitude_rad) ** 2
    on_ellipsoid = GRAVITY_EQUATOR_M_S2 * (1 + GRAVITY_FORMULA_K * s2) / math.sqrt(1 - WGS84_ECCENTRICITY_SQUARED * s2)
    return on_ellipsoid - 3.086e-6 * height_m


STILL_GRAVITY_BAND_M_S2 = (9.5, 10.1)
"""A still accelerometer must measure this: WGS84 spans 9.780 to 9.832 at sea level; the rest is a consumer part's
zero-g offset of up to ±20 mg typical (reference: vendors' data sheets, second-hand)."""

CAUTIONS = (
    "Training feedback only. Not a medical device: it does not diagnose, treat or prevent anything.",
    "Slow before fast. Stop at once when anything hurts, catches, gives way or goes numb.",
    "Known hip, back or knee trouble, surgery, pregnancy, or under 18: ask a clinician first.",
    "Make room to swing: nobody and nothing within reach of the club.",
    "Keep the volume low and the surroundings audible.",
    "Angles are estimates with several degrees of error.",
)
"""The usual cautions, shown in the README, in the demo's first screen and in the window. They defer to clinicians and
are not clinical advice."""

BATTERY_LOW_PERCENT = 15
"""At this or below a sensor's battery is low, for tones, windows and checks alike. Chosen, no source."""
