"""The document of a session: what ``--json`` writes, verdict files keep, and report, library and review read.

One struct for each object of the JSON, its fields in the order in which they are written. ``report/SUMMARY.md`` is made
of the docstrings here. More fields may come, these stay: a reader passes over what it does not know, and what an older
file has not is the default. Times are session seconds, angles degrees; a name ends in its unit.
"""

from __future__ import annotations

import math
from typing import Annotated, TypeAlias

import msgspec
from msgspec import UNSET, Meta, UnsetType, field

from imufeedback.records import Hand, Json, Lack, Level, Mode, Role, Verdict

Count: TypeAlias = Annotated[int, Meta(ge=0, le=10**9)]
Number: TypeAlias = float | None
"""None (null): not known."""


class PlayerFacts(msgspec.Struct, frozen=True, kw_only=True):
    """What the judgement knows of the player."""

    hand: Hand = Hand.RIGHT
    """handedness: decides which leg trails"""


class SensorCounts(msgspec.Struct, frozen=True, kw_only=True):
    """What came from one sensor."""

    role: str
    """segment that carries it"""
    id: str = ""
    """serial number"""
    rate_hz: Number = None
    """measured"""
    samples: Count
    """samples that came"""
    lost: Count = 0
    """samples that did not come"""
    rejected: Count = 0
    """packets that could not be read"""
    duplicates: Count = 0
    """packets that came twice"""
    reordered: Count = 0
    """packets that came out of order"""
    saturated: Count
    """samples at the end of the sensor's range"""


class SegmentQuality(msgspec.Struct, frozen=True, kw_only=True):
    """How well one segment is fitted."""

    level: Level
    """how good it is"""
    sd_deg: Number
    """remaining axis error, one standard deviation"""
    reason: str | None = None
    """why it is not good, in words for the player"""


class FitQuality(msgspec.Struct, frozen=True, kw_only=True):
    """How well the sensors are calibrated to the body."""

    method: str = ""
    """how the calibration was made"""
    level: Level
    """the worst segment's"""
    segments: dict[str, SegmentQuality] = {}
    """by segment"""


class RuleFinding(msgspec.Struct, frozen=True, kw_only=True):
    """A rule that a rep did not meet, or may not have met."""

    rule: str
    """id of the rule"""
    t_s: Number
    """when; of a stall: its onset"""
    value: Number
    """what was measured"""
    limit: Number
    """what the rule allows"""
    unit: str = ""
    """of value, limit and sd"""
    verdict: Verdict
    """`unsure` when the limit lies inside the error bar"""
    sd: Number = None
    """one standard deviation of the value"""
    text: str = ""
    """what to do about it, from the rule"""
    short: str | None = None
    """the text in at most six words; null where the rule says none"""
    drill: str | None = None
    """name of the drill against it; null where the rule says none"""
    basis: str | None = None
    """what the limit rests on, where that is no measurement"""
    least: Number = None
    """what of the value is certain, where its error bar is not the same on both sides"""


class UnjudgedRule(msgspec.Struct, frozen=True, kw_only=True, gc=False):
    """A rule that could not be judged on a rep: neither a fault nor clean."""

    rule: str
    """id of the rule"""
    lack: str = Lack.LIMIT
    """`no limit yet`: no baseline and no target to compare with; `not checked`: what it looks at was not measured"""
    text: str = ""
    """what is missing and what to do"""

    def __post_init__(self) -> None:
        if self.lack == "not judged yet":  # what it was called before version 0.2
            msgspec.structs.force_setattr(self, "lack", Lack.LIMIT)


class RepCue(msgspec.Struct, frozen=True, kw_only=True):
    """A sound between the rep's start and the next one's."""

    sound: str
    """name of the sound"""
    t_s: float
    """of the sample that decided it"""
    played: bool = False
    """whether it was handed to a sound device in time"""
    heard_s: Number | UnsetType = UNSET
    """`demo` at the pace of life only: when it was heard, as far as the output's delay is known; null: it was not"""


