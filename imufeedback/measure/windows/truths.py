"""States that are provoked, one after the other, and whether the headline names each within a second with what to do.

Each begins with a session that is well: three sensors stream, angles come, the result of a rep is held. What is wrong
then comes as the engine, the radio or the sound output would tell it, from another thread.
"""

from __future__ import annotations

import tempfile
import threading
import time
from collections.abc import Callable
from dataclasses import dataclass
from pathlib import Path
from typing import Any

from PySide6.QtWidgets import QApplication

from imufeedback import people, resources
from imufeedback.app import practice_choices
from imufeedback.app.bay import BayWindow
from imufeedback.app.feed import EventFeed
from imufeedback.app.live_window import LiveWindow
from imufeedback.app.run import make_application
from imufeedback.app.start.readiness import StartStep
from imufeedback.ble.advice import advice
from imufeedback.commands import AnyCommand
from imufeedback.cues.lateness import Arrival, Lateness
from imufeedback.measure.windows.frames import Feeder, put_away
from imufeedback.packets import parse_layout
from imufeedback.people import Person
from imufeedback.records import (
    ClockRestarted,
    Doubted,
    Event,
    Fault,
    FitRefused,
    Hand,
    Link,
    LinkState,
    Notice,
    Rep,
    Segment,
    Slipped,
    SwapOffered,
)

LIMIT_S = 1.0
ROLES = {"A1": Segment.PELVIS, "B2": Segment.LEFT_THIGH, "C3": Segment.RIGHT_THIGH}


class WindowScene:
    """One window with a session that is well, and how to change that."""

    def __init__(self, *, fresh: bool = False) -> None:
        """`fresh`: no sensor has told anything yet."""
        self.sound = ""
        self.asked: list[AnyCommand] = []
        self.window = BayWindow(
            EventFeed(Hand.RIGHT),
            on_stop=lambda: None,
            sound_trouble=lambda: self.sound,
            on_command=self.asked.append,
            roles=ROLES,
            rule_set=resources.text("rules", "swing"),
        )
        self.window.resize(1280, 720)
        self.window.show()
        self.window.acknowledge()
        if not fresh:
            self.push(*(Link(one, 0.0, LinkState.STREAMING, "", {"battery_percent": 80.0}) for one in ROLES))
            feeder = Feeder(self.window.feed)
            feeder.give(18.0)
            self.push(Rep(0, "swing", 3.0, 9.0, {}, (), {}))
            self.still = AngleStream(feeder)

    def push(self, *events: Event) -> None:
        self.window.feed.push(list(events))

    def link(self, state: LinkState, *sensors: str, **facts: float) -> None:
        self.push(*(Link(one, 19.0, state, "", facts) for one in sensors))

    def key(self, name: str) -> None:
        """As if it was pressed."""
        action = next(one for one in self.window.actions() if one.shortcut().toString() == name)
        action.trigger()

    def headline(self, *, at_range: bool) -> str:
        if at_range:
            return f"{self.window.range.state.accessibleName()} {self.window.range.next.text()}"
        return self.window.view.panel.state.accessibleName()

    def close(self) -> None:
        if hasattr(self, "still"):
            self.still.stop()
        put_away(self.window)


class AngleStream:
    """Angles that go on coming, from a thread of their own, as in life."""

    def __init__(self, feeder: Feeder) -> None:
        self._feeder, self._going = feeder, True
        self._thread = threading.Thread(target=self._run, daemon=True)
        self._thread.start()

    def _run(self) -> None:
        while self._going:
            self._feeder.give(0.02)
            time.sleep(0.02)

    def stop(self) -> None:
        self._going = False
        self._thread.join()


class StartScene:
    """The first screen of a player whose three sensors are connected."""

    def __init__(self, *, known: bool = True) -> None:
        self._folder = tempfile.TemporaryDirectory(prefix="imufeedback-truths-")
        folder = Path(self._folder.name)
        everybody = people.load(folder / "players")
        everybody.save(Person("Robin", Hand.RIGHT, cautions_seen=None))
        layout = parse_layout(resources.text("layouts", "house"), "house")
        nobody: Any = lambda *_: None  # noqa: E731 - no radio is asked here
        self.window = LiveWindow(everybody, practice_choices.available(), layout, nobody, folder)
        self.ready = self.window.start.ready
        if known:
            self.ready.person = everybody.all[0]
            self.ready.roles, self.ready.links = dict(ROLES), dict.fromkeys(ROLES, LinkState.CONNECTED)
        self.window.start.show_step(StartStep.SENSORS)
        self.window.show()

    def told(self, *events: Event) -> None:
        self.window._desk.told.emit(list(events))

    def searched(self, trouble: str | None) -> None:
        self.window._desk.searched.emit(trouble)

    def headline(self, *, at_range: bool) -> str:
        return self.window.start.missing.text()

    def close(self) -> None:
        put_away(self.window)
        self._folder.cleanup()


