"""What a command does to a running session."""

from __future__ import annotations

from imufeedback.commands import (
    AcceptSwap,
    AnyCommand,
    Asked,
    BeginBlock,
    Discard,
    Estimate,
    GoToStep,
    Malformed,
    Mute,
    Pain,
    SetLimit,
    SetZero,
    SwitchSound,
    parse,
)
from imufeedback.conduct.body_sensors import Worn
from imufeedback.conduct.hearing import Hearing
from imufeedback.conduct.reps import Reps
from imufeedback.cues.feedback import Feedback
from imufeedback.errors import ImuFeedbackError
from imufeedback.records import BlockBegun, Command, Event, LimitChanged, Notice, SelfEstimate
from imufeedback.rules import STOP_WORDS, Layers, RuleSet, Whose, parse_recorded

UNUSABLE = (LookupError, TypeError, ValueError, ArithmeticError, AttributeError, RecursionError)
"""What values that make no sense end in, wherever they come to be used."""


class Orders:
    """Obeys commands."""

    def __init__(self, worn: Worn, reps: Reps, hearing: Hearing) -> None:
        self._worn = worn
        self._reps = reps
        self._hearing = hearing

    def feed(self, t_s: float, command: Command) -> list[Event]:
        """Never raises: what makes no sense, such as a sound of a newer version or a second ``begin``, changes nothing
        and is told; a verb of a newer version does nothing."""
        asked = Malformed("begin", "a session begins once") if command.verb == "begin" else parse(command)
        if asked is None:
            return []
        if not isinstance(asked, Malformed):
            try:
                return self._obeyed(t_s, asked)
            except (ImuFeedbackError, *UNUSABLE) as error:
                asked = Malformed(command.verb, str(error) or type(error).__name__)
        return [Notice(t_s, str(asked))]

    def judge_by(self, base: RuleSet, layers: Layers) -> list[str]:
        """From the next rep on, with the limits that lie over it; lines for those that do not fit."""
        lines = self._reps.judge_by(base, layers)
        self._hearing.use(self._reps.rule_set)
        return lines

    def _limit(self, t_s: float, asked: SetLimit) -> list[Event]:
        reps = self._reps
        layers = reps.layers.with_today(reps.base, asked.key, asked.value)
        self.judge_by(reps.base, layers)
        changed = layers.today[asked.key]
        whose = Whose.PLAYER if asked.keep else Whose.TODAY
        return [LimitChanged(t_s, asked.key, changed.value, changed.usual, str(whose))]

    def _obeyed(self, t_s: float, asked: AnyCommand) -> list[Event]:
        match asked:
            case SwitchSound(sound=sound, on=on):
                self._hearing.cueing.set_enabled(sound, on)
            case Mute(on=on):
                self._hearing.cueing.set_muted(on)
            case SetLimit():
                return self._limit(t_s, asked)
            case Discard(rep=rep, on=on):
                return self._reps.discard(t_s, rep, on=on)
            case Estimate(rep=rep, answer=answer):
                return [SelfEstimate(t_s, rep, answer)]
            case GoToStep(number=number):
                return self._reps.go_to(t_s, number)
            case Pain():
                self._reps.stopped = True
                drill = self._reps.rule_set.drill
                return [Notice(t_s, f"Stopped. {drill.stop if drill else STOP_WORDS}")]
            case BeginBlock():
                return self._block(t_s, asked)
            case AcceptSwap():
                return self._worn.swap(t_s)
            case _:
                return [*self._worn.body.feed(Asked(t_s, asked))]
        return []

    def _block(self, t_s: float, asked: BeginBlock) -> list[Event]:
        said: list[str] = []
        if asked.rule_set:
            rule_set, unknown = parse_recorded(asked.rule_set, "drill of the block")
            said = [*unknown, *self.judge_by(rule_set, self._reps.layers)]
        reps = self._reps
        step = reps.begin(t_s, asked.role, told=not asked.estimate)
        drill = reps.rule_set.drill
        feedback = Feedback(asked.mode, asked.share, asked.estimate)
        self._hearing.cueing.begin_block(feedback, drill.cues if drill else ())
        if reps.own_way is reps.hip_turns:  # a hip turn counts from the stance that the player has taken
            self._worn.body.feed(Asked(t_s, SetZero()))
        begun = BlockBegun(t_s, asked.name, asked.role, reps.rule_set.name, asked.mode, asked.share, asked.estimate)
        return [begun, *step, *(Notice(t_s, text) for text in said)]
