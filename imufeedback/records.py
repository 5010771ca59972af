"""Every record that crosses a stage border, and the two unions built from them.

The pipeline's whole world is an ordered list of `Item`: what the radio delivered, what the link did, what a person
asked for, and the passing of time. What comes out is a list of `Event`.

Conventions, everywhere in the package:

* arrays are float64 unless said otherwise, time runs along the first axis, and they are read-only;
* SI and radians; degrees only where a name ends in ``_deg``;
* ``t_s`` is session time: seconds since the `Command` ``begin``;
* quaternions are scalar first (w, x, y, z), unit, Hamilton; ``q_ab`` takes coordinates in b to coordinates in a;
  frames are e (earth, z up, one of its own heading for every sensor), s (sensor), b (body segment);
* segment axes follow ISB (Wu et al., J Biomech 2002;35:543-8): x anterior, y up, z right, for both legs.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field, fields, is_dataclass
from enum import IntFlag, StrEnum
from typing import TYPE_CHECKING, TypeAlias, TypeVar, overload

import numpy as np
import numpy.typing as npt

Floats: TypeAlias = npt.NDArray[np.float64]
Ints: TypeAlias = npt.NDArray[np.int64]
Bools: TypeAlias = npt.NDArray[np.bool_]
if TYPE_CHECKING:
    Json: TypeAlias = "bool | int | float | str | Sequence[Json] | Mapping[str, Json] | None"
    """What a JSON document can hold."""
else:
    Json = object  # msgspec reads no type that holds itself, and bytes that it reads hold nothing else
Scalar = TypeVar("Scalar", bound=np.generic)


# ── words ────────────────────────────────────────────────────────────────────────────────────────────────────────


class Side(StrEnum):
    """Left or right side of the body."""

    LEFT = "left"
    RIGHT = "right"

    @property
    def other(self) -> Side:
        return Side.LEFT if self is Side.RIGHT else Side.RIGHT


class Hand(StrEnum):
    """The player's handedness: decides which side trails, and which way is "towards the target"."""

    RIGHT = "right"
    LEFT = "left"

    @property
    def trail(self) -> Side:
        """Side away from the target: right for a right-handed player."""
        return Side.RIGHT if self is Hand.RIGHT else Side.LEFT

    @property
    def lead(self) -> Side:
        return self.trail.other


class Segment(StrEnum):
    """Body segments that can carry a sensor."""

    PELVIS = "pelvis"
    LEFT_THIGH = "left_thigh"
    RIGHT_THIGH = "right_thigh"
    LEFT_SHANK = "left_shank"
    RIGHT_SHANK = "right_shank"
    LEAD_FOREARM = "lead_forearm"

    @staticmethod
    def thigh(side: Side) -> Segment:
        return Segment.LEFT_THIGH if side is Side.LEFT else Segment.RIGHT_THIGH

    @staticmethod
    def shank(side: Side) -> Segment:
        return Segment.LEFT_SHANK if side is Side.LEFT else Segment.RIGHT_SHANK


class Flag(IntFlag):
    """What is known to be wrong with one sample; several may hold at once."""

    OK = 0
    SATURATED = 1
    """An axis stood at the end of its range."""
    GAP_BEFORE = 2
    """Samples are missing between this one and the one before."""
    RESTART = 4
    """First sample after the sensor's counter started again."""
    INVALID = 8
    """Not finite, or all zero: carries the time only."""
    FILLED = 16
    """Not measured: put in by a later stage to bridge a short gap."""


class LinkState(StrEnum):
    """State of the radio link to one sensor."""

    SEARCHING = "searching"
    CONNECTING = "connecting"
    CONNECTED = "connected"
    STREAMING = "streaming"
    SILENT = "silent"
    LOST = "lost"
    CLOSED = "closed"


class Motion(StrEnum):
    """Live state of the trail thigh angle. All but IDLE occur in the downswing only."""

    IDLE = "idle"
    FALLING = "falling"
    STALLED = "stalled"
    GROWING = "growing"