@dataclass(frozen=True, slots=True)
class WindowTruth:
    """A state, how it comes about, and parts of the headline that must name it and say what to do."""

    name: str
    provoke: Callable[[Any], object]
    said: tuple[str, ...]
    scene: Callable[[], Any] = WindowScene
    at_range: bool = False


Provoke = Callable[[Any], object]


def linked(state: LinkState, *sensors: str, **facts: float) -> Provoke:
    return lambda scene: scene.link(state, *sensors, **facts)


def told(event: Event) -> Provoke:
    return lambda scene: scene.push(event)


def failed(where: str, what: str) -> Provoke:
    return told(Fault(19.0, where, what))


def pressed(key: str) -> Provoke:
    return lambda scene: scene.key(key)


def unheard(trouble: str) -> Provoke:
    return lambda scene: setattr(scene, "sound", trouble)


def _late() -> Event:
    watch = Lateness()
    return next(iter(watch.feed(Arrival("A1", 19.0, 17.5))))


def _no_bluetooth(error: OSError) -> str:
    return f"Bluetooth cannot be used – {advice(error, 'linux')}"


def _fresh() -> WindowScene:
    return WindowScene(fresh=True)


def _unknown_player() -> StartScene:
    return StartScene(known=False)


def _stale(scene: WindowScene) -> None:
    scene.still.stop()


def _over(scene: WindowScene) -> None:
    scene.still.stop()
    scene.window.feed.finish()


def _others(scene: StartScene) -> None:
    scene.ready.links.clear()
    scene.ready.others = (("00:11", "a sensor"),)
    scene.searched(None)


def _twice(scene: StartScene) -> None:
    scene.ready.roles["B2"] = Segment.PELVIS
    scene.searched(None)


def _unplaced(scene: StartScene) -> None:
    del scene.ready.roles["C3"]
    scene.searched(None)


def _absent(scene: StartScene) -> None:
    from imufeedback.app.start import texts

    scene.ready.absent = texts.not_heard(["left thigh (B2)"])
    scene.searched(None)


def _lost_before(scene: StartScene) -> None:
    scene.told(Link("B2", 1.0, LinkState.LOST, "", {}))


def _unwritable(scene: StartScene) -> None:
    scene.told(Fault(0.0, "recording", "the folder cannot be written"))


def _refused_before(scene: StartScene) -> None:
    scene.ready.running = True
    scene.told(FitRefused(1.0, "the left knee was not lifted far enough"))


