"""The calibration movements, recognised live in any tempo: stand → right knee twice → left knee twice → two bows →
stand.

What a sensor is called does not matter here: the one that is lifted first is on the right thigh, the next one on the
left thigh, and the one that tips in the bow on the pelvis. Each step is told as it is done; what cannot be right is
refused in words for the player, and everything begins again with standing still.
"""

from __future__ import annotations

from collections.abc import Sequence as Several
from dataclasses import dataclass, field
from enum import IntEnum

import numpy as np

from imufeedback.body.posture import (
    BIG_RAD,
    RINGING,
    Movement,
    alone,
    is_still,
    movement,
    ringing,
    sits,
    tilt_from,
    up_in_sensor,
)
from imufeedback.body.ticks import TICK_S, SensorTick, Ticker
from imufeedback.records import AlignedBlock, FitStep, Floats, Segment
from imufeedback.stage import Stage

STILL_S = 2.0
"""Standing still for so long begins a calibration; the player is asked for three."""
END_STILL_S = 1.0
LEAVE_RAD, BACK_RAD = float(np.deg2rad(10.0)), float(np.deg2rad(8.0))
"""A movement begins above the one and ends below the other."""
BACK_TICKS = 2
LOOK_BACK_S = 0.6
"""A movement begins at most so long before it is noticed."""
TIMES, TOO_MANY = 2, 4
SILENT_S = 2.0
STAND_WAIT_S = 20.0
STEP_WAIT_S = 9.0
SECOND_BOW_S = 2.5
MOVEMENT_MAX_S = 8.0
STUCK_S = 2.0
HELD_S = 2.4
LIFE_S = 180.0
DEAD_RAD = float(np.deg2rad(1.2))
"""A worn sensor is tipped by more in a whole sequence."""


class CalibrationStep(IntEnum):
    """What is waited for."""

    STAND = 0
    RIGHT = 1
    LEFT = 2
    BOWS = 3
    STAND_AGAIN = 4


NAMES = ("standing", "right knee", "left knee", "bows", "standing again")
SAY = (
    "Good. Lift your right knee twice.",
    "Now the left knee, twice.",
    "Now bow twice, with straight legs.",
    "Stand still.",
    "Done.",
)
_TODO = ("stand still", "lift the right knee twice", "lift the left knee twice", "bow twice", "stand still at the end")
ORDER = "right knee twice, left knee twice, bow twice"


@dataclass(frozen=True, slots=True)
class Refused:
    """An attempt that cannot become a calibration."""

    t_s: float
    reason: str
    over: bool = False
    """Nothing more is waited for."""


@dataclass(frozen=True, slots=True)
class Performed:
    """The whole sequence was seen; windows in session seconds, sensors by their place in the blocks."""

    t_s: float
    still_s: tuple[float, float]
    again_s: tuple[float, float]
    right: Several[Movement]
    left: Several[Movement]
    bows: Several[Movement]

    def window(self, movements: Several[Movement]) -> tuple[float, float]:
        return movements[0].begin_s, movements[-1].end_s


Told = FitStep | Refused | Performed


@dataclass
class _State:
    ticker: Ticker
    ticks: list[SensorTick] = field(default_factory=list)
    """Since standing still began, or the last seconds while it is waited for."""
    begun_s: float | None = None
    step: CalibrationStep = CalibrationStep.STAND
    waits_from_s: float = 0.0
    """Since the last thing that went well."""
    up: Floats | None = None
    """(S, 3) up in every sensor while standing."""
    still_s: tuple[float, float] = (0.0, 0.0)
    moving_from: int | None = None
    """Number of the tick with which a movement began."""
    back: int = 0
    """Ticks since everything was back."""
    done: dict[CalibrationStep, list[Movement]] = field(default_factory=dict)
    walked: int = 0
    small: bool = False
    """A movement was too small to count."""
    most_rad: Floats | None = None
    """(S,) greatest tilt of each sensor in this attempt."""
    silent_s: Floats | None = None
    told_silent: bool = False
    last_s: float = -np.inf
    """Of the last tick."""
    over: bool = False


