"""The one door through which events of the engine thread reach the windows.

`EventFeed.push` may be called from any thread. Angles go into a ring that the window's timer reads; everything else
waits in a bounded queue, and one queued signal tells the Qt thread to fetch it. Nothing here waits for drawing: the
lock is held only while arrays are copied.
"""

from __future__ import annotations

import threading
import time
from collections import deque
from collections.abc import Callable, Iterable
from dataclasses import dataclass, field

import numpy as np
from PySide6.QtCore import QObject, Signal

from imufeedback.app.ring import Ring
from imufeedback.figure import pose as posed
from imufeedback.figure.pose import KNEE_OF, POSE, hip_of
from imufeedback.records import Angles, Event, Floats, Hand

TRAIL_THIGH, TRAIL_ROTATION, LEAD_ROTATION, TURN, SIDE_TILT, TRAIL_KNEE, LEAD_KNEE = range(7)
"""Columns of the traces; their standard deviations follow in the same order."""
TRACES = 7

QUEUE_LIMIT = 4096
"""Rare events that may wait for a window that does not answer; older ones are dropped from the display and counted."""
RING_ROWS = 8192
"""40 s at 200 Hz: the longest rep is still there when it is over."""


@dataclass(frozen=True, slots=True)
class Snapshot:
    """What the window draws in one frame."""

    now_s: float
    """Session time of this instant: time of the newest sample plus the time since it came."""
    age_s: float
    """Since the newest sample came; infinite before the first."""
    t_s: Floats
    """(N,)"""
    angle_deg: Floats
    """(N, 7) in the order of the columns: trail thigh angle, internal rotation of trail and lead hip, pelvis turn and
    side tilt, flexion of trail and lead knee; NaN where not known."""
    sd_deg: Floats
    """(N, 7)"""
    finished: bool = False
    """No more samples will come; `now_s` stands still."""
    pose_deg: Floats = field(default_factory=lambda: np.empty((0, len(POSE))))
    """(N, 11) what a picture of the body is drawn from (`imufeedback.figure.pose.POSE`); NaN where not known."""


class EventFeed(QObject):
    """Takes events from any thread, hands them to the Qt thread.

    `clock` gives seconds, monotonic. Display only: nothing measured depends on it.
    """

    woken = Signal()
    """Emitted from the pushing thread when the queue is no longer empty; connect it queued."""

    def __init__(self, hand: Hand, *, clock: Callable[[], float] = time.monotonic) -> None:
        super().__init__()
        self.hand = hand
        self._clock = clock
        self._lock = threading.Lock()
        self._ring = Ring(RING_ROWS, 2 * TRACES + len(POSE))
        self._came_at = -np.inf
        self._queue: deque[Event] = deque(maxlen=QUEUE_LIMIT)
        self._asleep = True
        self._finished = False
        self.peak = 0
        """Most events that ever waited at once."""
        self.dropped = 0
        """Events that fell out of the queue unseen; the recording has them."""

    @property
    def waiting(self) -> int:
        """Events in the queue now."""
        return len(self._queue)

    @property
    def newest_s(self) -> float:
        """Session time of the newest sample; 0 before the first."""
        return self._ring.newest_s or 0.0

    @property
    def finished(self) -> bool:
        return self._finished

    def push(self, events: Iterable[Event]) -> None:
        """Hand over events, in order. Any thread; never waits for the window."""
        with self._lock:
            for event in events:
                if isinstance(event, Angles):
                    self._ring.append(event.t_s, trace_rows(event, self.hand))
                    self._came_at = self._clock()
                else:
                    self._enqueue(event)
            wake = self._asleep and bool(self._queue)
            self._asleep = self._asleep and not wake
        if wake:
            self.woken.emit()

    def finish(self) -> None:
        """No more events will come, and the recording is closed. Any thread."""
        with self._lock:
            self._finished = True
            wake, self._asleep = self._asleep, False
        if wake:
            self.woken.emit()

    def take(self) -> list[Event]:
        """Everything that waits, oldest first. Qt thread."""
        with self._lock:
            events = list(self._queue)
            self._queue.clear()
            self._asleep = True
        return events

    def snapshot(self, span_s: float) -> Snapshot:
        """The last `span_s` seconds of the traces, as copies. Qt thread."""
        with self._lock:
            age_s = self._clock() - self._came_at
            # After the end the traces stand still, so that the last seconds can be looked at.
            runs_on_s = 0.0 if self._finished or not np.isfinite(age_s) else age_s
            now_s = self.newest_s + runs_on_s
            t_s, rows = self._ring.since(now_s - span_s)
        angles, sds, pose = np.split(rows, (TRACES, 2 * TRACES), axis=1)
        return Snapshot(now_s, age_s, t_s, angles, sds, self._finished, pose)

    def _enqueue(self, event: Event) -> None:
        self.dropped += len(self._queue) == QUEUE_LIMIT
        self._queue.append(event)
        self.peak = max(self.peak, len(self._queue))


def trace_rows(angles: Angles, hand: Hand) -> Floats:
    """``(N, 25)`` degrees: the traces, their standard deviations, and the pose; NaN where not known or not ok."""
    found = np.full((len(angles.t_s), 2, len(POSE)), np.nan)  # the angles, then their standard deviations
    pelvis = angles.pelvis
    parts = [(pelvis.ok, pelvis.angle_rad, pelvis.sd_rad, slice(3))]
    for one in angles.joints:
        first, count = (hip_of(one.side), 3) if one.joint == "hip" else (KNEE_OF[one.side], 1)
        parts.append((one.ok, one.angle_rad, one.sd_rad, slice(first, first + count)))
    for ok, angle, sd, place in parts:
        count = place.stop - (place.start or 0)
        for kind, values in enumerate((angle, sd)):
            np.copyto(found[:, kind, place], values[:, :count], where=ok[:, :count])
    trail, lead = hand.trail, hand.lead
    rotations = hip_of(trail) + 2, hip_of(lead) + 2
    drawn = [hip_of(trail), *rotations, posed.TURN, posed.SIDE_TILT, KNEE_OF[trail], KNEE_OF[lead]]
    found = np.degrees(found)
    return np.concatenate((found[:, 0, drawn], found[:, 1, drawn], found[:, 0]), axis=1)
