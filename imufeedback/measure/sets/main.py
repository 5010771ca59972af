"""The main job, end to end: a real person's recording, the synthetic golfer, the demo, the command line."""

from __future__ import annotations

from collections.abc import Iterator

import msgspec
import numpy as np
from scipy.spatial.transform import Rotation

from imufeedback.body import jcs
from imufeedback.document import Document
from imufeedback.measure import golfer, process, tilt
from imufeedback.measure.checks import Band, Context, LeftOut, Measured, SetPart, at_most, exactly
from imufeedback.measure.walk import FOLDER, MOVEMENT_SOUNDS, STILL_S, walk
from imufeedback.records import Hand, Side
from imufeedback.synth.flaws import Flaw
from imufeedback.synth.golfer import SEGMENTS
from imufeedback.synth.player import Pace
from imufeedback.synth.script import make_script

STALL_RULES = frozenset({"trail-thigh-keeps-falling", "trail-thigh-never-grows"})
"""Rules that say the trail thigh angle was not lost without a break: a push-back shows in both."""


def human_walk(context: Context) -> Iterator[Measured]:
    """Sitting, walking and standing of one person."""
    if context.data is None or not (context.data / FOLDER).is_dir():
        raise LeftOut("the recordings of people are not here; name their folder with --data")
    seen = walk(context.data, context.work)
    excursion = {side: seen.excursion_deg(side) for side in Side}
    for side in Side:
        yield Measured(f"walker sitting: median {side} hip flexion", seen.sitting_deg(side), Band(50, 90), "deg")
    for side in Side:
        # Published at free speed: 42 ± 7 (Schwartz et al., J Biomech 2008;41:1639-50). The difference is this person's
        # brisk pace, and sensors strapped to soft tissue.
        yield Measured(f"walker: {side} hip flexion excursion", excursion[side], Band(45, 65), "deg")
    apart = abs(excursion[Side.LEFT] - excursion[Side.RIGHT])
    yield Measured("walker: excursion, left against right", apart, at_most(10), "deg")
    yield Measured("walker standing: largest hip angle", seen.standing_deg(), at_most(3), "deg")
    yield Measured("walker: reps found", seen.reps, exactly(0), "reps")
    sounds = seen.sounds
    about_movement = sum(one in MOVEMENT_SOUNDS for one in sounds)
    yield Measured("walker: tones about the movement", about_movement, exactly(0), "tones")
    yield Measured("walker: tones of any kind", len(sounds), exactly(0), "tones")


def walker_tilt(context: Context) -> Iterator[Measured]:
    """Segment tilts of the same person against another library."""
    if context.data is None or not (context.data / FOLDER).is_dir():
        raise LeftOut("the recordings of people are not here; name their folder with --data")
    angles = walk(context.data, context.work).angles
    for segment in SEGMENTS:
        name = str(segment).replace("_", " ")
        try:
            csv = context.data / FOLDER / f"{segment}.csv"
            value = tilt.fused_rms_difference_deg(csv, STILL_S)
            chained = tilt.rms_difference_deg(angles, segment, csv, STILL_S)
        except ImportError as error:
            raise LeftOut(f"it compares with the library qmt, which cannot be used here ({error})") from error
        yield Measured(f"walker: {name} tilt against qmt, RMS", value, at_most(2), "deg")
        yield Measured(f"walker: {name} tilt put together from its joints, RMS", chained, at_most(2), "deg")


# Angles about z, x, y in degrees and the quaternion (w, x, y, z) pelvis→femur that they are: computed with scipy, for
# the sequence of Grood & Suntay (J Biomech Eng 1983;105:136-44) and Wu et al. (J Biomech 2002;35:543-8).
JCS_VECTORS = (
    ((30, -10, 15), (0.956962, -0.117120, 0.103234, 0.244640)),
    ((90, 0, 20), (0.696364, -0.122788, 0.122788, 0.696364)),
    ((30, 10, -15), (0.956962, 0.117120, -0.103234, 0.244640)),
    ((-10, 5, -5), (0.994133, 0.039614, -0.047210, -0.088885)),
    ((45, -20, -10), (0.900590, -0.126973, -0.145498, 0.389418)),
    ((120, -30, 25), (0.520028, -0.307397, -0.114298, 0.788678)),
    ((20, -85, 10), (0.733538, -0.673953, -0.053587, 0.069553)),
)


