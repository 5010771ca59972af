"""A session's events to its summary: what the tables on screen show, and the document that ``--json`` writes."""

from __future__ import annotations

import math
from collections.abc import Callable
from dataclasses import dataclass, field
from typing import TypedDict

from msgspec import UNSET

from imufeedback import __version__
from imufeedback.cues.feedback import Feedback
from imufeedback.document import (
    BlockTally,
    ChangedLimit,
    Document,
    FitQuality,
    JudgedRep,
    PlayerFacts,
    RepCue,
    RuleFinding,
    SegmentQuality,
    SensorCounts,
    SessionTotals,
    Tally,
    TonesTally,
    UnjudgedRule,
)
from imufeedback.records import (
    BlockBegun,
    ClockRestarted,
    Cue,
    Discarded,
    Doubted,
    Event,
    Fault,
    Finding,
    Fit,
    FitRefused,
    Fitted,
    Gap,
    Hand,
    LimitChanged,
    Notice,
    PacketRejected,
    Rep,
    RolesChanged,
    SelfEstimate,
    SensorTotals,
    Slipped,
    SwapOffered,
    Unjudged,
    Verdict,
)


@dataclass
class Summary:
    """Collects events; call it with lists of them. Memory grows with reps and findings, not with samples."""

    hand: Hand
    fit: Fit | None = None
    reps: list[Rep] = field(default_factory=list)
    findings: list[Finding] = field(default_factory=list)
    unjudged: list[Unjudged] = field(default_factory=list)
    cues: list[Cue] = field(default_factory=list)
    totals: list[SensorTotals] = field(default_factory=list)
    faults: list[Fault] = field(default_factory=list)
    notices: list[str] = field(default_factory=list)
    blocks: list[tuple[BlockBegun, int]] = field(default_factory=list)
    """Every block, and the number of reps before it, void ones among them."""
    estimates: dict[int, str] = field(default_factory=dict)
    """What the player thought of a rep, by its index."""
    discarded: set[int] = field(default_factory=set)
    """Reps that the coach took out."""
    limits: dict[str, LimitChanged] = field(default_factory=dict)
    """Those that are not the rule set's own, by key."""
    gaps: int = 0
    rejected: int = 0
    restarts: int = 0
    reject_reason: str | None = None
    """The first reason for which a packet was rejected."""

    def __call__(self, events: list[Event]) -> None:
        for event in events:
            self._take(event)

    def _take(self, event: Event) -> None:
        match event:
            case Rep():
                self.reps.append(event)
            case Finding():
                self.findings.append(event)
            case Unjudged():
                self.unjudged.append(event)
            case Cue():
                self.cues.append(event)
            case BlockBegun():
                self.blocks.append((event, len(self.reps)))
            case Discarded(rep=rep, on=on):
                (self.discarded.add if on else self.discarded.discard)(rep)
            case LimitChanged(key=key):
                self.limits[key] = event
            case SelfEstimate(rep=rep, answer=answer):
                if answer != "no answer":
                    self.estimates[rep] = answer
            case Fitted(fit=fit):
                self.fit = fit
            case FitRefused(reason=reason):
                self.notices.append(f"calibration refused: {reason}")
            case SwapOffered(text=text) | Slipped(text=text):
                self.notices.append(text)
            case RolesChanged(roles=roles):
                where = ", ".join(f"{sensor} on the {str(one).replace('_', ' ')}" for sensor, one in roles.items())
                self.notices.append(f"sensors changed places: {where}")
            case SensorTotals():
                self.totals.append(event)
            case Fault():
                self.faults.append(event)
            case Notice(text=text) | Doubted(text=text):
                self.notices.append(text)
            case Gap():
                self.gaps += 1
            case ClockRestarted():
                self.restarts += 1
            case PacketRejected(reason=reason):
                self.rejected += 1
                self.reject_reason = self.reject_reason or reason
            case _:
                pass  # angles, links, states and phases are for the live display

    @property
    def counted(self) -> list[Rep]:
        """The reps that are judged and count."""
        return [one for one in self.reps if self._counts_one(one)]

    def _counts_one(self, rep: Rep) -> bool:
        return not rep.void and rep.index not in self.discarded

    def findings_of(self, rep: Rep) -> list[Finding]:
        return [one for one in self.findings if one.rep == rep.index]

    def unjudged_of(self, rep: Rep) -> list[Unjudged]:
        return [one for one in self.unjudged if one.rep == rep.index]

    def cues_of(self, rep: Rep, next_start_s: float = math.inf) -> list[Cue]:
        """Cues from the rep's start to the next one's."""
        return [one for one in self.cues if rep.start_s <= one.t_s < next_start_s]

    def block_of(self, rep: Rep) -> tuple[BlockBegun, int] | None:
        """The block that a rep belongs to, and how many of its reps count before it; None before the first block."""
        at = self.reps.index(rep)
        here = [one for one in self.blocks if one[1] <= at]
        return (here[-1][0], sum(not one.void for one in self.reps[here[-1][1] : at])) if here else None

    def had_tones(self, rep: Rep) -> bool:
        """Whether the player could hear a tone about this rep: outside of blocks every rep can."""
        block = self.block_of(rep)
        return block is None or Feedback(block[0].mode, block[0].share).has_tones(block[1])

    def document(
        self,
        *,
        played: Callable[[Cue], bool] = lambda cue: False,
        heard_s: Callable[[Cue], float | None] | None = None,
        late: int = 0,
        recording: str | None = None,
    ) -> Document:
        """The summary as a document.

        `played` tells whether a cue was really handed to a sound device in time, `heard_s` when it was heard.
        """
        ends = [*(rep.start_s for rep in self.reps[1:]), math.inf][: len(self.reps)]

        def sounded(cue: Cue) -> RepCue:
            heard = UNSET if heard_s is None else heard_s(cue)
            return RepCue(sound=cue.sound, t_s=float(cue.t_s), played=played(cue), heard_s=heard)

        return Document(
            version=__version__,
            player=PlayerFacts(hand=self.hand),
            sensors=[_sensor(totals) for totals in self.totals],
            calibration=None if self.fit is None else _fit(self.fit),
            reps=[
                self._rep(rep, [sounded(cue) for cue in self.cues_of(rep, end_s)])
                for rep, end_s in zip(self.reps, ends, strict=True)
            ],
            totals=self._session_totals(late),
            blocks=[self._block(number) for number in range(len(self.blocks))],
            limits=[
                ChangedLimit(key=one.key, value=one.value, usual=one.usual, whose=one.whose)
                for one in self.limits.values()
            ],
            tones=TonesTally(
                with_tones=Tally(**self._counts([rep for rep in self.counted if self.had_tones(rep)])),
                without_tones=Tally(**self._counts([rep for rep in self.counted if not self.had_tones(rep)])),
            ),
            notices=list(self.notices),
            errors=[f"{fault.where}: {fault.what}" for fault in self.faults],
            recording=recording,
        )

    def _session_totals(self, late: int) -> SessionTotals:
        found = [finding for finding in self.findings if finding.rep not in self.discarded]
        return SessionTotals(
            reps=len(self.counted),
            void=sum(bool(rep.void) for rep in self.reps),
            faults=sum(finding.verdict is Verdict.FAULT for finding in found),
            unsure=sum(finding.verdict is Verdict.UNSURE for finding in found),
            cues=len(self.cues),
            cues_late=late,
            samples=sum(sensor.samples for sensor in self.totals),
            lost=sum(sensor.lost for sensor in self.totals),
            rejected=sum(sensor.rejected for sensor in self.totals),
            gaps=self.gaps,
            restarts=self.restarts,
        )

    def _counts(self, reps: list[Rep]) -> _Counts:
        """How many reps, and by rule how many of them had a fault or are unsure."""
        faults: dict[str, int] = {}
        unsure: dict[str, int] = {}
        unjudged: dict[str, int] = {}
        clean = 0
        for rep in reps:
            findings = self.findings_of(rep)
            clean += all(finding.verdict is not Verdict.FAULT for finding in findings)
            for finding in findings:
                counts = faults if finding.verdict is Verdict.FAULT else unsure
                counts[finding.rule] = counts.get(finding.rule, 0) + 1
            for one in self.unjudged_of(rep):
                unjudged[one.rule] = unjudged.get(one.rule, 0) + 1
        return _Counts(reps=len(reps), clean=clean, faults=faults, unsure=unsure, unjudged=unjudged)

    def _block(self, number: int) -> BlockTally:
        block, first = self.blocks[number]
        last = self.blocks[number + 1][1] if number + 1 < len(self.blocks) else len(self.reps)
        return BlockTally(
            name=block.name,
            role=block.role,
            drill=block.drill,
            mode=block.mode,
            share=block.share,
            begin_s=float(block.t_s),
            **self._counts([rep for rep in self.reps[first:last] if self._counts_one(rep)]),
        )

    def _rep(self, rep: Rep, cues: list[RepCue]) -> JudgedRep:
        return JudgedRep(
            index=rep.index,
            kind=rep.kind,
            start_s=float(rep.start_s),
            end_s=float(rep.end_s),
            void=rep.void or None,
            positions={name: float(t_s) for name, t_s in rep.positions.items()},
            estimated=list(rep.estimated),
            features={name: float(value) for name, value in rep.features.items()},
            tones=self.had_tones(rep),
            discarded=rep.index in self.discarded,
            estimate=self.estimates.get(rep.index),
            findings=[_finding(finding) for finding in self.findings_of(rep)],
            unjudged=[UnjudgedRule(rule=one.rule, lack=one.lack, text=one.text) for one in self.unjudged_of(rep)],
            cues=cues,
        )


