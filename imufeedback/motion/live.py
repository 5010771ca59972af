"""The live judgement: is the trail thigh still losing angle against the pelvis?

Loss is compared with pelvis turn, not with time, so slow rehearsals and full swings obey one limit::

    falling    the angle falls by at least `min_slope` degrees for every degree of turn towards the target
    stalled    it falls by less, for longer than the dead-band (degrees of turn and milliseconds), short of the target
    growing    it has grown by more than `grow_deg` since its lowest

Rates come from the gyroscopes, so nothing is differentiated. The way back to losing needs more than the way out
(hysteresis). The onset is reported with the decision: it lies one dead-band earlier.
"""

from __future__ import annotations

from dataclasses import dataclass, field

from imufeedback.records import Motion

MIN_TURN_RATE_RAD_S = 0.035
"""Slower than 2 °/s the ratio of two rates says nothing."""
RETURN_FACTOR = 1.5
_NOT_LOSING = (Motion.STALLED, Motion.GROWING)


@dataclass(frozen=True, slots=True)
class LiveLimits:
    """Limits of the live judgement; from the rule set."""

    min_slope: float = 0.11
    dead_turn_rad: float = 0.0698
    dead_s: float = 0.05
    target_rad: float = 0.035
    grow_rad: float = 0.0262


@dataclass(frozen=True, slots=True)
class StalledStretch:
    """A stretch of the downswing in which the angle fell too little for the turn."""

    onset_s: float
    onset_turn_rad: float
    decided_s: float
    angle_rad: float


@dataclass
class Judge:
    """Judges one downswing, step by step. All angles in rad, turn + towards the target."""

    limits: LiveLimits
    state: Motion = Motion.IDLE
    lowest: tuple[float, float] = (float("inf"), 0.0)
    """(angle, time) of the lowest angle so far."""
    growth_rad: float = 0.0
    """Largest growth above the lowest angle before it, until the target is reached."""
    growth_from_s: float = 0.0
    flat_since: tuple[float, float] | None = None
    """(time, turn) from which the angle falls too little."""
    losing_since: tuple[float, float] | None = None
    reached_s: float | None = None
    stalls: list[StalledStretch] = field(default_factory=list)
    flat_turn_rad: float = 0.0
    """Longest stall in turn."""

    @classmethod
    def from_top(cls, limits: LiveLimits, top_s: float, turn: float, angle: float) -> Judge:
        """A judge for the downswing that began at this top. A stall that begins with the downswing dates from there."""
        return cls(limits, lowest=(angle, top_s), flat_since=(top_s, turn))

    @property
    def over(self) -> bool:
        """Nothing can come any more."""
        return self.reached_s is not None and self.state not in _NOT_LOSING

    def step(self, t_s: float, turn: float, turn_rate: float, angle: float, rate: float) -> float | None:
        """Take one step; return the onset (s) of a new state, or None when the state stays.

        Once the target is reached nothing is a stall any more.
        """
        if angle <= self.limits.target_rad and self.reached_s is None:
            self.reached_s = t_s
        if self.reached_s is not None:
            return self._enter(Motion.FALLING, t_s) if self.state in _NOT_LOSING else None
        self._follow_growth(t_s, angle)
        if turn_rate < MIN_TURN_RATE_RAD_S:
            return None
        slope = -rate / turn_rate
        self._follow_flat(t_s, turn, slope)
        return self._decide(t_s, turn, angle)

    def _follow_growth(self, t_s: float, angle: float) -> None:
        if angle < self.lowest[0]:
            self.lowest = (angle, t_s)
        elif angle - self.lowest[0] > self.growth_rad:
            self.growth_rad = angle - self.lowest[0]
            self.growth_from_s = self.lowest[1]

    def _follow_flat(self, t_s: float, turn: float, slope: float) -> None:
        if slope < self.limits.min_slope:
            self.flat_since = self.flat_since or (t_s, turn)
            self.losing_since = None
            self.flat_turn_rad = max(self.flat_turn_rad, turn - self.flat_since[1])
        elif self.state in _NOT_LOSING:
            if slope >= RETURN_FACTOR * self.limits.min_slope:
                self.losing_since = self.losing_since or (t_s, turn)
            else:
                self.losing_since = None
        else:
            self.flat_since = None
            self.losing_since = self.losing_since or (t_s, turn)

    def _decide(self, t_s: float, turn: float, angle: float) -> float | None:
        if self._over_dead_band(self.losing_since, t_s, turn):
            self.flat_since = None
            return self._enter(Motion.FALLING, self.losing_since[0]) if self.losing_since else None
        if self.flat_since is None:
            return None
        grown = angle - self.lowest[0] > self.limits.grow_rad and t_s - self.flat_since[0] >= self.limits.dead_s
        if self.state is not Motion.GROWING and grown:  # growth beyond its own limit needs no turn to be sure
            self._note_stall(t_s, angle)
            return self._enter(Motion.GROWING, self.lowest[1])
        if not self._over_dead_band(self.flat_since, t_s, turn):
            return None
        if self.state not in _NOT_LOSING:
            self._note_stall(t_s, angle)
            return self._enter(Motion.STALLED, self.flat_since[0])
        return None

    def _over_dead_band(self, since: tuple[float, float] | None, t_s: float, turn: float) -> bool:
        if since is None:
            return False
        # the time part is compared with a grain of tolerance: steps of 5 ms do not add up exactly
        return t_s - since[0] >= self.limits.dead_s - 1e-9 and turn - since[1] >= self.limits.dead_turn_rad

    def _note_stall(self, t_s: float, angle: float) -> None:
        if self.state in _NOT_LOSING or self.flat_since is None:
            return
        self.stalls.append(StalledStretch(self.flat_since[0], self.flat_since[1], t_s, angle))

    def _enter(self, state: Motion, onset_s: float) -> float | None:
        if state is self.state:
            return None
        self.state = state
        return onset_s