def joint_angles(context: Context) -> Iterator[Measured]:
    """Joint coordinate system: the vectors above, and scipy's ``Rotation`` on random poses."""
    raw = np.radians([one for one, _ in JCS_VECTORS])
    q = np.array([one for _, one in JCS_VECTORS])
    error = np.abs(jcs.angles(Rotation.from_euler("ZXY", raw).as_matrix()) - raw).max()
    yield Measured("JCS: angles of the seven test vectors", float(error), at_most(1e-6), "rad")
    back = jcs.angles(Rotation.from_quat(q, scalar_first=True).as_matrix())
    ours = Rotation.from_euler("ZXY", back).as_quat(canonical=True, scalar_first=True)
    yield Measured("JCS: quaternions of the seven test vectors", float(np.abs(ours - q).max()), at_most(1e-6), "1")
    poses = Rotation.random(2000, rng=np.random.default_rng(context.seed))
    scipys = poses.as_euler("ZXY")
    clear = np.cos(scipys[:, 1]) > np.sin(np.radians(5))  # nearer to the pole both angles are undefined
    away = np.abs(jcs.angles(poses.as_matrix()) - scipys)[clear]
    yield Measured("JCS: angles against scipy's ZXY", float(away.max()), at_most(1e-6), "rad")


def exact_golfer(context: Context) -> Iterator[Measured]:
    """All angles of perfect sensors against the truth; the worst player, angle by angle."""
    worst: dict[str, float] = {}
    seeds = range(context.seed, context.seed + (1 if context.quick else 3))
    for seed in seeds:
        for hand in Hand:
            for pace in Pace:
                played = golfer.play(make_script(hand=hand, pace=pace, reps=2, seed=seed))
                for name, error in golfer.angle_errors_deg(played).items():
                    value = golfer.rms(error)
                    worst[name] = value if value != value else max(worst.get(name, 0.0), value)
    for name, value in worst.items():
        yield Measured(f"golfer without noise: {name}, RMS", value, at_most(0.5), "deg")


def onsets(context: Context) -> Iterator[Measured]:
    """First stalled or regaining instant of slow reps against the truth."""
    away_ms: list[float] = []
    for flaw in (Flaw.STALL, Flaw.PUSH_BACK, Flaw.HIGH_KNEE):
        for seed in range(context.seed, context.seed + (1 if context.quick else 3)):
            played = golfer.play(make_script(pace=Pace.SLOW, flaw=flaw, reps=2, seed=seed))
            away_ms += [golfer.onset_error_s(played, truth) * 1e3 for truth in played.script.truth.reps]
    largest = float(np.abs(away_ms).max())  # NaN when a stall was missed anywhere
    yield Measured("golfer, slow: onset of the stall, largest error", largest, at_most(100), "ms")


THIGH_FLAWS = (Flaw.NONE, Flaw.STALL, Flaw.PUSH_BACK, Flaw.HIGH_KNEE)
"""What the demo offers and the trail thigh angle shows."""


def flaws(context: Context) -> Iterator[Measured]:
    """The demo as a whole command: every flaw is found in every rep, and none where there is none."""
    for flaw in THIGH_FLAWS:
        reps = 1 if context.quick else 5
        found = _demo(context, flaw, reps).reps
        stalled = sum(any(finding.rule in STALL_RULES for finding in rep.findings) for rep in found)
        yield Measured(f"demo {flaw}: reps found", len(found), exactly(reps), "reps")
        wrong = stalled if flaw is Flaw.NONE else len(found) - stalled
        what = "with" if flaw is Flaw.NONE else "without"
        yield Measured(f"demo {flaw}: reps {what} a stall finding", wrong, exactly(0), "reps")


def _demo(context: Context, flaw: Flaw, reps: int) -> Document:
    file = context.work / f"{flaw}.json"
    process.command(
        *("demo", "--headless", "--no-realtime", "--reps", str(reps), "--flaw", str(flaw), "--seed", str(context.seed)),
        *("--out", str(context.work), "--json", str(file)),
    )
    return msgspec.json.decode(file.read_bytes(), type=Document)


def demo_cost(context: Context) -> Iterator[Measured]:
    """Time and memory of the demo."""
    used = process.command("demo", "--headless", "--no-realtime", "--reps", "5", "--out", str(context.work))
    yield Measured("demo of 5 reps: whole process", used.wall_s, at_most(10), "s")
    if used.peak_mb == used.peak_mb:
        yield Measured("demo of 5 reps: peak memory", used.peak_mb, at_most(400), "MB")


def help_time(context: Context) -> Iterator[Measured]:
    """How long the command line takes to say what it can do; the best of some: the machine does other things too."""
    tries = [process.command("--help").wall_s for _ in range(2 if context.quick else 5)]
    yield Measured("--help", min(tries), at_most(0.3), "s")


STEPS = (
    SetPart("joint angles", joint_angles),
    SetPart("a person sitting, walking and standing", human_walk),
    SetPart("segment tilt against qmt", walker_tilt),
    SetPart("golfer without noise", exact_golfer),
    SetPart("onset of a stall", onsets),
    SetPart("the demo and its flaws", flaws),
    SetPart("cost of the demo", demo_cost),
    SetPart("command line", help_time),
)