class Phase(StrEnum):
    """Phases of a rep, in their order; WAITING lies between reps."""

    WAITING = "waiting"
    ADDRESS = "address"
    BACKSWING = "backswing"
    DOWNSWING = "downswing"
    THROUGH_SWING = "through-swing"
    FINISH = "finish"


class Level(StrEnum):
    """How good a calibration is, in words a player understands."""

    GOOD = "good"
    FAIR = "fair"
    POOR = "poor"


class Verdict(StrEnum):
    """Outcome of a rule that was not simply met."""

    FAULT = "fault"
    UNSURE = "unsure"
    """The limit lies inside the error bar of the value."""


class Lack(StrEnum):
    """Why a rule says nothing about a rep that counts: neither a fault nor clean."""

    LIMIT = "no limit yet"
    """No baseline and no target to compare with."""
    SENSOR = "not checked"
    """What it looks at was not measured."""


# ── inputs: what the journal keeps ───────────────────────────────────────────────────────────────────────────────


@dataclass(frozen=True, slots=True)
class RawPacket:
    """One notification, as it came."""

    sensor: str
    host_ns: int
    """Monotonic host clock, read first thing in the radio's callback."""
    payload: bytes


@dataclass(frozen=True, slots=True)
class LinkNote:
    """What the link to one sensor did, and facts read from the sensor (battery_percent, mtu, serial, firmware …)."""

    sensor: str
    host_ns: int
    state: LinkState
    detail: str = ""
    facts: Mapping[str, Json] = field(default_factory=dict)


@dataclass(frozen=True, slots=True)
class Command:
    """Something a person or a script asked for. Verbs are listed in `imufeedback.commands`."""

    host_ns: int
    verb: str
    args: Mapping[str, Json] = field(default_factory=dict)


@dataclass(frozen=True, slots=True)
class Tick:
    """Nothing but the passing of time, so that waits can end while the radio is silent."""

    host_ns: int


Item: TypeAlias = RawPacket | LinkNote | Command | Tick


# ── between the stages ───────────────────────────────────────────────────────────────────────────────────────────


@dataclass(frozen=True, slots=True)
class DeviceBlock:
    """Samples of one packet in the sensor's own time."""

    sensor: str
    host_ns: int
    """Arrival of the packet."""
    tick: Ints
    """(N,) device counter of each sample, modulo the counter's modulus."""
    gyr_rad_s: Floats
    """(N, 3) sensor frame."""
    acc_m_s2: Floats
    """(N, 3) specific force, sensor frame; +g upwards at rest."""
    flags: npt.NDArray[np.uint8]
    """(N,) see `Flag`."""
    rounds: int = 0
    """Times that the counter went all round, unseen, before the first sample: packet numbers tell."""


@dataclass(frozen=True, slots=True)
class ImuBlock:
    """The same in session time. A type of its own, so that unaligned data cannot reach the fusion."""

    sensor: str
    t_s: Floats
    """(N,) strictly rising within one sensor."""
    dt_s: Floats
    """(N,) step since the sample before by the sensor's own clock, corrected for its rate; the integration step."""
    gyr_rad_s: Floats
    acc_m_s2: Floats
    flags: npt.NDArray[np.uint8]


@dataclass(frozen=True, slots=True)
class DeviceRun:
    """Packets of one sensor that follow each other without loss, disorder, restart or flag, as columns: K packets of N
    samples. It tells the same as its `DeviceBlock`s."""

    sensor: str
    host_ns: Sequence[int]
    """(K,) arrivals."""
    tick: Ints
    """(K, N)"""
    gyr_rad_s: Floats
    """(K, N, 3)"""
    acc_m_s2: Floats
    """(K, N, 3)"""

    def __len__(self) -> int:
        return len(self.host_ns)

    def block(self, k: int) -> DeviceBlock:
        """Packet k by itself."""
        flags = frozen(np.zeros(self.tick.shape[1], np.uint8), np.uint8)
        return DeviceBlock(self.sensor, self.host_ns[k], self.tick[k], self.gyr_rad_s[k], self.acc_m_s2[k], flags)

    def rest(self, k: int) -> DeviceRun:
        """From packet k on."""
        return DeviceRun(self.sensor, self.host_ns[k:], self.tick[k:], self.gyr_rad_s[k:], self.acc_m_s2[k:])


