"""From angles to reps with their numbers and findings, by the rule set in use."""

from __future__ import annotations

import math
from dataclasses import replace
from typing import NamedTuple

from imufeedback.conduct.limits import live_limits, rep_limits
from imufeedback.motion import HipTurnStage, MotionStage, Restarted, of_swing
from imufeedback.records import (
    Angles,
    ClockRestarted,
    Event,
    Hand,
    Phase,
    PhaseChanged,
    Rep,
    Role,
    Segment,
    SegmentMotion,
    Zeroed,
)
from imufeedback.rules import Layers, Rules, RuleSet
from imufeedback.settings import EarlierBaseline
from imufeedback.stage import Memory


class _State(NamedTuple):
    base: RuleSet
    layers: Layers
    motion: Memory
    hip_turns: Memory
    rules: Memory
    number: int
    stopped: bool


class Reps:
    """The stages of the motion, one of which makes reps: that of the swing, or that of the hip turn."""

    def __init__(
        self, hand: Hand, base: RuleSet, layers: Layers | None = None, earlier: EarlierBaseline | None = None
    ) -> None:
        """`base` is the rule set as it was written, `layers` the limits that lie over it, `earlier` the player's
        baseline of sessions before."""
        self.base, self.layers = base, layers or Layers()
        rule_set, _ = self.layers.over(base)
        self.motion = MotionStage(
            hand=hand,
            live=live_limits(rule_set),
            rep=rep_limits(rule_set),
            kind=rule_set.name,
            needed=of_swing(rule_set.features),
        )
        self.hip_turns = HipTurnStage(hand=hand)
        self.rules = Rules(rule_set, earlier)
        self.stopped = False
        """Something hurts: nothing is judged."""
        self._count = 0
        self.use(rule_set)

    def judge_by(self, base: RuleSet, layers: Layers) -> list[str]:
        """From the next rep on; lines for limits that do not fit this rule set."""
        self.base, self.layers = base, layers
        rule_set, lines = layers.over(base)
        self.use(rule_set)
        return lines

    def use(self, rule_set: RuleSet) -> None:
        """From the next rep on, by these limits."""
        self.rule_set = rule_set
        self.rules.use(rule_set)
        self.motion.use(
            live=live_limits(rule_set),
            rep=rep_limits(rule_set),
            kind=rule_set.name,
            needed=of_swing(rule_set.features),
        )
        drill = rule_set.drill
        self.by_hip = drill is not None and drill.detect == "hip-turn"
        """Reps are hip turns over a standing leg."""
        if drill is not None and self.by_hip:
            self.hip_turns.use(side=drill.side, least_rad=math.radians(drill.min_turn_deg), kind=rule_set.name)

    def begin(self, role: Role) -> None:
        """A block begins; the reps of a baseline are what later ones are compared with."""
        self.stopped = False
        self.rules.begin(role)

    def feed(self, record: Angles | Zeroed | SegmentMotion) -> list[Event]:
        if self.stopped:
            return []
        if self.by_hip:
            turns = self.hip_turns.feed(record) if isinstance(record, Angles | Zeroed) else []
            return [one for rep in turns for one in (*self._ruled(rep), PhaseChanged(rep.end_s, Phase.WAITING))]
        out: list[Event] = []
        for made in self.motion.feed(record):
            out += self._ruled(made) if isinstance(made, Rep) else [made]
        return out

    def restarted(self, segment: Segment, event: ClockRestarted) -> None:
        """What is known of a segment begins anew: a rep in which that happens is void."""
        if segment is not Segment.LEAD_FOREARM:  # no joint hangs on it
            told = Restarted(event.t_s, segment)
            self.motion.feed(told)
            self.hip_turns.feed(told)

    def _ruled(self, rep: Rep) -> list[Event]:
        """The rep with its number in the session, and its findings."""
        rep = replace(rep, index=self._count)
        self._count += 1
        return [rep, *self.rules.feed(rep)]

    @property
    def state(self) -> _State:
        return _State(
            *(self.base, self.layers),
            *(self.motion.state, self.hip_turns.state, self.rules.state),
            *(self._count, self.stopped),
        )

    @state.setter
    def state(self, value: _State) -> None:
        self.judge_by(value.base, value.layers)
        self.motion.state, self.hip_turns.state, self.rules.state = value.motion, value.hip_turns, value.rules
        self._count, self.stopped = value.number, value.stopped