class Sequence(Stage[AlignedBlock, Told]):
    """Watches all worn sensors; `segments` are the stored roles, used in words and for what has no movement of its
    own."""

    _state: _State

    def __init__(self, segments: Several[Segment], *, grid_hz: float) -> None:
        self._segments = tuple(segments)
        self._grid_hz = grid_hz
        # a forearm may do what it likes
        self._watched = np.array([one is not Segment.LEAD_FOREARM for one in segments])
        self._legs = len([one for one in segments if one is not Segment.LEAD_FOREARM]) > 3
        self._state = _State(Ticker(max(round(TICK_S * grid_hz), 1)))

    @property
    def over(self) -> bool:
        return self._state.over

    @property
    def ending(self) -> bool:
        """Only standing still is waited for; before, the end is at least `END_STILL_S` away."""
        return self._state.step is CalibrationStep.STAND_AGAIN

    def feed(self, item: AlignedBlock) -> list[Told]:
        out: list[Told] = []
        for tick in self._state.ticker.feed(item, self._grid_hz):
            if self._state.over:
                break
            out += self._tick(tick)
        return out

    # ── one tick ─────────────────────────────────────────────────────────────────────────────────────────────────

    def _tick(self, tick: SensorTick) -> list[Told]:
        s = self._state
        if s.begun_s is None:
            s.begun_s = s.waits_from_s = tick.t_s
            s.silent_s, s.last_s = np.zeros(len(self._segments)), tick.t_s
        if tick.t_s - s.begun_s > LIFE_S:
            s.over = True
            reason = f"no calibration came about in {LIFE_S / 60:.0f} minutes – begin again when you are ready"
            return [Refused(tick.t_s, reason, over=True)]
        silent = self._silent(tick)
        if silent is not None:
            return silent
        if not tick.there.all():
            return []  # a gap in the radio is no movement
        s.ticks.append(tick)
        if s.step is CalibrationStep.STAND:
            return self._standing(tick)
        return self._performing(tick)

    def _silent(self, tick: SensorTick) -> list[Told] | None:
        s = self._state
        assert s.silent_s is not None
        passed_s = tick.t_s - s.last_s if tick.t_s - s.last_s > 1.5 * TICK_S else TICK_S  # more after a break
        s.silent_s, s.last_s = np.where(tick.there, 0.0, s.silent_s + passed_s), tick.t_s
        lost = np.flatnonzero(s.silent_s > SILENT_S)
        if not len(lost):
            s.told_silent = False
            return None
        if s.told_silent:
            s.waits_from_s = tick.t_s
            return []
        s.told_silent = True
        return self._refuse(tick.t_s, f"{self._names(lost)}: the sensor sends nothing – switch it on")

    # ── waiting for standing ─────────────────────────────────────────────────────────────────────────────────────

    def _standing(self, tick: SensorTick) -> list[Told]:
        s = self._state
        count = round(STILL_S / TICK_S)
        last = s.ticks[-count:]
        if len(last) == count and s.moving_from is None and (is_still(last) | ~self._watched).all():
            s.up = up_in_sensor(last)
            s.still_s = (last[0].t_s - TICK_S, tick.t_s)
            s.ticks = last
            s.most_rad = np.zeros(len(self._segments))
            return self._did(tick.t_s)
        if tick.t_s - s.waits_from_s > STAND_WAIT_S:
            moved = ~is_still(last) & self._watched
            return self._refuse(tick.t_s, _moved(self._names(np.flatnonzero(moved))))
        return self._too_early(tick)

    def _too_early(self, tick: SensorTick) -> list[Told]:
        """A knee lift or a bow before anybody stood still: it was meant, so it has to be said."""
        s = self._state
        half = s.ticks[-BIN:]
        if s.moving_from is None and len(half) == BIN and self._calm(half):
            s.up = up_in_sensor(half)
        if s.up is not None and self._moved(tilt_from(s.up, tick)) is not None:
            moved = self._last_movement()
            if moved is not None and moved.big and len(moved.movers) == 1:
                return self._refuse(tick.t_s, _moved(None))
        keep = round(MOVEMENT_MAX_S / TICK_S)
        if len(s.ticks) > 2 * keep:
            drop = len(s.ticks) - keep
            s.ticks = s.ticks[drop:]
            s.moving_from = None if s.moving_from is None else max(s.moving_from - drop, 0)
        return []

    def _calm(self, ticks: Several[SensorTick]) -> bool:
        rate = np.stack([one.gyr_rad_s for one in ticks])
        return bool(np.sqrt(np.nanmax((rate**2).sum(axis=-1))) < CALM_RAD_S and ticks[-1].there.all())

    # ── performing ───────────────────────────────────────────────────────────────────────────────────────────────

    def _performing(self, tick: SensorTick) -> list[Told]:
        s = self._state
        assert s.up is not None
        assert s.most_rad is not None
        tilt = tilt_from(s.up, tick)
        s.most_rad = np.maximum(s.most_rad, tilt)
        if self._moved(tilt) is not None:
            made = self._last_movement()
            return [] if made is None else self._judge(made, tick.t_s)
        if s.moving_from is not None:
            return self._on_the_way(tick, tilt * self._watched)
        if s.step is CalibrationStep.STAND_AGAIN:
            return self._standing_again(tick)
        if not s.done and (is_still(s.ticks[-round(END_STILL_S / TICK_S) :]) | ~self._watched).all():
            # still standing: the longer the better, up to a limit
            s.still_s = (max(s.still_s[0], tick.t_s - 2 * STEP_WAIT_S), tick.t_s)
        if tick.t_s - s.waits_from_s > STEP_WAIT_S:
            return self._refuse(tick.t_s, self._missing())
        return []

    def _moved(self, tilt: Floats) -> Movement | bool | None:
        """Follow one movement by each sensor's tilt (S,); not None once everything is back as it stood."""
        s = self._state
        most = (tilt * self._watched).max()
        if s.moving_from is None:
            if most > LEAVE_RAD:
                s.moving_from, s.back = self._began(), 0
            return None
        s.back = s.back + 1 if most < BACK_RAD else 0
        return True if s.back >= BACK_TICKS else None

    def _began(self) -> int:
        """Number of the tick at which the body was last as it stood."""
        s = self._state
        assert s.up is not None
        at = len(s.ticks) - 1
        for _ in range(round(LOOK_BACK_S / TICK_S)):
            if at == 0 or (tilt_from(s.up, s.ticks[at]) * self._watched).max() < LEAVE_RAD / 4:
                break
            at -= 1
        return at

    def _last_movement(self) -> Movement | None:
        s = self._state
        assert s.moving_from is not None
        assert s.up is not None
        ticks, s.moving_from = s.ticks[s.moving_from :], None
        made = movement(ticks, s.up)
        return Movement(
            made.begin_s,
            made.end_s,
            made.peak_rad,
            tuple(i for i in made.movers if self._watched[i]),
            made.pivot_m,
        )

    def _on_the_way(self, tick: SensorTick, tilt: Floats) -> list[Told]:
        """A movement that goes on for long; `tilt` (S,) of the watched sensors."""
        s = self._state
        assert s.up is not None
        assert s.moving_from is not None
        under_way = s.ticks[s.moving_from :]
        # a leg that is held up tips thigh and shank too, but not for so long
        long = not self._legs or len(under_way) > HELD_S / TICK_S
        if long and sits(under_way, s.up):
            return self._refuse(tick.t_s, "you sat down – stay standing until the end")
        stuck = round(STUCK_S / TICK_S)
        if len(under_way) > stuck and (is_still(under_way[-stuck:]) | ~self._watched).all():
            away = np.flatnonzero(tilt > BACK_RAD)
            if len(away) == 1 and tilt[away[0]] < BIG_RAD:
                return self._refuse(tick.t_s, _loose(self._names(away)))
            return self._refuse(tick.t_s, "you did not come back to standing – stand up straight between the movements")
        if len(under_way) > MOVEMENT_MAX_S / TICK_S:
            by_itself = np.flatnonzero((alone(under_way, s.up, BACK_RAD) > 0.3) & self._watched)
            if len(by_itself):
                return self._refuse(tick.t_s, _loose(self._names(by_itself)))
            return self._refuse(tick.t_s, WALKED if s.walked else f"this was no part of the calibration – {ORDER}")
        return []

    def _standing_again(self, tick: SensorTick) -> list[Told]:
        s = self._state
        last = s.ticks[-round(END_STILL_S / TICK_S) :]
        waited = tick.t_s - s.done[CalibrationStep.BOWS][-1].end_s
        enough = len(s.done[CalibrationStep.BOWS]) >= TIMES or waited > SECOND_BOW_S
        if enough and waited > END_STILL_S and (is_still(last) | ~self._watched).all():
            s.over = True
            told = self._did(tick.t_s)
            done = s.done
            again_s = (last[0].t_s - TICK_S, tick.t_s)
            movements = done[CalibrationStep.RIGHT], done[CalibrationStep.LEFT], done[CalibrationStep.BOWS]
            return [*told, Performed(tick.t_s, s.still_s, again_s, *movements)]
        if waited > STEP_WAIT_S:
            return self._refuse(tick.t_s, _moved(self._names(np.flatnonzero(~is_still(last) & self._watched))))
        return []

    # ── what a movement means ────────────────────────────────────────────────────────────────────────────────────

    def _judge(self, made: Movement, t_s: float) -> list[Told]:
        s = self._state
        if len(made.movers) > (2 if self._legs else 1):
            s.walked += 1
            return self._refuse(t_s, WALKED) if s.walked >= 2 else []
        if not made.big:
            s.small = s.small or s.step is not CalibrationStep.STAND_AGAIN
            return []
        s.waits_from_s = t_s
        step = self._step_of(made)
        if step is None:
            return self._refuse(t_s, self._wrong(made))
        s.done.setdefault(step, []).append(made)
        return self._counted(step, t_s)

    def _step_of(self, made: Movement) -> CalibrationStep | None:
        """Which step a movement belongs to; None when it cannot be right here."""
        s = self._state
        for step, movements in s.done.items():
            if set(movements[0].movers) & set(made.movers):
                last = step is max(s.done)
                return step if last and len(movements) + 1 < TOO_MANY else None
        step = CalibrationStep(len(s.done) + 1)
        if step > CalibrationStep.BOWS or self._is_lift(made) is (step is CalibrationStep.BOWS):
            return None
        return step

    def _is_lift(self, made: Movement) -> bool:
        """Both knees done, a third sensor whose pivot is nearer to it than any of theirs has bowed."""
        lifts = [
            one.pivot_m
            for step in (CalibrationStep.RIGHT, CalibrationStep.LEFT)
            for one in self._state.done.get(step, ())
        ]
        if CalibrationStep.LEFT in self._state.done and made.pivot_m > max(lifts):
            return False
        return made.is_lift(self._segments[made.movers[0]] is not Segment.PELVIS)

    def _counted(self, step: CalibrationStep, t_s: float) -> list[Told]:
        """Tell that a step is done, once: after its second time, or when the next one begins."""
        s = self._state
        told: list[Told] = []
        while s.step < step:
            told += self._did(t_s)
        if s.step is step and len(s.done[step]) >= (TIMES if step is not CalibrationStep.BOWS else 1):
            # a bow may be the last one, so standing again is watched for from the first one on
            if step is not CalibrationStep.BOWS:
                told += self._did(t_s)
            else:
                s.step = CalibrationStep.STAND_AGAIN
        if step is CalibrationStep.BOWS and len(s.done[step]) == TIMES:
            told.append(FitStep(t_s, NAMES[step], int(step) + 1, len(NAMES), SAY[step]))
        return told

    def _did(self, t_s: float) -> list[Told]:
        s = self._state
        told = FitStep(t_s, NAMES[s.step], int(s.step) + 1, len(NAMES), SAY[s.step])
        s.waits_from_s = t_s
        s.small = False
        s.step = CalibrationStep(min(s.step + 1, CalibrationStep.STAND_AGAIN))
        return [told]

    def _wrong(self, made: Movement) -> str:
        s = self._state
        known = [step for step, movements in s.done.items() if set(movements[0].movers) & set(made.movers)]
        if not known:
            if self._is_lift(made):
                return f"a third knee was lifted – {ORDER}"
            missing = "both knees were" if not s.done else "the left knee was"
            return f"that looked like a bow before {missing} lifted – {ORDER}; {IF_LIFTED}"
        if known[0] is CalibrationStep.BOWS:
            return f"you bowed {len(s.done[CalibrationStep.BOWS]) + 1} times – {ORDER}, then stand still"
        side = "right" if known[0] is CalibrationStep.RIGHT else "left"
        return f"the {side} knee was lifted again – {ORDER}"

    def _missing(self) -> str:
        s = self._state
        if s.small and s.step in (CalibrationStep.RIGHT, CalibrationStep.LEFT):
            return f"a knee was lifted too little – {_TODO[s.step]}, higher"
        if s.small:
            return "the bow was too small – bow twice, deeper"
        if len(s.done) == s.step and s.step in s.done:
            return f"{_TODO[s.step]}: it was done once only"
        return f"missing: {_TODO[s.step]}"

    # ── refusing ─────────────────────────────────────────────────────────────────────────────────────────────────

    def _refuse(self, t_s: float, reason: str) -> list[Told]:
        """Say why, and begin again with standing still. What is wrong with a sensor goes before what it led to."""
        s = self._state
        reason = self._of_a_sensor() or reason
        s.ticks, s.up, s.done, s.step = [], None, {}, CalibrationStep.STAND
        s.moving_from, s.walked, s.small, s.most_rad = None, 0, False, None
        s.waits_from_s = t_s
        return [Refused(t_s, reason)]

    def _of_a_sensor(self) -> str | None:
        s = self._state
        if s.most_rad is None or not (s.most_rad * self._watched > BIG_RAD).any():
            return None
        dead = np.flatnonzero((s.most_rad < DEAD_RAD) & self._watched)
        if len(dead):
            return f"{self._names(dead)}: the sensor did not move with you – strap it on"
        rings = np.flatnonzero((ringing(s.ticks) > RINGING) & self._watched)
        return _loose(self._names(rings)) if len(rings) else None

    def _names(self, which: np.ndarray) -> str:
        return ", ".join(str(self._segments[i]).replace("_", " ") for i in which)


BIN = 10
CALM_RAD_S = float(np.deg2rad(15.0))
IF_LIFTED = "if it was a knee lift, check the sensors (sensors check --turn)"
"""A sensor with wrong axes takes a lift for a bow: nobody is blamed for what it may have seen wrongly."""
WALKED = f"both legs moved at once, as in walking – stay in one place: {ORDER}"


def _moved(names: str | None) -> str:
    who = f"{names}: " if names else ""
    return f"{who}moved while standing – stand still for 3 seconds"


def _loose(names: str) -> str:
    return f"{names}: the sensor is loose – tighten its strap"
