"""Keeps out of the fusion what cannot be a sensor's motion: values that are frozen, or scaled by a wrong range.

What looks like motion is not judged: the checks need samples that are equal, or a sensor at rest. Samples that are kept
out are simply not there for what follows, so the angles are not ok, and nothing is said about them.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, field, replace
from typing import TypeAlias

import numpy as np

from imufeedback.constants import STANDARD_GRAVITY_M_S2
from imufeedback.phrases import phrase
from imufeedback.records import Flag, Floats, ImuBlock, ImuRun, Notice, frozen
from imufeedback.stage import Stage

FROZEN_SAMPLES = 20
"""So many equal samples of all six axes in a row are no measurement: a real sensor has noise."""
NOISELESS_SAMPLES = 5
"""Equal samples in a row within the first `LEARN_SAMPLES` tell of a source without noise, which a simulation is: it may
stand as still as it likes. (A sensor that is frozen from its start is found by `sensors check`.)"""
LEARN_SAMPLES = 40
CHUNK_SAMPLES = 50
"""Rest is judged over so many samples at a time."""
REST_ACC_SD_M_S2 = 0.15
REST_GYR_SD_RAD_S = 0.05
"""A chunk is at rest when no axis scatters more. Not by its mean: a wrong range or a bias must not hide the rest."""
REST_CHUNKS = 3
"""Chunks at rest in a row that decide."""
GRAVITY_SHARE = 0.2
"""What a sensor at rest measures differs at most by this share from gravity: 60 mg of offset and 3 % of scale, the
worst
of data sheets, and room. A wrong range is off by a factor of 2, a wrong unit by 9.8."""

_RESTART = int(Flag.RESTART)


@dataclass
class _State:
    last: ImuBlock | None = None
    equal: int = 0
    """Samples in a row that equal the one before."""
    learnt: int = 0
    noiseless: bool = False
    chunk: list[tuple[Floats, Floats]] = field(default_factory=list)
    chunk_samples: int = 0
    rests: list[float] = field(default_factory=list)
    """What the last chunks at rest measured, m/s²."""
    wrong: str = ""
    """Why samples are kept out; empty while they are not."""


class Plausible(Stage[ImuBlock, ImuBlock | Notice]):
    """Passes one sensor's blocks on, or keeps them out and says why, once.

    The first block after a stretch that was kept out is flagged as a restart: what was known before is void.
    """

    _state: _State

    def __init__(self, sensor: str) -> None:
        self.sensor = sensor
        self._state = _State()

    def feed(self, item: ImuBlock) -> list[ImuBlock | Notice]:
        if not len(item.t_s):
            return []
        before = self._state.wrong
        if item.flags.item(0) & _RESTART:
            # a source without noise is a simulation, and stays one
            self._state = _State(wrong=before, learnt=self._state.learnt, noiseless=self._state.noiseless)
        s = self._state
        if self._is_frozen(item):
            s.wrong = "frozen: it repeats one value"
        elif s.wrong.startswith("frozen"):
            s.wrong = ""
        self._weigh(item)
        if s.wrong:
            text = phrase("notice.sensor_wrong", sensor=self.sensor, wrong=s.wrong)
            return [] if before else [Notice(float(item.t_s[-1]), text)]
        return [item if not before else _as_restart(item)]

    @property
    def learnt(self) -> bool:
        """Whether it is known if the source has noise."""
        return self._state.learnt >= LEARN_SAMPLES

    def passes(self, blocks: Sequence[ImuBlock | ImuRun]) -> bool:
        """Whether nothing is wrong with any of the packets, so that all of them pass; what is known is then that after
        them. Else nothing has changed, and they are for `feed`."""
        s = self._state
        runs = [one if isinstance(one, ImuRun) else ImuRun(one, len(one.t_s)) for one in blocks]
        samples = runs[-1].samples if runs else 0
        if any(one.samples != samples or one.block.flags.item(0) & _RESTART for one in runs):
            return False
        if s.wrong or not self.learnt or s.last is None or not samples:
            return not runs
        gyr = np.concatenate([one.block.gyr_rad_s for one in runs]).reshape(-1, samples, 3)
        acc = np.concatenate([one.block.acc_m_s2 for one in runs]).reshape(-1, samples, 3)
        # of a source without noise repeats are not counted
        if not s.noiseless and _repeats(gyr, s.last.gyr_rad_s[-1]) and _repeats(acc, s.last.acc_m_s2[-1]):
            return False
        rests, taken = self._weighed(gyr, acc)
        if rests is None:
            return False
        s.rests, s.equal = rests, 0
        kept = s.chunk if not taken else []
        s.chunk = [*kept, *((gyr[k], acc[k]) for k in range(taken, len(gyr)))]
        s.chunk_samples = samples * len(s.chunk)
        s.last = runs[-1].last
        return True

    def _weighed(self, gyr: Floats, acc: Floats) -> tuple[list[float] | None, int]:
        """The last chunks at rest after packets (K, N, 3), None if they tell of a wrong scale or where packets of
        another length have begun a chunk; and how many of the packets lie in whole chunks."""
        s, (packets, samples, _) = self._state, gyr.shape
        if s.chunk_samples != samples * len(s.chunk):
            return None, 0
        size = -(-CHUNK_SAMPLES // samples)
        chunks = (packets + len(s.chunk)) // size
        if not chunks:
            return s.rests, 0
        taken = chunks * size - len(s.chunk)
        begun = [*s.chunk, (gyr[:taken].reshape(-1, 3), acc[:taken].reshape(-1, 3))]
        rests = s.rests
        for look in _looks(begun, chunks):
            rests = _rests(rests, look)
            if len(rests) == REST_CHUNKS and all(map(_is_off, rests)):
                return None, 0
        return rests, taken

    # ── frozen ──

    def _is_frozen(self, item: ImuBlock) -> bool:
        s = self._state
        n = len(item.t_s)
        s.equal = self._equal(item, n)
        s.last = item
        if s.learnt < LEARN_SAMPLES:
            s.learnt += n
            s.noiseless |= s.equal >= NOISELESS_SAMPLES
        return s.equal >= FROZEN_SAMPLES - 1 and not s.noiseless

    def _equal(self, item: ImuBlock, n: int) -> int:
        """Samples in a row up to this block's end that equal the one before; counted by whole blocks."""
        gyr, acc, last = item.gyr_rad_s, item.acc_m_s2, self._state.last
        if gyr.item(0) != gyr.item(-3) or acc.item(0) != acc.item(-3):  # nearly every block ends here
            return 0
        if item.flags.any() or not (gyr == gyr[0]).all() or not (acc == acc[0]).all():
            return 0
        goes_on = last is not None and (last.gyr_rad_s[-1] == gyr[0]).all() and (last.acc_m_s2[-1] == acc[0]).all()
        return self._state.equal + n if goes_on else n - 1

    # ── gravity at rest ──

    def _weigh(self, item: ImuBlock) -> None:
        s = self._state
        s.chunk.append((item.gyr_rad_s, item.acc_m_s2))
        s.chunk_samples += len(item.t_s)
        if s.chunk_samples < CHUNK_SAMPLES:
            return
        parts, s.chunk, s.chunk_samples = s.chunk, [], 0
        s.rests = _rests(s.rests, *_looks(parts, 1))
        if len(s.rests) == REST_CHUNKS:
            self._judge_gravity()

    def _judge_gravity(self) -> None:
        s = self._state
        off = [_is_off(one) for one in s.rests]
        if all(off) and s.rests[-1] > 0 and not s.wrong:
            s.wrong = f"wrongly scaled: at rest it measures {s.rests[-1]:.2f} m/s², and gravity is 9.81"
        elif not any(off) and s.wrong.startswith("wrongly"):
            s.wrong = ""