@dataclass(frozen=True, slots=True)
class ImuRun:
    """Packets of equal length of one sensor that follow each other without a flag and a gap, as one block."""

    block: ImuBlock
    samples: int
    """In each packet."""

    def __len__(self) -> int:
        return len(self.block.t_s) // self.samples

    def packets(self) -> list[ImuBlock]:
        """Each packet by itself."""
        return [self._part(slice(at, at + self.samples)) for at in range(0, len(self.block.t_s), self.samples)]

    @property
    def last(self) -> ImuBlock:
        """The last packet by itself."""
        return self._part(slice(-self.samples, None))

    def _part(self, at: slice) -> ImuBlock:
        b = self.block
        return ImuBlock(b.sensor, b.t_s[at], b.dt_s[at], b.gyr_rad_s[at], b.acc_m_s2[at], b.flags[at])


@dataclass(frozen=True, slots=True)
class OrientationBlock:
    """Orientation of one sensor, with what the filter knows about it."""

    sensor: str
    t_s: Floats
    q_es: Floats
    """(N, 4) sensor to earth; the earth's heading is this sensor's own."""
    gyr_rad_s: Floats
    """(N, 3) bias removed, sensor frame."""
    acc_m_s2: Floats
    """(N, 3) as measured, sensor frame."""
    bias_rad_s: Floats
    """(N, 3) gyroscope bias that was removed."""
    rest: Bools
    """(N,)"""
    inclination_sd_rad: Floats
    """(N,) one standard deviation of the tilt error."""
    heading_sd_rad: Floats
    """(N,) growth of the heading error since the filter began, one standard deviation."""
    flags: npt.NDArray[np.uint8]


@dataclass(frozen=True, slots=True)
class AlignedBlock:
    """All worn sensors on one time grid; S segments in the order of `segments`."""

    segments: tuple[Segment, ...]
    t_s: Floats
    """(N,) multiples of the grid step."""
    q_es: Floats
    """(N, S, 4)"""
    gyr_rad_s: Floats
    """(N, S, 3) bias removed, sensor frame."""
    acc_m_s2: Floats
    """(N, S, 3)"""
    rest: Bools
    """(N, S)"""
    inclination_sd_rad: Floats
    """(N, S)"""
    heading_sd_rad: Floats
    """(N, S)"""
    ok: Bools
    """(N, S) false where the sensor had nothing fresh enough."""
    saturated: Bools
    """(N, S)"""


@dataclass(frozen=True, slots=True)
class SegmentMotion:
    """What one sensor feels, on the common grid; for a segment that takes part in no joint here."""

    segment: Segment
    t_s: Floats
    gyr_rad_s: Floats
    """(N, 3) bias removed, sensor frame."""
    acc_m_s2: Floats
    """(N, 3) sensor frame."""
    ok: Bools
    """(N,)"""


# ── angles ───────────────────────────────────────────────────────────────────────────────────────────────────────


@dataclass(frozen=True, slots=True)
class JointAngles:
    """Joint coordinate system angles of one joint (Grood & Suntay, J Biomech Eng 1983;105:136-44; ISB 2002)."""

    joint: str
    """``hip`` or ``knee``."""
    side: Side
    t_s: Floats
    angle_rad: Floats
    """(N, 3) flexion, adduction, internal rotation; positive as named on both sides; NaN where not known."""
    rate_rad_s: Floats
    """(N, 3) their rates, from the relative gyroscope signal."""
    sd_rad: Floats
    """(N, 3) one standard deviation of the angles."""
    ok: Bools
    """(N, 3) of each angle: false where it is not known, or not well enough to be shown. A rotation can be unknown
    while the flexion, which gravity shows, is known."""


