"""The well-known open filters, on the same samples, as their libraries give them."""

from __future__ import annotations

from collections.abc import Callable, Mapping

import ahrs
import numpy as np
import vqf
from scipy.spatial.transform import Rotation

from imufeedback.records import Floats
from imufeedback.validate.optics import Pair, best_heading, carried, first_heading, relative_rmse_deg, turned

Orient = Callable[[Floats, Floats, float], Rotation]
"""(N, 3) rates, (N, 3) specific forces, sample rate → (N) sensor → earth."""

SHIFTS = (0.0, 0.5, 1.0)
"""Samples by which a peer's output may be carried on. Sensors and cameras of a set need not be stamped alike; every
peer gets the shift that suits it best."""


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


def heading_once(name: str, pair: Pair) -> Both:
    """One filter a sensor, and the heading between the two set in the first second."""
    orient = ORIENT.get(name) or OFFLINE[name]
    one, two = (orient(g, a, pair.rate_hz) for g, a in zip(pair.gyr, pair.acc, strict=True))
    return one, turned(two, first_heading(one, two, pair))


def mekf(pair: Pair) -> Both:
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


def best_of(name: str, both: Both, pair: Pair) -> Rotation:
    """(N) second sensor → first of a method, at the shift that suits it best."""
    candidates = [_shifted(both, pair, samples) for samples in SHIFTS]
    if name == "mekf":  # it may give predictions, one sample ahead
        q = candidates[0].as_quat(scalar_first=True)
        candidates.append(Rotation.from_quat(np.vstack((q[1:], q[-1:])), scalar_first=True))
    return min(candidates, key=lambda one: relative_rmse_deg(one, pair))


def rmse_deg(name: str, pair: Pair) -> float:
    """Total RMSE (deg) of a method. Raises ImportError for ``mekf`` without the library dfjimu."""
    both = mekf(pair) if name == "mekf" else heading_once(name, pair)
    return relative_rmse_deg(best_of(name, both, pair), pair)


def floor(pair: Pair) -> float:
    """RMSE (deg) with offline VQF and the best heading at every sample: what tilt and marker fit leave over."""
    one, two = (_offline_vqf(g, a, pair.rate_hz) for g, a in zip(pair.gyr, pair.acc, strict=True))
    return relative_rmse_deg(one.inv() * turned(two, best_heading(one, two, pair)), pair)


def _shifted(both: Both, pair: Pair, samples: float) -> Rotation:
    one, two = (carried(q, g, samples / pair.rate_hz) for q, g in zip(both, pair.gyr, strict=True))
    return one.inv() * two