class JudgedRep(msgspec.Struct, frozen=True, kw_only=True):
    """One repetition, judged or void."""

    index: Count
    """number from 0"""
    kind: str
    """`swing`, or the movement of the drill"""
    start_s: float
    """when the address is left"""
    end_s: float
    """the finish"""
    void: str | None = None
    """why the rep has no result: an angle that its rules need was not known all along. Such a rep counts nowhere: it
    has no features and no findings, at most the positions `address_s`, `top_s` and `finish_s`, and it is in no total,
    tally or average"""
    positions: dict[str, float] = {}
    """by name: `address_s` (the turn leaves its still pose), `top_s` (turn reverses), `hand_top_s` (the lead forearm
    reverses; only with its sensor), `downswing_s` (a degree of turn is made), `level_s` (side tilt crosses zero in the
    downswing), `knees_cross_s` (only with shanks), `impact_s`, `finish_s`; one that was not found is missing. Hip-turn
    drills: `begin_s`, `furthest_s`, `finish_s`"""
    estimated: list[str] = []
    """names of positions that are estimates: `impact_s` unless the forearm's sensor felt it"""
    features: dict[str, float]
    """see below"""
    tones: bool | None = None
    """whether the rep was one with tones; null when that is not known"""
    discarded: bool = False
    """the coach took it out during the session: it counts nowhere"""
    estimate: str | None = None
    """what the player thought of it before seeing the result"""
    findings: list[RuleFinding]
    """rules that it did not meet, or may not have met"""
    unjudged: list[UnjudgedRule] = []
    """rules without a result on it: neither faults nor clean"""
    cues: list[RepCue]
    """sounds from its start to the next rep's"""

    marks: dict[str, float] | UnsetType = UNSET
    """what `positions` was called before version 0.2; read, never written"""

    def __post_init__(self) -> None:
        if self.marks is not UNSET:
            msgspec.structs.force_setattr(self, "positions", self.positions or self.marks)
            msgspec.structs.force_setattr(self, "marks", UNSET)

    def found(self, verdict: Verdict) -> list[RuleFinding]:
        """Findings with this verdict."""
        return [finding for finding in self.findings if finding.verdict is verdict]


class SessionTotals(msgspec.Struct, frozen=True, kw_only=True):
    """Counts over the whole session."""

    reps: Count = 0
    """those that count"""
    void: Count = 0
    """those that do not"""
    faults: Count = 0
    """findings with the verdict `fault`"""
    unsure: Count = 0
    """findings with the verdict `unsure`"""
    cues: Count = 0
    """sounds that were decided on"""
    cues_late: Count = 0
    """sounds that came too late: dropped, never played"""
    samples: Count = 0
    """of all sensors"""
    lost: Count = 0
    """samples that did not come"""
    rejected: Count = 0
    """packets that could not be read"""
    gaps: Count = 0
    """stretches without samples"""
    restarts: Count = 0
    """sensors that began again"""


class Tally(msgspec.Struct, frozen=True, kw_only=True):
    """Counts over some of the reps."""

    reps: Count = 0
    """how many, void ones left out"""
    clean: Count = 0
    """reps without a fault"""
    faults: dict[str, int] = {}
    """by rule, reps with a fault"""
    unsure: dict[str, int] = {}
    """by rule, reps in which it is unsure"""
    unjudged: dict[str, int] = {}
    """by rule, reps on which it could not be judged"""


class BlockTally(msgspec.Struct, frozen=True, kw_only=True, gc=False):
    """One block of the session, and a tally of its reps."""

    # gc=False: millions of empty ones are what the worst file can hold, and they make no cycles

    name: str | None = None
    """as the coach called it"""
    role: Role | None = None
    """what it is for"""
    drill: str | None = None
    """name of the rule set or drill"""
    mode: Mode | None = None
    """when the player is told about a rep"""
    share: Number = None
    """part of the reps that have tones"""
    begin_s: Number = None
    """when it began"""
    reps: Count | None = None
    """how many, void ones left out"""
    clean: Count | None = None
    """reps without a fault"""
    faults: dict[str, int] | None = None
    """by rule, reps with a fault"""
    unsure: dict[str, int] | None = None
    """by rule, reps in which it is unsure"""
    unjudged: dict[str, int] | None = None
    """by rule, reps on which it could not be judged"""