@dataclass(frozen=True, slots=True)
class PelvisAngles:
    """Pelvis in the order rotation, obliquity, tilt (Baker, Gait Posture 2001;13:1-6)."""

    t_s: Floats
    angle_rad: Floats
    """(N, 3) turn (+ towards the target), side tilt (+ lead side up), forward tilt (+ tipped forward)."""
    rate_rad_s: Floats
    sd_rad: Floats
    ok: Bools
    """(N, 3) of each angle, as in `JointAngles`."""


@dataclass(frozen=True, slots=True)
class Angles:
    """One stretch of the body's angles on one time base."""

    t_s: Floats
    pelvis: PelvisAngles
    joints: tuple[JointAngles, ...]

    def joint(self, joint: str, side: Side) -> JointAngles:
        """The angles of one joint. Raises KeyError when it carries no sensors."""
        for one in self.joints:
            if one.joint == joint and one.side is side:
                return one
        raise KeyError(f"no {side} {joint} in these angles")

    def part(self, rows: slice) -> Angles:
        """Some of the instants."""
        if rows == slice(0, len(self.t_s)):
            return self
        one, t_s = self.pelvis, self.t_s[rows]
        pelvis = PelvisAngles(t_s, one.angle_rad[rows], one.rate_rad_s[rows], one.sd_rad[rows], one.ok[rows])
        joints = (
            JointAngles(j.joint, j.side, t_s, j.angle_rad[rows], j.rate_rad_s[rows], j.sd_rad[rows], j.ok[rows])
            for j in self.joints
        )
        return Angles(t_s, pelvis, tuple(joints))


@dataclass(frozen=True, slots=True)
class SegmentFit:
    """How one sensor sits on its segment."""

    segment: Segment
    q_sb: Floats
    """(4,) segment to sensor: takes coordinates in the segment to coordinates in the sensor."""
    level: Level
    sd_rad: float
    """One standard deviation of the remaining axis error, about any axis."""
    reason: str | None
    """Why the level is not good, in words for the player."""
    acc_bias_m_s2: Floats = field(default_factory=lambda: frozen(np.zeros(3)))
    """(3,) zero-g offset of the accelerometer, sensor frame, as far as the calibration movements show it."""
    sd_axes_rad: Floats | None = None
    """(3,) the same about the segment's x (leaning sideways), y (facing) and z (bending); None: `sd_rad` about each."""


@dataclass(frozen=True, slots=True)
class Fit:
    """A calibration of all worn sensors."""

    method: str
    segments: tuple[SegmentFit, ...]

    @property
    def level(self) -> Level:
        """The worst level of any segment."""
        order = (Level.GOOD, Level.FAIR, Level.POOR)
        return max((one.level for one in self.segments), key=order.index)


# ── events: what comes out ───────────────────────────────────────────────────────────────────────────────────────


@dataclass(frozen=True, slots=True)
class Link:
    """The link of a sensor changed, or told a fact."""

    sensor: str
    t_s: float
    state: LinkState
    detail: str
    facts: Mapping[str, Json]


@dataclass(frozen=True, slots=True)
class Gap:
    """Samples of one sensor that never came."""

    sensor: str
    t_s: float
    """Time of the first sample after the gap."""
    duration_s: float
    lost: int


@dataclass(frozen=True, slots=True)
class PacketRejected:
    """A packet, or a part of it, that could not be used."""

    sensor: str
    t_s: float
    reason: str


