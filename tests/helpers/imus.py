"""Ideal inertial samples of a sensor whose orientation is known."""

from __future__ import annotations

from collections.abc import Callable, Sequence

import numpy as np
from scipy.spatial.transform import Rotation

from imufeedback.fusion import Fusion
from imufeedback.records import Floats, ImuBlock, OrientationBlock, frozen

G = 9.81
HZ = 200.0


def samples_of(turned: Callable[[Floats], Rotation], t_s: Floats) -> tuple[Floats, Floats]:
    """Angular rate and specific force, sensor axes, of a sensor whose sensor→earth rotation is `turned(t_s)`."""
    h = 1e-5
    gyr = (turned(t_s - h).inv() * turned(t_s + h)).as_rotvec() / (2 * h)
    return gyr, turned(t_s).inv().apply([0.0, 0.0, G])


def still_at(rotation: Rotation) -> Callable[[Floats], Rotation]:
    return lambda t_s: Rotation.concatenate([rotation] * len(t_s))


def tumbling(begin: Rotation) -> Callable[[Floats], Rotation]:
    """Smooth motion about all axes, up to about 150 °/s, at rest for the first second."""

    def turned(t_s: Floats) -> Rotation:
        u = np.clip(t_s - 1.0, 0.0, None)
        ramp = 1.0 - np.exp(-(u**2))
        angles = np.column_stack((np.sin(1.3 * u), 0.6 * np.sin(2.1 * u), 0.8 * np.sin(0.9 * u))) * ramp[:, None]
        return begin * Rotation.from_euler("ZXY", angles)

    return turned


def imu_block(
    gyr: Floats,
    acc: Floats,
    *,
    begin_s: float = 0.0,
    dt_s: Floats | float = 1 / HZ,
    flags: Floats | int = 0,
    sensor: str = "a",
) -> ImuBlock:
    n = len(gyr)
    steps = np.broadcast_to(dt_s, n)
    return ImuBlock(
        sensor,
        frozen(begin_s + np.cumsum(steps) - steps[0]),
        frozen(steps),
        frozen(gyr),
        frozen(acc),
        frozen(np.broadcast_to(flags, n).astype(np.uint8), np.uint8),
    )


def cut(block: ImuBlock, size: int) -> list[ImuBlock]:
    """The same samples in blocks of `size`."""
    fields = (block.t_s, block.dt_s, block.gyr_rad_s, block.acc_m_s2, block.flags)
    return [ImuBlock(block.sensor, *(array[k : k + size] for array in fields)) for k in range(0, len(block.t_s), size)]


def fused(stage: Fusion, blocks: Sequence[ImuBlock]) -> list[OrientationBlock]:
    return [out for block in blocks for out in stage.feed(block)]


def joined(out: Sequence[OrientationBlock], field: str) -> Floats:
    return np.concatenate([getattr(one, field) for one in out])


def rotations(out: Sequence[OrientationBlock]) -> Rotation:
    return Rotation.from_quat(joined(out, "q_es"), scalar_first=True)


def tilt_error_deg(found: Rotation, true: Rotation) -> Floats:
    """(N,) angle between the two verticals, in the sensor."""
    up_found, up_true = found.inv().apply([0, 0, 1.0]), true.inv().apply([0, 0, 1.0])
    return np.rad2deg(np.arccos(np.clip(np.sum(up_found * up_true, axis=1), -1, 1)))
