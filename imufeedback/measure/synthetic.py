"""Pelvis and trail thigh of a synthetic player as a pair with exact truth: what any filter can be given."""

from __future__ import annotations

from collections.abc import Iterable

import numpy as np
from scipy.spatial.transform import Rotation

from imufeedback.body import jcs
from imufeedback.measure.golfer import RATE_HZ, items
from imufeedback.measure.optics import JointTrial
from imufeedback.measure.players import typical
from imufeedback.pipeline import run
from imufeedback.records import Angles, Item, Segment
from imufeedback.synth.presets import SensorModel
from imufeedback.synth.script import Script
from imufeedback.synth.sensors import WORN, default_places, true_q_es
from imufeedback.synth.worn_sensor import WornSensor


def pair(session: Script) -> JointTrial:
    """Samples with typical errors, without soft tissue; they count from the first address on.

    No clock and no packet takes part: the samples are at even instants.
    """
    n = int(session.duration_s * RATE_HZ)
    t_s = np.arange(n) / RATE_HZ
    segments = _segments(session)
    places = default_places(session.seed, segments)
    sensors = [WornSensor(session, places[one], _model(), rate_hz=RATE_HZ) for one in segments]
    (gyr, acc), (gyr_2, acc_2) = (sensor.measure(np.arange(n), t_s) for sensor in sensors)
    pose = session.golfer.pose(t_s, segments)
    first, second = (Rotation.from_quat(true_q_es(pose, places[one]), scalar_first=True) for one in segments)
    return JointTrial(
        f"player-{session.seed}",
        RATE_HZ,
        (gyr, gyr_2),
        (acc, acc_2),
        first.inv() * second,
        first,
        session.truth.reps[0].address_s,
    )


def packets(session: Script, model: SensorModel | None = None) -> list[Item]:
    """The session as items of the pipeline. `model` replaces the typical sensors."""
    return list(items(session, WORN, model=model or _model()))


def through_pipeline(session: Script, stream: Iterable[Item]) -> Rotation:
    """(N) thigh sensor → pelvis sensor at the samples of `pair`, from the hip angles that the whole pipeline gives.

    It ends with the last angle; before the first one, and where an angle is not known, it is the mounting's own.
    """
    side = session.hand.trail
    blocks = [one for one in run(stream) if isinstance(one, Angles)]
    at = np.rint(np.concatenate([one.t_s for one in blocks]) * RATE_HZ).astype(int)
    clinical = np.concatenate([one.joint("hip", side).angle_rad for one in blocks])
    raw = np.zeros((int(at[-1]) + 1, 3))
    raw[at] = np.nan_to_num(clinical) * jcs.signs("hip", side)
    places = default_places(session.seed, _segments(session))
    to_first, to_second = (Rotation.from_quat(places[one].q_sb, scalar_first=True) for one in _segments(session))
    return to_first * Rotation.from_euler("ZXY", raw) * to_second.inv()


def _segments(session: Script) -> tuple[Segment, Segment]:
    return Segment.PELVIS, Segment.thigh(session.hand.trail)


def _model() -> SensorModel:
    return typical(soft_tissue=False)
