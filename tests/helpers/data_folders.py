"""A folder laid out as that of the recordings of people, made of invented motion."""

from __future__ import annotations

from pathlib import Path

import numpy as np
from ball_joint import HZ, swinging
from imus import samples_of, tumbling
from scipy.io import savemat
from scipy.spatial.transform import Rotation

WALK_S = 46.0
"""Long enough for the stretch of standing that the real one has."""


def ball_joint_trial(path: Path, seconds: float = 12.0) -> None:
    felt = swinging(seconds)
    samples = np.hstack((felt.acc[0], felt.gyr[0], felt.acc[1], felt.gyr[1]))
    reference = np.hstack([one.as_quat(scalar_first=True) for one in felt.true])
    savemat(path, {"data": {"sensorData": samples, "ref": reference, "rate": HZ}})


def single_trial(path: Path, seconds: float = 6.0, hz: float = 200.0) -> None:
    """The cameras lose the sensor for a while."""
    t_s = np.arange(int(seconds * hz)) / hz
    turned = tumbling(Rotation.from_euler("ZYX", [40, -25, 70], degrees=True))
    gyr, acc = samples_of(turned, t_s)
    q = turned(t_s).as_quat(scalar_first=True)
    q[500:520] = np.nan
    movement = (t_s > 1.0).astype(np.uint8)
    savemat(path, {"imu_gyr": gyr, "imu_acc": acc, "opt_quat": q, "movement": movement, "sampling_rate": hz})


def walk_csv(path: Path, hz: float = 50.0) -> None:
    """Somebody who sways, and stands still for a while."""
    t_s = np.arange(int(WALK_S * hz)) / hz

    def turned(at):
        size = 0.2 * np.interp(at, (38, 40, 44, 45), (1, 0, 0, 1))
        return Rotation.from_rotvec(np.outer(size * np.sin(3 * at), [1, 0, 0]))

    gyr, acc = samples_of(turned, t_s)
    head = "time_s,gyr_x_rad_s,gyr_y_rad_s,gyr_z_rad_s,acc_x_m_s2,acc_y_m_s2,acc_z_m_s2"
    np.savetxt(path, np.column_stack((t_s, gyr, acc)), delimiter=",", header=head, comments="", fmt="%.9f")


def made_up(folder: Path) -> Path:
    """All three sets; two of the walker's sensors."""
    for name in ("joint3d", "broad", "human_walk"):
        (folder / name).mkdir(parents=True)
    ball_joint_trial(folder / "joint3d" / "made_up.mat")
    for name in ("01_undisturbed_slow_rotation_A", "02_undisturbed_fast_rotation_A", "03_disturbed_tapping_A"):
        single_trial(folder / "broad" / f"{name}.mat")
    for name in ("pelvis", "left_thigh"):
        walk_csv(folder / "human_walk" / f"{name}.csv")
    return folder
