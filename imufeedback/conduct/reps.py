"""From angles to reps with their numbers and findings, by the rule set in use."""

from __future__ import annotations

import math
from dataclasses import replace
from typing import NamedTuple

from imufeedback.conduct.limits import hold_limits, live_limits, rep_limits
from imufeedback.motion import HipTurnStage, HoldStage, MotionStage, Restarted, of_swing
from imufeedback.motion.stance import Stance
from imufeedback.records import (
    Angles,
    ClockRestarted,
    Discarded,
    Event,
    Hand,
    Phase,
    PhaseChanged,
    Rep,
    Role,
    Segment,
    SegmentMotion,
    StepTold,
    Zeroed,
)
from imufeedback.rules import Layers, Rules, RuleSet
from imufeedback.rules.steps import StepRep, Steps
from imufeedback.settings import EarlierBaseline
from imufeedback.stage import Memory


class _State(NamedTuple):
    base: RuleSet
    layers: Layers
    motion: Memory
    hip_turns: Memory
    holds: Memory
    rules: Memory
    steps: Memory
    stance: Memory
    number: int
    stopped: bool


class Reps:
    """The stages of the motion, one of which makes reps: that of the swing, of the hip turn, or of the held position;
    and the steps of the drill."""

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
        self.hip_turns, self.holds = HipTurnStage(hand=hand), HoldStage(hand=hand)
        self.rules = Rules(rule_set, earlier)
        self._hand, self.stance = hand, Stance()
        self.stopped = False
        """Something hurts: nothing is judged."""
        self.steps: Steps | None = None
        """Of the drill of this block."""
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
        self.own_way: HipTurnStage | HoldStage | None = None
        """What finds the reps where they are no swings."""
        if drill is not None and drill.detect == "hip-turn":
            self.own_way = self.hip_turns
            self.hip_turns.use(side=drill.side, least_rad=math.radians(drill.min_turn_deg), kind=rule_set.name)
        elif drill is not None and drill.hold is not None:
            self.own_way = self.holds
            self.holds.use(hold_limits(drill.hold), kind=rule_set.name)

    def begin(self, t_s: float, role: Role, *, told: bool) -> list[Event]:
        """A block begins; the reps of a baseline are what later ones are compared with. A drill begins with its first
        step, unless results are not `told` at once: what is counted would be the result."""
        self.stopped = False
        self.rules.begin(role)
        drill = self.rule_set.drill
        self.steps = Steps(self.rule_set) if role is Role.DRILL and told and drill and drill.steps else None
        return [] if self.steps is None else [self.steps.begun(t_s)]

    def go_to(self, t_s: float, number: int) -> list[Event]:
        """Another step of the drill."""
        return [] if self.steps is None else [self.steps.go(t_s, number)]

    def discard(self, t_s: float, rep: int, *, on: bool) -> list[Event]:
        """A rep does not count, or does again: not in the baseline, and not in the steps."""
        self.rules.discard(rep, on=on)
        steps = [] if self.steps is None else self.steps.discard(t_s, rep, on=on)
        return [Discarded(t_s, rep, on), *steps]

    def feed(self, record: Angles | Zeroed | SegmentMotion) -> list[Event]:
        if isinstance(record, Zeroed):
            self.stance.zeroed(record)
        elif isinstance(record, Angles):
            self.stance.see(record)
        if self.stopped:
            return []
        if self.own_way is not None:
            found = self.own_way.feed(record) if isinstance(record, Angles | Zeroed) else []
            return [one for rep in found for one in (*self._ruled(rep), PhaseChanged(rep.end_s, Phase.WAITING))]
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
            self.holds.feed(told)

    def _ruled(self, rep: Rep) -> list[Event]:
        """The rep with its number in the session and how the player stood, its findings, and where the player is."""
        stood = {} if rep.void else self.stance.features(self._hand)
        rep = replace(rep, index=self._count, features={**rep.features, **stood})
        rep = self.rules.compared(rep)
        self._count += 1
        found = self.rules.feed(rep)
        steps: list[StepTold] = [] if self.steps is None else self.steps.feed(StepRep(rep, found))
        return [rep, *found, *steps]

    @property
    def state(self) -> _State:
        return _State(
            *(self.base, self.layers),
            *(self.motion.state, self.hip_turns.state, self.holds.state, self.rules.state),
            None if self.steps is None else self.steps.state,
            self.stance.state,
            *(self._count, self.stopped),
        )

    @state.setter
    def state(self, value: _State) -> None:
        self.judge_by(value.base, value.layers)
        self.motion.state, self.hip_turns.state, self.rules.state = value.motion, value.hip_turns, value.rules
        self.holds.state = value.holds
        self.stance.state = value.stance
        self.steps = None if value.steps is None else Steps(self.rule_set)
        if self.steps is not None:
            self.steps.state = value.steps
        self._count, self.stopped = value.number, value.stopped
