"""The synthetic golfer, without any sensor error, through the whole pipeline; and how far it is from its truth."""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass

import numpy as np

from imufeedback import resources
from imufeedback.begin import session_settings
from imufeedback.commands import Begin, FitWindows, recorded
from imufeedback.packets import parse_layout
from imufeedback.pipeline import run
from imufeedback.records import (
    Angles,
    Command,
    Event,
    Finding,
    Floats,
    Item,
    Motion,
    Rep,
    Segment,
    StateChanged,
)
from imufeedback.settings import Calibration, Player
from imufeedback.synth.errors import SensorModel
from imufeedback.synth.golfer import SEGMENTS
from imufeedback.synth.script import Script
from imufeedback.synth.stream import exact_items, serial_of
from imufeedback.synth.truth import RepTruth

LAYOUT = "lossless"
RATE_HZ = 200.0


def items(
    script: Script,
    segments: Sequence[Segment] = SEGMENTS,
    *,
    model: SensorModel | None = None,
    layout_text: str | None = None,
    limits: str = "",
    calibrations: Mapping[Segment, Calibration] | None = None,
) -> Iterator[Item]:
    """A session with perfect sensors, or with those of a model; the calibration is asked for after its movements.
    `calibrations` are what is kept of each sensor's own errors."""
    text = resources.text("layouts", LAYOUT) if layout_text is None else layout_text
    worn = [(serial_of(segment), segment) for segment in segments]
    player = Player(hand=script.hand)
    own = {serial_of(segment): one for segment, one in (calibrations or {}).items()}
    settings = session_settings(
        worn, LAYOUT, layout_text=text, player=player, grid_hz=RATE_HZ, limits=limits, calibrations=own
    )
    yield recorded(0, Begin.of(settings))
    yield from _with_fit(
        exact_items(script, parse_layout(text, LAYOUT), segments, rate_hz=RATE_HZ, model=model), script
    )


def fit_command(script: Script) -> Command:
    """What a coach asks for when the calibration movements are over."""
    return recorded(int(script.ready_s * 1e9), fit_windows(script))


def fit_windows(script: Script, from_s: float = 0.0) -> FitWindows:
    """Its windows, when the script begins at this time of the session."""

    def later(window: tuple[float, float]) -> tuple[float, float]:
        return window[0] + from_s, window[1] + from_s

    windows = script.fit_windows
    return FitWindows(later(windows.still), {segment: later(window) for segment, window in windows.flex.items()})


def _with_fit(packets: Iterable[Item], script: Script) -> Iterator[Item]:
    command: Command | None = fit_command(script)
    for packet in packets:
        if command is not None and packet.host_ns >= command.host_ns:
            yield command
            command = None
        yield packet


@dataclass(frozen=True, slots=True)
class Played:
    """A session and what came of it."""

    script: Script
    events: tuple[Event, ...]

    @property
    def reps(self) -> list[Rep]:
        return [one for one in self.events if isinstance(one, Rep)]

    def findings(self, rep: Rep) -> list[Finding]:
        return [one for one in self.events if isinstance(one, Finding) and one.rep == rep.index]


def play(script: Script, segments: Sequence[Segment] = SEGMENTS, limits: str = "") -> Played:
    """Run a session; `limits` are a coach's (TOML)."""
    return Played(script, tuple(run(items(script, segments, limits=limits))))


def angle_errors_deg(played: Played) -> dict[str, Floats]:
    """Measured minus true, every angle, over all instants from leaving an address to its finish."""
    parts: dict[str, list[Floats]] = {}
    for block in (one for one in played.events if isinstance(one, Angles)):
        inside = np.zeros(len(block.t_s), dtype=bool)
        for rep in played.script.truth.reps:
            inside |= (block.t_s >= rep.address_s) & (block.t_s <= rep.finish_s)
        if inside.any():
            for name, error in _errors_deg(played.script, block, inside).items():
                parts.setdefault(name, []).append(error)
    return {name: np.concatenate(part) for name, part in parts.items()}


def _errors_deg(script: Script, block: Angles, inside: np.ndarray) -> dict[str, Floats]:
    truth = script.golfer.pose(block.t_s[inside], ())
    out: dict[str, Floats] = {}
    for k, name in enumerate(("turn", "side tilt", "forward tilt")):
        out[f"pelvis {name}"] = block.pelvis.angle_rad[inside, k] - truth.pelvis_rad[:, k]
    for joint in block.joints:
        true = truth.hip_rad[joint.side] if joint.joint == "hip" else truth.knee_rad[joint.side]
        names = ("flexion", "adduction", "internal rotation") if joint.joint == "hip" else ("flexion",)
        for k, name in enumerate(names):
            out[f"{joint.side} {joint.joint} {name}"] = joint.angle_rad[inside, k] - true[:, k]
    return {name: np.degrees(error) for name, error in out.items()}


def rms(error: Floats) -> float:
    """NaN when any value is missing: an angle that is not there is not right."""
    return float(np.sqrt(np.mean(error**2)))


def first_stall(played: Played, truth: RepTruth) -> StateChanged | None:
    """The first live state of a rep that says the trail thigh angle has stalled or grows."""
    for event in played.events:
        if (
            isinstance(event, StateChanged)
            and event.state in (Motion.STALLED, Motion.GROWING)
            and truth.top_s - 0.5 <= event.t_s <= truth.finish_s
        ):
            return event
    return None


def onset_error_s(played: Played, truth: RepTruth) -> float:
    """Onset of the first stall minus the true one; NaN when there is none in either."""
    state = first_stall(played, truth)
    return float("nan") if state is None or truth.stall_s is None else state.onset_s - truth.stall_s