_OFF = OSError("the adapter is powered off")
_NONE = FileNotFoundError(2, "No such file or directory")
TRUTHS = (
    WindowTruth("pelvis sensor silent", linked(LinkState.SILENT, "A1"), ("no signal", "Pelvis", "closer")),
    WindowTruth("left thigh sensor lost", linked(LinkState.LOST, "B2"), ("Left thigh", "lost", "closer")),
    WindowTruth("right thigh sensor closed", linked(LinkState.CLOSED, "C3"), ("Right thigh", "battery")),
    WindowTruth("two sensors lost", linked(LinkState.LOST, "A1", "B2"), ("pelvis, left thigh", "until they are back")),
    WindowTruth("adapter gone", linked(LinkState.LOST, *ROLES), ("All sensors", "Bluetooth is on")),
    WindowTruth("one sensor lost, at the range", linked(LinkState.LOST, "B2"), ("Left thigh", "closer"), at_range=True),
    WindowTruth(
        "disk full",
        failed("recording", "the disk is full"),
        ("not recorded", "disk is full", "make room"),
    ),
    WindowTruth(
        "folder not writable",
        failed("recording", "no permission to write"),
        ("no permission", "another folder"),
    ),
    WindowTruth(
        "disk full, at the range",
        failed("recording", "the disk is full"),
        ("not recorded", "make room"),
        at_range=True,
    ),
    WindowTruth(
        "no sound device",
        unheard("no sound output was found"),
        ("No tone", "speaker or headphones"),
    ),
    WindowTruth(
        "sound device went away",
        unheard("the headphones went away"),
        ("headphones went away", "Check"),
    ),
    WindowTruth("tones switched off", pressed("Space"), ("switched off", "Space")),
    WindowTruth("battery low", linked(LinkState.STREAMING, "B2", battery_percent=8.0), ("battery 8", "Charge")),
    WindowTruth(
        "calibration refused",
        told(FitRefused(19.0, "the pelvis moved")),
        ("calibrate again", "pelvis moved", "do the movements again"),
    ),
    WindowTruth(
        "strap slipped",
        told(Slipped(19.0, Segment.LEFT_THIGH, 0.2, "the left thigh strap has moved: tighten it")),
        ("left thigh", "tighten"),
    ),
    WindowTruth("sensor restarted", told(ClockRestarted("C3", 19.0)), ("Right thigh", "Stand still")),
    WindowTruth(
        "computer slept",
        told(Notice(19.0, "the computer slept for 40 s: reps of that time are missing; keep it awake")),
        ("slept", "keep it awake"),
    ),
    WindowTruth(
        "clock jumps",
        told(Doubted(19.0, "left thigh", "clock", "the left thigh's clock jumps: switch that sensor off and on")),
        ("clock jumps", "off and on"),
    ),
    WindowTruth(
        "axes contradicted",
        told(Doubted(19.0, "pelvis", "axes", "the pelvis sensor's axes contradict gravity: check its settings")),
        ("axes", "check"),
    ),
    WindowTruth(
        "left and right swapped",
        told(SwapOffered(19.0, {}, True, "Left and right look swapped. Press Swap if they are.")),
        ("swapped", "Press"),
    ),
    WindowTruth("data late", told(_late()), ("late", "close other programs")),
    WindowTruth("paused", pressed("P"), ("paused", "not counted")),
    WindowTruth(
        "stopped for pain",
        told(Notice(19.0, "Stopped. Rest; if it hurts on, see a clinician")),
        ("Stopped", "Rest"),
    ),
    WindowTruth("no fresh angles", _stale, ("no signal", "look at the sensors")),
    WindowTruth(
        "program error",
        failed("engine", "division by zero"),
        ("Program error", "start the program again"),
    ),
    WindowTruth(
        "rep not judged",
        told(Rep(1, "swing", 10.0, 12.0, {}, (), {}, void="the left thigh's samples were lost")),
        ("does not count", "samples were lost", "Next"),
    ),
    WindowTruth("session over", _over, ("over", "recording is closed")),
    WindowTruth("no sensor yet", lambda s: None, ("waiting for sensors", "switch the sensors on"), _fresh),
    WindowTruth("not calibrated", linked(LinkState.STREAMING, *ROLES), ("calibration", "stand still"), _fresh),
    WindowTruth("Bluetooth off", lambda s: s.searched(_no_bluetooth(_OFF)), ("Bluetooth", "switch it on"), StartScene),
    WindowTruth(
        "no Bluetooth adapter", lambda s: s.searched(_no_bluetooth(_NONE)), ("Bluetooth", "plug in"), StartScene
    ),
    WindowTruth("own sensor not heard", _absent, ("Not found: left thigh", "search again"), StartScene),
    WindowTruth("two sensors on one place", _twice, ("Two sensors on: pelvis", "another place"), StartScene),
    WindowTruth("place without a sensor", _unplaced, ("No sensor on: right thigh", "where each"), StartScene),
    WindowTruth("only strange sensors", _others, ("not yours", "Choose"), StartScene),
    WindowTruth(
        "sensor lost before the session",
        _lost_before,
        ("Lost: left thigh", "battery"),
        StartScene,
    ),
    WindowTruth(
        "calibration refused before the session", _refused_before, ("knee was not lifted", "Ctrl+R"), StartScene
    ),
    WindowTruth(
        "recording cannot be made",
        _unwritable,
        ("cannot be written", "Put that right"),
        StartScene,
    ),
    WindowTruth("nobody chosen", lambda s: s.searched(None), ("Player", "choose or add"), _unknown_player),
)


def seconds_until_named(truth: WindowTruth) -> float | None:
    """How long the headline takes to name it; None when it does not within the limit."""
    app = make_application()
    scene = truth.scene()
    try:
        if isinstance(scene, WindowScene) and truth.at_range:
            scene.window._toggle_range()
        _let(app, 0.25)
        before = scene.headline(at_range=truth.at_range)
        if truth.scene is WindowScene:
            assert not all(one in before for one in truth.said), f"{truth.name}: said before: {before}"
        began = time.monotonic()
        truth.provoke(scene)
        while time.monotonic() - began <= LIMIT_S:
            app.processEvents()
            if all(one in scene.headline(at_range=truth.at_range) for one in truth.said):
                return time.monotonic() - began
            time.sleep(0.005)
        return None
    finally:
        scene.close()


def _let(app: QApplication, seconds: float) -> None:
    until = time.monotonic() + seconds
    while time.monotonic() < until:
        app.processEvents()
        time.sleep(0.005)


def truths() -> dict[str, float]:
    """How many there are and are named in time, and the longest time."""
    found = {one.name: seconds_until_named(one) for one in TRUTHS}
    named = [one for one in found.values() if one is not None]
    return {"truths": len(TRUTHS), "named": len(named), "longest_s": max(named, default=0.0)}