class ChangedLimit(msgspec.Struct, frozen=True, kw_only=True):
    """A limit that was not the rule set's own."""

    key: str
    """id of the rule, or `live.` and a key of its live judgement"""
    value: float
    """what counted, last of all"""
    usual: Number = None
    """the rule set's own"""
    whose: str = "today"
    """`player`: the player's own, kept from session to session; `today`: of this session only"""


class TonesTally(msgspec.Struct, frozen=True, kw_only=True):
    """The reps with tones and those without, apart: what is learnt shows without."""

    with_tones: Tally = field(default_factory=Tally, name="with")
    """reps in which tones could be heard"""
    without_tones: Tally = field(default_factory=Tally, name="without")
    """reps in which none could"""


class TrueFlaw(msgspec.Struct, frozen=True, kw_only=True):
    """One flaw that the invented golfer really had."""

    flaw: str
    """its name, as `demo --flaw` has it"""
    size: Number
    """0 is none, 1 gross"""
    onset: Number
    """where a stall begins, as a part of the turn from top to impact; null for the others"""
    lasts_deg: Number
    """turn over which a stall lasts; null for the others, and when it lasts to the finish"""


class TrueRep(msgspec.Struct, frozen=True, kw_only=True):
    """What the invented golfer really did in a rep."""

    address_s: Number
    """as the position of that name"""
    top_s: Number
    """as the position of that name"""
    level_s: Number
    """as the position of that name"""
    impact_s: Number
    """as the position of that name"""
    finish_s: Number
    """as the position of that name"""
    stall_s: Number
    """first instant after the top at which less than 0.11 degrees are lost per degree of turn; null without a stall"""
    flaw: str
    """the flaw that was asked for"""
    amiss: list[TrueFlaw] = []
    """all that was wrong, the cause first"""


class DemoTruth(msgspec.Struct, frozen=True, kw_only=True):
    """What the invented golfer really did."""

    reps: list[TrueRep]
    """in their order"""


class Document(msgspec.Struct, frozen=True, kw_only=True):
    """The summary of a session."""

    version: str
    """of imufeedback that wrote it"""
    player: PlayerFacts = field(default_factory=PlayerFacts)
    """who was measured"""
    sensors: list[SensorCounts] = []
    """what came from each sensor"""
    calibration: FitQuality | None = None
    """how the sensors sit; null without one"""
    reps: list[JudgedRep]
    """in their order"""
    totals: SessionTotals | None = None
    """counts over the whole session"""
    blocks: list[BlockTally] | None = None
    """blocks of the session, in their order"""
    limits: list[ChangedLimit] = []
    """limits that are not the rule set's own, in the order in which they were set"""
    tones: TonesTally = field(default_factory=TonesTally)
    """reps with and without tones"""
    notices: list[str] = []
    """lines that a person should know"""
    errors: list[str] = []
    """failures of the tool itself"""
    recording: str | None = None
    """path of the recording"""
    notes: list[str] | UnsetType = UNSET
    """`analyse` only: what is damaged or missing in the file"""
    truth: DemoTruth | UnsetType = UNSET
    """`demo` only: what the golfer really did"""

    fit: FitQuality | UnsetType | None = UNSET
    """what `calibration` was called before version 0.2; read, never written"""

    def __post_init__(self) -> None:
        if self.fit is not UNSET:
            msgspec.structs.force_setattr(self, "calibration", self.calibration or self.fit)
            msgspec.structs.force_setattr(self, "fit", UNSET)

    @property
    def file_notes(self) -> list[str]:
        """What is damaged or missing in the file; empty also where nobody looked."""
        return [] if self.notes is UNSET else self.notes


def to_json(struct: msgspec.Struct) -> dict[str, Json]:
    """A struct as JSON values, keys in the order of its fields; what does not apply is left out.

    JSON has no infinities and no NaN: they become null; features and positions that are not known are left out.
    """
    values: dict[str, Json] = msgspec.to_builtins(struct)
    return {name: _known(name, value) for name, value in values.items()}


def _known(name: str, value: Json) -> Json:
    if isinstance(value, dict):
        known = {key: _known(key, each) for key, each in value.items()}
        if name in ("features", "positions"):
            return {key: each for key, each in known.items() if each is not None}
        return known
    if isinstance(value, list):
        return [_known(name, each) for each in value]
    return None if isinstance(value, float) and not math.isfinite(value) else value
