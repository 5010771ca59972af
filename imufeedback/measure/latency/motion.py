"""A golfer who stalls about twice a second, and packets as a radio with connection events delivers them.

The pelvis turns to and fro while the trail thigh keeps its angle: every turn towards the target is a stall. Each turn
away goes a little further than the one before, so that the live judgement begins anew.
"""

from __future__ import annotations

import math
from collections.abc import Iterator
from dataclasses import dataclass, replace

import numpy as np

from imufeedback.packets import Layout
from imufeedback.records import Fit, Hand, Level, Segment, SegmentFit
from imufeedback.synth.golfer import Golfer
from imufeedback.synth.legs import address
from imufeedback.synth.movements import MovementWindows
from imufeedback.synth.plan import STANDING, Channel, MotionPlan, Piece, Posture, hold, move
from imufeedback.synth.player import Pace, make_player
from imufeedback.synth.script import Script, Truth
from imufeedback.synth.sensors import WORN, default_places
from imufeedback.synth.stream import SensorStream, sensor_streams

INTERVAL_S = 0.015
"""Connection interval: what a telephone or laptop usually grants."""
SENSOR_WORK_S = 0.001
"""Last sample of a packet to the sensor's radio having it. Chosen."""
AIR_S = 0.001
"""One packet of 56 bytes at 1 Mbit/s and the answer to it, with the host's stack. Chosen."""
STAND_S, BEND_S, ADDRESS_S, RETURN_S = 1.5, 0.9, 1.4, 0.7
FIRST_TURN_RAD, MORE_TURN_RAD, STROKE_RAD = np.radians([18.0, 1.6, 12.0])
"""Turn away at the first stroke, how much further at each one after it, and how far each comes back."""
STROKES = 26
STROKE_S = (0.24, 0.34)
"""Least and greatest length of half a stroke; drawn for each, so that it falls anywhere in packets and buffers."""


def stall_script(seconds: float, seed: int) -> Script:
    """Rounds of standing, address and strokes until `seconds` are full."""
    player = make_player(Hand.RIGHT, Pace.SLOW, seed)
    rng = np.random.default_rng([seed, 11])
    posture = address(player.shape)
    pieces: list[Piece] = [hold(0.0, STAND_S, STANDING)]
    while pieces[-1].end_s < seconds:
        pieces += _round(pieces[-1].end_s, posture, rng, seconds)
    plan = MotionPlan(pieces)
    nothing = MovementWindows((0.0, 0.0), {})
    return Script(Hand.RIGHT, Pace.SLOW, seed, Golfer(player, plan), (), Truth(()), nothing, STAND_S, plan.duration_s)


def _round(t_s: float, address: Posture, rng: np.random.Generator, until_s: float) -> list[Piece]:
    """Bend to the address, wait, strokes, and back to standing."""
    pieces = [move(t_s, t_s + BEND_S, STANDING, address)]
    pieces.append(hold(pieces[-1].end_s, pieces[-1].end_s + ADDRESS_S, address))
    here: Posture = address
    for k in range(STROKES):
        away = -(FIRST_TURN_RAD + k * MORE_TURN_RAD)
        for turn in (away, away + STROKE_RAD):
            there = {**address, Channel.TURN: float(turn)}
            pieces.append(move(pieces[-1].end_s, pieces[-1].end_s + float(rng.uniform(*STROKE_S)), here, there))
            here = there
        if pieces[-1].end_s > until_s:
            return pieces
    pieces.append(move(pieces[-1].end_s, pieces[-1].end_s + RETURN_S, here, address))
    pieces.append(move(pieces[-1].end_s, pieces[-1].end_s + RETURN_S, address, STANDING))
    pieces.append(hold(pieces[-1].end_s, pieces[-1].end_s + STAND_S, STANDING))
    return pieces


def known_fit(seed: int) -> Fit:
    """How the sensors are worn, as a perfect calibration would find it."""
    places = default_places(seed, WORN)
    fits = tuple(SegmentFit(one, places[one].q_sb, Level.GOOD, math.radians(1.0), None) for one in WORN)
    return Fit("known", fits)


@dataclass(frozen=True, slots=True)
class RadioStream:
    """What one sensor sends, delivered at the connection events of its own link; iterate as over `SensorStream`."""

    samples: SensorStream
    anchor_s: float
    """First connection event."""

    @property
    def serial(self) -> str:
        return self.samples.serial

    @property
    def segment(self) -> Segment:
        return self.samples.segment

    def __iter__(self) -> Iterator[tuple[int, bytes]]:
        for ready_ns, payload in self.samples:
            ready_s = ready_ns * 1e-9 + SENSOR_WORK_S
            events = math.ceil((ready_s - self.anchor_s) / INTERVAL_S)
            yield round((self.anchor_s + events * INTERVAL_S + AIR_S) * 1e9), payload


def radio_streams(script: Script, layout: Layout) -> list[RadioStream]:
    """The worn sensors; connection events of the links are spread, as one adapter spreads them."""
    anchors = np.random.default_rng([script.seed, 12]).uniform(0.0, INTERVAL_S) + INTERVAL_S / len(WORN) * np.arange(3)
    streams = sensor_streams(script, layout, WORN)
    return [
        RadioStream(replace(one, delay_s=(0.0, 0.0)), float(anchor))
        for one, anchor in zip(streams, anchors, strict=True)
    ]