@dataclass(frozen=True, slots=True)
class ClockFitted:
    """A sensor's clock against the session's."""

    sensor: str
    t_s: float
    rate_hz: float
    """Measured sample rate."""
    skew_ppm: float
    spread_s: float
    """Median delay above the lower envelope: how much the arrivals scatter."""


@dataclass(frozen=True, slots=True)
class ClockRestarted:
    """A sensor's counter began again (power cycle, reset): its filter starts anew."""

    sensor: str
    t_s: float


@dataclass(frozen=True, slots=True)
class Fitted:
    """A calibration is in use."""

    t_s: float
    fit: Fit
    stored: bool = False
    """It was made earlier and put back, not just performed."""


@dataclass(frozen=True, slots=True)
class FitRefused:
    t_s: float
    reason: str


@dataclass(frozen=True, slots=True)
class FitStep:
    """One step of the calibration movements was seen."""

    t_s: float
    step: str
    """``standing``, ``right knee``, ``left knee``, ``bows``, ``standing again``."""
    number: int
    """From 1 …"""
    of: int
    """… to this."""
    say: str
    """What comes next, in words for the player."""


@dataclass(frozen=True, slots=True)
class SwapOffered:
    """The calibration movements say that sensors are elsewhere than the session believes; nothing is changed until
    somebody says so."""

    t_s: float
    roles: Mapping[Segment, Segment]
    """What each sensor, named by its stored place, was seen to be on; only those that differ."""
    only_sides: bool
    """It may also be that the player began with the other knee: then the roles can be kept."""
    text: str


@dataclass(frozen=True, slots=True)
class RolesChanged:
    """Sensors have other places from now on; what was recorded stays as it was."""

    t_s: float
    roles: Mapping[str, Segment]
    """By sensor id, all of them."""


@dataclass(frozen=True, slots=True)
class Slipped:
    """A strap has moved: the angles of its segment are less sure until the next calibration."""

    t_s: float
    segment: Segment
    angle_rad: float
    text: str


@dataclass(frozen=True, slots=True)
class Zeroed:
    """Pelvis turn and hip rotations now count from here."""

    t_s: float
    reason: str
    """``address``, ``stillness``, ``asked``, or ``undone``: as it was before the last one."""


@dataclass(frozen=True, slots=True)
class StateChanged:
    """Live state of the trail thigh angle."""

    t_s: float
    """When it was decided."""
    onset_s: float
    """When it began, as seen from the decision."""
    state: Motion
    thigh_angle_rad: float
    turn_rad: float


@dataclass(frozen=True, slots=True)
class PhaseChanged:
    t_s: float
    phase: Phase


@dataclass(frozen=True, slots=True)
class Rep:
    """One swing or one repetition of a drill."""

    index: int
    kind: str
    start_s: float
    end_s: float
    positions: Mapping[str, float]
    """Seconds, by name: address_s, top_s, level_s, impact_s, finish_s; one that was not found is missing."""
    estimated: tuple[str, ...]
    """Names of the positions that are estimates, not observations."""
    features: Mapping[str, float]
    """Names end in their unit."""
    void: str = ""
    """Why it is not judged and not counted: an angle that it needs was not known. Empty when it is good for judging."""


@dataclass(frozen=True, slots=True)
class Finding:
    """A rule that was not met, or may not have been."""

    rule: str
    rep: int
    t_s: float
    value: float
    limit: float
    unit: str
    verdict: Verdict
    text: str
    """What to do about it, in words for the player; from the rule set."""
    cue: str = ""
    """Sound that stands for it after the rep; from the rule set."""
    sd: float = 0.0
    """One standard deviation of the value, in its unit."""
    short: str | None = None
    """The text in at most six words; from the rule set."""
    drill: str | None = None
    """Name of the drill against it; from the rule set."""
    basis: str | None = None
    """What the limit rests on, where that is no measurement; from the rule set."""
    least: float | None = None
    """What of the value is certain, where its error bar is not the same on both sides."""