def _is_off(measured: float) -> bool:
    """Whether it cannot be gravity that a sensor at rest measures so, m/s²."""
    return abs(measured / STANDARD_GRAVITY_M_S2 - 1.0) > GRAVITY_SHARE


_Look: TypeAlias = tuple[bool, float]
"""Whether a chunk is at rest, and what it measures on the mean, m/s²."""


def _rests(before: list[float], look: _Look) -> list[float]:
    """What the last chunks at rest measured, with one more chunk."""
    at_rest, measured = look
    return [*before, measured][-REST_CHUNKS:] if at_rest else []


def _looks(parts: Sequence[tuple[Floats, Floats]], chunks: int) -> list[_Look]:
    """Of each of so many equal chunks, whose samples come in parts (…, 3)."""
    gyr_acc = np.concatenate([one for part in zip(*parts, strict=True) for one in part])
    with np.errstate(all="ignore"):  # floats from outside may be anything, and then are no rest
        mean, variance = _spread(gyr_acc.reshape(2 * chunks, -1, 3))
        measured = np.sqrt(np.square(mean[chunks:]).sum(axis=1))
    at_rest = (variance[:chunks] < REST_GYR_SD_RAD_S**2) & (variance[chunks:] < REST_ACC_SD_M_S2**2)
    return list(zip(at_rest.tolist(), measured.tolist(), strict=True))


def _spread(chunks: Floats) -> tuple[Floats, Floats]:
    """Mean (C, 3) of chunks (C, N, 3), and the greatest variance (C,) of an axis; counted from each chunk's first
    sample, so that nothing is lost beside a large value."""
    n, first = chunks.shape[1], chunks[:, 0]
    off = chunks - first[:, None]
    mean = off.sum(axis=1) / n
    variance = np.square(off, out=off).sum(axis=1) / n - mean * mean
    return first + mean, variance.max(axis=1)


def _repeats(packets: Floats, last: Floats) -> bool:
    """Whether in some of the packets (K, N, 3) all samples equal the first one; where each holds one sample, the one
    before it, for the first the `last` (3,)."""
    if packets.shape[1] == 1:
        samples = np.concatenate((last[None], packets[:, 0]))
        return bool((samples[1:] == samples[:-1]).all(axis=1).any())
    return bool((packets == packets[:, :1]).all(axis=(1, 2)).any())


def _as_restart(item: ImuBlock) -> ImuBlock:
    flags = item.flags.copy()
    flags[0] |= np.uint8(_RESTART)
    return replace(item, flags=frozen(flags, np.uint8))
