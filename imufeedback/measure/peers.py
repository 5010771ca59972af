"""The well-known open filters, on the same samples, as their libraries give them."""

from __future__ import annotations

from collections.abc import Callable, Mapping

import ahrs
import numpy as np
import vqf
from scipy.spatial.transform import Rotation

from imufeedback.measure.optics import JointTrial, best_heading, carried, first_heading, relative_rmse_deg, turned
from imufeedback.records import Floats

Orient = Callable[[Floats, Floats, float], Rotation]
"""(N, 3) rates, (N, 3) specific forces, sample rate → (N) sensor → earth."""

LEAD = {"mekf": -0.5}
USUAL_LEAD = 0.5
"""Samples by which a method's orientations are ahead of their stamps, from how it integrates: one that turns by the
rate at the end of a step is half a sample ahead where the rate is that of the stamp; the joint filter of dfjimu takes
the rate before the step and is half a sample behind. A test shows both on exact rates."""


def _vqf(gyr: Floats, acc: Floats, rate_hz: float) -> Rotation:
    out = vqf.VQF(1.0 / rate_hz).updateBatch(np.ascontiguousarray(gyr), np.ascontiguousarray(acc))
    return Rotation.from_quat(out["quat6D"], scalar_first=True)


def _offline_vqf(gyr: Floats, acc: Floats, rate_hz: float) -> Rotation:
    out = vqf.offlineVQF(np.ascontiguousarray(gyr), np.ascontiguousarray(acc), None, 1.0 / rate_hz)
    return Rotation.from_quat(out["quat6D"], scalar_first=True)


def _madgwick(gyr: Floats, acc: Floats, rate_hz: float) -> Rotation:
    return Rotation.from_quat(ahrs.filters.Madgwick(gyr=gyr, acc=acc, frequency=rate_hz).Q, scalar_first=True)


def _mahony(gyr: Floats, acc: Floats, rate_hz: float) -> Rotation:
    return Rotation.from_quat(ahrs.filters.Mahony(gyr=gyr, acc=acc, frequency=rate_hz).Q, scalar_first=True)


def _ekf(gyr: Floats, acc: Floats, rate_hz: float) -> Rotation:
    # its "NED" is the frame in which a level accelerometer at rest reads +g on z, as ours do; its "ENU" reads -g there
    q = ahrs.filters.EKF(gyr=gyr, acc=acc, frequency=rate_hz, frame="NED").Q
    return Rotation.from_quat(q, scalar_first=True)


ORIENT: Mapping[str, Orient] = {"vqf": _vqf, "madgwick": _madgwick, "mahony": _mahony, "ekf": _ekf}
OFFLINE: Mapping[str, Orient] = {"offline-vqf": _offline_vqf}
"""These look ahead."""
Both = tuple[Rotation, Rotation]
"""(N) first and second sensor to one earth."""
AHRS = ("madgwick", "mahony", "ekf")


def heading_once(name: str, pair: JointTrial) -> Both:
    """One filter a sensor, and the heading between the two set in the first second."""
    orient = ORIENT.get(name) or OFFLINE[name]
    one, two = (orient(g, a, pair.rate_hz) for g, a in zip(pair.gyr, pair.acc, strict=True))
    return one, turned(two, first_heading(one, two, pair))


def mekf(pair: JointTrial) -> Both:
    """The multiplicative Kalman filter with the joint constraint, lever arms estimated by its library.

    Raises ImportError without the library dfjimu.
    """
    from dfjimu import mekf_acc

    start = pair.reference_first[0].as_quat(scalar_first=True)
    q1, q2 = mekf_acc(  # type: ignore[no-untyped-call]
        *pair.gyr, *pair.acc, None, None, pair.rate_hz, q_init=start
    )
    one, two = (Rotation.from_quat(np.asarray(q), scalar_first=True) for q in (q1, q2))
    return one, two


def at_reference(name: str, both: Both, pair: JointTrial, delay_s: float) -> Rotation:
    """(N) second sensor → first of a method at the reference's stamps, which are `delay_s` before the samples'."""
    one, two = (carried(q, g, _carry_s(name, pair, delay_s)) for q, g in zip(both, pair.gyr, strict=True))
    return one.inv() * two


def _carry_s(name: str, pair: JointTrial, delay_s: float) -> float:
    return delay_s - LEAD.get(name, USUAL_LEAD) / pair.rate_hz


def floor(pair: JointTrial, delay_s: float) -> float:
    """RMSE (deg) with offline VQF and the best heading at every sample: what tilt and marker fit leave over."""
    carry_s = _carry_s("offline-vqf", pair, delay_s)
    one, two = (carried(_offline_vqf(g, a, pair.rate_hz), g, carry_s) for g, a in zip(pair.gyr, pair.acc, strict=True))
    return relative_rmse_deg(one.inv() * turned(two, best_heading(one, two, pair)), pair)