@dataclass(frozen=True, slots=True)
class Unjudged:
    """A rule that could not be judged on a rep: neither a fault nor clean."""

    rule: str
    rep: int
    lack: Lack
    text: str
    """What is missing and what to do, in words for the player."""


@dataclass(frozen=True, slots=True)
class Cue:
    """A sound to play now, or never."""

    sound: str
    t_s: float
    """Time of the sample that decided it."""
    expires_s: float
    """Later than this it is dropped, never played late."""
    priority: int
    rep: int | None = None


class Role(StrEnum):
    """What a block of a session is for."""

    BASELINE = "baseline"
    DRILL = "drill"
    SWINGS = "swings"
    TEST = "test"
    """Without tones: what is left of it when nobody tells."""


class Mode(StrEnum):
    """When a player is told about a rep; `imufeedback.cues.feedback` has what each is for, with its source."""

    NONE = "none"
    CONCURRENT = "concurrent"
    BANDWIDTH = "bandwidth"
    AFTER_REP = "after-rep"
    FADED = "faded"


@dataclass(frozen=True, slots=True)
class BlockBegun:
    """A block of the session: the reps from here on belong to it."""

    t_s: float
    name: str
    role: Role
    drill: str
    """Name of the rule set or drill in use."""
    mode: Mode
    share: float
    """Part of the reps that have tones."""
    estimate: bool = False
    """The result of a rep waits for what the player thinks of it."""


@dataclass(frozen=True, slots=True)
class StepTold:
    """Where the player is in the steps of a drill: as its block begins, after a rep of it, and when the coach chose."""

    t_s: float
    number: int
    """Of the step, from 0; `of` when all are done."""
    of: int
    name: str
    good: int
    """Reps of it that counted so far …"""
    reps: int
    """… of so many."""
    text: str
    """What to do now, in words for the player."""
    still: str
    """What must not move."""
    rep: int | None = None
    """The rep that it follows."""
    why: str = ""
    """Why that rep did not count; empty when it did."""
    over: str = ""
    """``done`` or ``stopped``; empty while it goes on."""


@dataclass(frozen=True, slots=True)
class LimitChanged:
    """A limit that is not the rule set's own counts from here on."""

    t_s: float
    key: str
    """A rule's id, or ``live.`` and a key."""
    value: float
    usual: float
    """The rule set's own."""
    whose: str
    """``player``: the player's own; ``today``: changed in this session, and for it."""


@dataclass(frozen=True, slots=True)
class Discarded:
    """The coach took a rep out, or put it back in."""

    t_s: float
    rep: int
    on: bool


@dataclass(frozen=True, slots=True)
class Tapped:
    """A player who stands still has tapped a thigh's sensor twice."""

    t_s: float
    segment: Segment


@dataclass(frozen=True, slots=True)
class SelfEstimate:
    """What the player thought of a rep before the result was told."""

    t_s: float
    rep: int
    answer: str
    """``good``, ``fault`` or ``do not know``; ``no answer`` when none came in time."""


@dataclass(frozen=True, slots=True)
class Tone:
    """The held sound: from now on this pitch. It dies out by itself when it expires without being renewed."""

    t_s: float
    """Time of the sample that decided it."""
    expires_s: float
    semitones: int | None
    """Above A4; None: silence."""
    reached: bool = False
    """It ends because the target angle is reached."""


@dataclass(frozen=True, slots=True)
class SensorTotals:
    """Counts of one sensor over the whole session; comes once, at the end."""

    sensor: str
    segment: Segment
    rate_hz: float
    samples: int
    lost: int
    rejected: int
    duplicates: int
    reordered: int
    saturated: int


@dataclass(frozen=True, slots=True)
class Doubted:
    """Something contradicts itself: what rests on it is not shown, or with a wider bar, until it agrees again."""

    t_s: float
    about: str
    """Segment, or side and joint: ``left thigh``, ``right hip``."""
    kind: str
    """``axes``, ``units``, ``joint``, ``clock``."""
    text: str
    """What contradicts what, and what to do, in one line."""


