"""A session's events to its summary: what ``--json`` writes, and what the tables on screen show.

The fields are documented in ``report/SUMMARY.md``; more may be added, these stay.
"""

from __future__ import annotations

import math
from collections.abc import Callable, Mapping
from dataclasses import dataclass, field
from typing import Any

from imufeedback import __version__
from imufeedback.cues.feedback import Feedback
from imufeedback.records import (
    BlockBegun,
    ClockRestarted,
    Cue,
    Doubted,
    Event,
    Fault,
    Finding,
    Fit,
    FitRefused,
    Fitted,
    Gap,
    Hand,
    Notice,
    PacketRejected,
    Rep,
    RolesChanged,
    SelfEstimate,
    SensorTotals,
    Slipped,
    SwapOffered,
    Verdict,
)


@dataclass
class Summary:
    """Collects events; call it with lists of them. Memory grows with reps and findings, not with samples."""

    hand: Hand
    fit: Fit | None = None
    reps: list[Rep] = field(default_factory=list)
    findings: list[Finding] = field(default_factory=list)
    cues: list[Cue] = field(default_factory=list)
    totals: list[SensorTotals] = field(default_factory=list)
    faults: list[Fault] = field(default_factory=list)
    notices: list[str] = field(default_factory=list)
    blocks: list[tuple[BlockBegun, int]] = field(default_factory=list)
    """Every block, and the number of reps before it, void ones among them."""
    estimates: dict[int, str] = field(default_factory=dict)
    """What the player thought of a rep, by its index."""
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
            case Cue():
                self.cues.append(event)
            case BlockBegun():
                self.blocks.append((event, len(self.reps)))
            case SelfEstimate(rep=rep, answer=answer):
                self.estimates[rep] = answer
            case Fitted(fit=fit):
                self.fit = fit
            case FitRefused(reason=reason):
                self.notices.append(f"fitting refused: {reason}")
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
        return [one for one in self.reps if not one.void]

    def findings_of(self, rep: Rep) -> list[Finding]:
        return [one for one in self.findings if one.rep == rep.index]

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

    def to_dict(
        self, *, played: Callable[[Cue], bool] = lambda cue: False, late: int = 0, recording: str | None = None
    ) -> dict[str, Any]:
        """The summary as JSON values; `played` tells whether a cue was really handed to a sound device in time."""
        ends = [*(one.start_s for one in self.reps[1:]), math.inf][: len(self.reps)]
        return {
            "version": __version__,
            "player": {"hand": str(self.hand)},
            "sensors": [_sensor(one) for one in self.totals],
            "fit": None if self.fit is None else _fit(self.fit),
            "reps": [self._rep(rep, end, played) for rep, end in zip(self.reps, ends, strict=True)],
            "totals": {
                "reps": len(self.counted),
                "void": len(self.reps) - len(self.counted),
                "faults": sum(one.verdict is Verdict.FAULT for one in self.findings),
                "unsure": sum(one.verdict is Verdict.UNSURE for one in self.findings),
                "cues": len(self.cues),
                "cues_late": late,
                "samples": sum(one.samples for one in self.totals),
                "lost": sum(one.lost for one in self.totals),
                "rejected": sum(one.rejected for one in self.totals),
                "gaps": self.gaps,
                "restarts": self.restarts,
            },
            "blocks": [self._block(number) for number in range(len(self.blocks))],
            "tones": {name: self._tally(reps) for name, reps in self._by_tones().items()},
            "notices": list(self.notices),
            "errors": [f"{one.where}: {one.what}" for one in self.faults],
            "recording": recording,
        }

    def _by_tones(self) -> dict[str, list[Rep]]:
        return {
            "with": [one for one in self.counted if self.had_tones(one)],
            "without": [one for one in self.counted if not self.had_tones(one)],
        }

    def _tally(self, reps: list[Rep]) -> dict[str, Any]:
        """How many reps, and by rule how many of them had a fault or are unsure."""
        faults: dict[str, int] = {}
        unsure: dict[str, int] = {}
        clean = 0
        for rep in reps:
            found = self.findings_of(rep)
            clean += all(one.verdict is not Verdict.FAULT for one in found)
            for one in found:
                counts = faults if one.verdict is Verdict.FAULT else unsure
                counts[one.rule] = counts.get(one.rule, 0) + 1
        return {"reps": len(reps), "clean": clean, "faults": faults, "unsure": unsure}

    def _block(self, number: int) -> dict[str, Any]:
        block, first = self.blocks[number]
        last = self.blocks[number + 1][1] if number + 1 < len(self.blocks) else len(self.reps)
        return {
            "name": block.name,
            "role": str(block.role),
            "drill": block.drill,
            "mode": str(block.mode),
            "share": block.share,
            "begin_s": block.t_s,
            **self._tally([one for one in self.reps[first:last] if not one.void]),
        }

    def _rep(self, rep: Rep, until_s: float, played: Callable[[Cue], bool]) -> dict[str, Any]:
        return {
            "index": rep.index,
            "kind": rep.kind,
            "start_s": rep.start_s,
            "end_s": rep.end_s,
            "void": rep.void or None,
            "marks": dict(rep.marks),
            "estimated": list(rep.estimated),
            "features": dict(rep.features),
            "tones": self.had_tones(rep),
            "estimate": self.estimates.get(rep.index),
            "findings": [
                {
                    "rule": one.rule,
                    "t_s": one.t_s,
                    "value": one.value,
                    "limit": one.limit,
                    "unit": one.unit,
                    "verdict": str(one.verdict),
                    "sd": one.sd,
                    "text": one.text,
                    "short": one.short,
                    "drill": one.drill,
                }
                for one in self.findings_of(rep)
            ],
            "cues": [{"sound": one.sound, "t_s": one.t_s, "played": played(one)} for one in self.cues_of(rep, until_s)],
        }


def _sensor(one: SensorTotals) -> Mapping[str, Any]:
    return {
        "role": str(one.segment),
        "id": one.sensor,
        "rate_hz": one.rate_hz,
        "samples": one.samples,
        "lost": one.lost,
        "rejected": one.rejected,
        "duplicates": one.duplicates,
        "reordered": one.reordered,
        "saturated": one.saturated,
    }


def _fit(fit: Fit) -> Mapping[str, Any]:
    return {
        "method": fit.method,
        "level": str(fit.level),
        "segments": {
            str(one.segment): {"level": str(one.level), "sd_deg": math.degrees(one.sd_rad), "reason": one.reason}
            for one in fit.segments
        },
    }