class _Counts(TypedDict):
    """Fields that a tally of reps and one of a block have."""

    reps: int
    clean: int
    faults: dict[str, int]
    unsure: dict[str, int]
    unjudged: dict[str, int]


def _finding(finding: Finding) -> RuleFinding:
    return RuleFinding(
        rule=finding.rule,
        t_s=float(finding.t_s),
        value=float(finding.value),
        limit=float(finding.limit),
        unit=finding.unit,
        verdict=finding.verdict,
        sd=float(finding.sd),
        text=finding.text,
        short=finding.short,
        drill=finding.drill,
        basis=finding.basis,
        least=finding.least,
    )


def _sensor(totals: SensorTotals) -> SensorCounts:
    return SensorCounts(
        role=str(totals.segment),
        id=totals.sensor,
        rate_hz=float(totals.rate_hz),
        samples=totals.samples,
        lost=totals.lost,
        rejected=totals.rejected,
        duplicates=totals.duplicates,
        reordered=totals.reordered,
        saturated=totals.saturated,
    )


def _fit(fit: Fit) -> FitQuality:
    return FitQuality(
        method=fit.method,
        level=fit.level,
        segments={
            str(one.segment): SegmentQuality(level=one.level, sd_deg=math.degrees(one.sd_rad), reason=one.reason)
            for one in fit.segments
        },
    )