@dataclass(frozen=True, slots=True)
class Fault:
    """Something in the tool itself failed. Shown, never swallowed."""

    t_s: float
    where: str
    what: str


@dataclass(frozen=True, slots=True)
class Notice:
    """Something a person should know, in one line."""

    t_s: float
    text: str


Event: TypeAlias = (
    Link
    | Gap
    | PacketRejected
    | ClockFitted
    | ClockRestarted
    | Fitted
    | FitStep
    | FitRefused
    | SwapOffered
    | RolesChanged
    | Slipped
    | Zeroed
    | Angles
    | StateChanged
    | PhaseChanged
    | Rep
    | Finding
    | Unjudged
    | Cue
    | Tone
    | BlockBegun
    | LimitChanged
    | StepTold
    | Discarded
    | Tapped
    | SelfEstimate
    | SensorTotals
    | Doubted
    | Fault
    | Notice
)


# ── helpers over records ─────────────────────────────────────────────────────────────────────────────────────────


@overload
def frozen(array: npt.ArrayLike) -> Floats: ...
@overload
def frozen(array: npt.ArrayLike, dtype: type[Scalar]) -> npt.NDArray[Scalar]: ...
def frozen(array: npt.ArrayLike, dtype: type[np.generic] = np.float64) -> npt.NDArray[np.generic]:
    """The array as a read-only one of `dtype`; copies only when it must.

    A view is frozen, not its base: callers hand over arrays that they made themselves.
    """
    out = np.asarray(array, dtype=dtype)
    if out.flags.writeable:
        out = out.view()
        out.setflags(write=False)  # faster than through `flags`, and this is called for every array of every record
    return out


def joined(blocks: Sequence[ImuBlock]) -> ImuBlock:
    """Blocks of one sensor that follow each other, as one."""
    if len(blocks) == 1:
        return blocks[0]
    columns = zip(*((b.t_s, b.dt_s, b.gyr_rad_s, b.acc_m_s2, b.flags) for b in blocks), strict=True)
    t_s, dt_s, gyr, acc, flags = (np.concatenate(column) for column in columns)
    for array in (t_s, dt_s, gyr, acc, flags):
        array.flags.writeable = False
    return ImuBlock(blocks[0].sensor, t_s, dt_s, gyr, acc, flags)


UNITS = ("deg_s", "deg", "s", "share", "ratio")
"""Endings of feature names."""


def sd_name(feature: str) -> str:
    """Name of the feature that holds another one's standard deviation: ``a_deg`` has ``a_sd_deg``."""
    for unit in UNITS:
        if feature.endswith(f"_{unit}"):
            return f"{feature.removesuffix(f'_{unit}')}_sd_{unit}"
    return f"{feature}_sd"


def same(a: object, b: object) -> bool:
    """Exact equality of records, arrays and containers; NaN equals NaN."""
    if isinstance(a, np.ndarray) or isinstance(b, np.ndarray):
        if not (isinstance(a, np.ndarray) and isinstance(b, np.ndarray)):
            return False
        if a.dtype != b.dtype or a.shape != b.shape:
            return False
        return bool(np.array_equal(a, b, equal_nan=a.dtype.kind == "f"))
    if is_dataclass(a) and not isinstance(a, type):
        return type(a) is type(b) and all(same(getattr(a, f.name), getattr(b, f.name)) for f in fields(a))
    if isinstance(a, Mapping) and isinstance(b, Mapping):
        return a.keys() == b.keys() and all(same(a[k], b[k]) for k in a)
    if isinstance(a, list | tuple) and isinstance(b, list | tuple):
        return len(a) == len(b) and all(same(x, y) for x, y in zip(a, b, strict=True))
    if isinstance(a, float) and isinstance(b, float):
        return a == b or (a != a and b != b)
    return a == b
