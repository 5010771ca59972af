"""The player on a fake device and a manual clock, and on whatever this machine has."""

from __future__ import annotations

import os
import subprocess
import sys
import threading
import time
from collections.abc import Generator

import miniaudio
import numpy as np
import pytest

from imufeedback.audio import (
    CEILING_LEVEL,
    START_LEVEL,
    CuePlayer,
    Output,
    WatchedPlayer,
    rendered,
)
from imufeedback.errors import SoundError
from imufeedback.threads import quick_turns

PERIOD_NS = 10_000_000
SOUNDS = rendered()


class FakeClock:
    def __init__(self) -> None:
        self.now_ns = 5_000_000_000

    def __call__(self) -> int:
        return self.now_ns


class FakeDevice:
    """Takes samples when told to; keeps what it got."""

    backend = "fake"

    def __init__(self, clock: FakeClock, starts: bool = True) -> None:
        self.clock = clock
        self.starts = starts
        self.source: Generator[memoryview, int, None] | None = None
        self.heard: list[np.ndarray] = []

    def start(self, callback_generator: Generator[memoryview, int, None]) -> None:
        if not self.starts:
            raise miniaudio.MiniaudioError("failed to start audio device", -1)
        self.source = callback_generator

    def close(self) -> None:
        self.source = None

    def run(self, periods: int, frames: int = 480, step_ns: int = PERIOD_NS) -> np.ndarray:
        for _ in range(periods):
            assert self.source is not None
            raw = self.source.send(frames)
            assert raw.nbytes <= frames * 4
            self.heard.append(np.frombuffer(bytes(raw), np.float32))
            self.clock.now_ns += step_ns
        return np.concatenate(self.heard)


class Shelf:
    """Opens devices; may be told to refuse."""

    def __init__(self, clock: FakeClock) -> None:
        self.clock = clock
        self.devices: list[FakeDevice] = []
        self.asked_ns: list[int] = []
        self.refuse = 0
        self.starts = True

    def __call__(self) -> FakeDevice:
        self.asked_ns.append(self.clock.now_ns)
        if self.refuse:
            self.refuse -= 1
            raise SoundError("no sound device")
        self.devices.append(FakeDevice(self.clock, self.starts))
        return self.devices[-1]

    @property
    def device(self) -> FakeDevice:
        return self.devices[-1]


@pytest.fixture(name="clock")
def make_clock() -> FakeClock:
    return FakeClock()


@pytest.fixture(name="shelf")
def make_shelf(clock: FakeClock) -> Shelf:
    return Shelf(clock)


@pytest.fixture(name="player")
def make_player(clock: FakeClock, shelf: Shelf) -> CuePlayer:
    return CuePlayer(SOUNDS, clock, shelf)


def test_silence_between_cues_and_a_cue_at_once(player, shelf, clock):
    assert not shelf.device.run(3).any()
    player.play("stalled", clock() + 1_000_000, 5)
    out = shelf.device.run(40)[3 * 480 :]
    np.testing.assert_allclose(out[: SOUNDS["stalled"].size], SOUNDS["stalled"] * np.float32(START_LEVEL), atol=1e-8)
    assert player.totals.played == 1


def test_a_late_cue_is_never_played(player, shelf, clock):
    player.play("stalled", clock(), 5)
    clock.now_ns += 1
    assert not shelf.device.run(40).any()
    assert (player.totals.expired, player.totals.played) == (1, 0)


def test_volume_starts_low_and_has_a_ceiling(player, shelf, clock):
    assert player.level == START_LEVEL < CEILING_LEVEL
    assert player.set_level(5.0) == CEILING_LEVEL
    assert player.set_level(-1.0) == 0.0
    player.set_level(1.0)
    player.play("ready", clock() + 10**9, 1)
    loudest = np.abs(shelf.device.run(60)).max()
    assert 20 * np.log10(loudest) < -12


def test_h91_a_device_that_falls_silent_is_noticed_within_2_s_and_opened_again(player, shelf, clock):
    shelf.device.run(10)
    shelf.refuse = 3
    stopped_ns = clock()
    told: list[tuple[float, str]] = []
    for _ in range(60):
        clock.now_ns += 250_000_000
        if len(shelf.devices) == 2:
            shelf.device.run(25)
        player.tend()
        told += [((clock() - stopped_ns) * 1e-9, text) for text in player.notices()]
    assert [("stopped" in text, "back" in text) for _, text in told] == [(True, False), (False, True)]
    assert told[0][0] <= 2.0
    assert shelf.devices[0].source is None, "the dead device was given back"
    pauses_s = np.diff(shelf.asked_ns[1:]) * 1e-9
    assert len(pauses_s) == 3
    assert (np.diff(pauses_s) > 0).all(), "pauses grow"
    assert player.totals.reopened == 1
    player.play("stalled", clock() + 10**8, 1)
    assert shelf.device.run(30).any(), "sound is there again"


def test_a_slow_start_is_no_stall(player, shelf, clock):
    """An idle sink takes one buffer and then nothing for two seconds."""
    shelf.device.run(1)
    for _ in range(12):
        clock.now_ns += 250_000_000
        player.tend()
    assert not player.running
    shelf.device.run(5)
    player.tend()
    assert player.running
    assert player.notices() == []
    assert (player.totals.reopened, player.totals.underruns) == (0, 0)


def test_h91_a_device_that_never_starts_to_take_samples_is_told_once(player, shelf, clock):
    told = []
    for _ in range(200):
        clock.now_ns += 250_000_000
        player.tend()
        told += player.notices()
    assert len(told) == 1
    assert len(shelf.devices) > 3


def test_h91_play_without_a_device_is_counted_and_harmless(player, shelf, clock):
    shelf.refuse = 100
    clock.now_ns += 10**10
    player.tend()
    player.play("stalled", clock() + 10**9, 1)
    assert player.totals.silent == 1


def test_h91_a_device_that_opens_but_does_not_start_is_tried_again(player, shelf, clock):
    shelf.starts = False
    for _ in range(20):
        clock.now_ns += 500_000_000
        player.tend()
    assert player.totals.reopened == 0
    assert len(shelf.asked_ns) > 3
    assert all(device.source is None for device in shelf.devices)


def test_h93_an_error_while_making_samples_is_told_and_the_sound_goes_on(clock, shelf):
    broken = dict(SOUNDS)
    broken["stalled"] = np.array(["no", "numbers"])
    player = CuePlayer(broken, clock, shelf)
    player.play("stalled", clock() + 10**9, 1)
    assert not shelf.device.run(3).any(), "silence, not garbage"
    player.tend()
    (text,) = player.notices()
    assert "dropped" in text
    assert player.notices() == [], "told once"
    assert player.totals.errors == 1
    player.play("ready", clock() + 10**9, 9)
    assert shelf.device.run(60).any(), "the next cue sounds"


def test_underruns_are_counted(player, shelf):
    shelf.device.run(100)
    assert player.totals.underruns == 0
    shelf.device.run(1, step_ns=80_000_000)
    shelf.device.run(100)
    assert player.totals.underruns == 1


def test_a_device_that_asks_for_more_than_fits_gets_what_there_is(player, shelf, clock):
    player.play("ready", clock() + 10**9, 1)
    assert shelf.device.run(1, frames=200_000).size == 48_000


def test_unknown_sound_is_a_notice(player, clock):
    player.play("gong", clock() + 1, 1)
    assert "gong" in player.notices()[0]


def test_no_device_at_all(clock, shelf):
    shelf.refuse = 1
    with pytest.raises(SoundError):
        CuePlayer(SOUNDS, clock, shelf)


def test_without_a_device_the_session_goes_on_and_a_later_one_is_used(clock, shelf):
    shelf.refuse = 3
    player = CuePlayer(SOUNDS, clock, shelf, wait=True)
    assert "goes on without sound" in player.reason
    assert "\n" not in player.reason
    player.play("stalled", clock() + 10**9, 1)
    assert player.totals.silent == 1
    told = []
    for _ in range(40):
        clock.now_ns += 250_000_000
        player.tend()
        if shelf.devices:
            shelf.device.run(5)
        told += player.notices()
    assert len(shelf.devices) == 1
    assert [one for one in told if "the output is there" in one] == told
    player.play("stalled", clock() + 10**9, 1)
    assert shelf.device.run(30).any()


class Room:
    """What the system says is the default output."""

    def __init__(self, name: str = "Speaker", **more: object) -> None:
        self.output: Output | None = Output(name, name.encode(), **more)

    def __call__(self) -> Output | None:
        return self.output


def test_another_default_output_is_followed_and_told(clock, shelf):
    room = Room()
    player = CuePlayer(SOUNDS, clock, shelf, room)
    assert "Speaker" in player.reason
    shelf.device.run(5)
    room.output = Output("Line out", b"2")
    for _ in range(10):
        clock.now_ns += 250_000_000
        shelf.device.run(1)
        player.tend()
    assert len(shelf.devices) == 2
    assert shelf.devices[0].source is None
    (told,) = player.notices()
    assert "Line out" in told
    assert player.output == room.output
    player.play("stalled", clock() + 10**9, 1)
    assert shelf.device.run(30).any()


@pytest.mark.parametrize("answer", [None, Output("Speaker, renamed", b"Speaker")])
def test_the_same_output_or_no_answer_changes_nothing(clock, shelf, answer):
    room = Room()
    player = CuePlayer(SOUNDS, clock, shelf, room)
    room.output = answer
    shelf.device.run(5)
    for _ in range(10):
        clock.now_ns += 250_000_000
        shelf.device.run(1)
        player.tend()
    assert len(shelf.devices) == 1
    assert player.notices() == []


@pytest.mark.parametrize(
    ("name", "key", "wireless"),
    [
        ("Bluetooth Headphones", b"", True),
        ("My earbuds", b"", True),
        ("Headset (Hands-Free)", b"", True),
        ("Music box", b"bluez_output.00_11_22_33_44_55.1", True),
        ("Built-in Audio Analog Stereo", b"alsa_output.pci-0000_00_1f.3.analog-stereo", False),
        ("Null Output", b"null", False),
    ],
)
def test_h96_wireless_outputs_are_recognised_by_name(name, key, wireless):
    output = Output(name, key)
    assert output.wireless is wireless
    assert (output.warning is not None) is wireless
    assert (output.delay_s >= 0.15) is wireless


def test_h96_a_late_output_is_warned_about_and_its_delay_counts(clock, shelf):
    """250 ms that the output reports or that were measured, and the name of a wireless one; a wired one is quiet."""
    for room, delay_s in ((Room("Headphones", extra_s=0.25), 0.25), (Room("Bluetooth speaker"), 0.2)):
        player = CuePlayer(SOUNDS, clock, shelf, room)
        (text,) = player.notices()
        assert f"{delay_s * 1e3:.0f} ms" in text
        assert "wired" in text
        assert player.output_delay_s == delay_s
    assert CuePlayer(SOUNDS, clock, shelf, Room()).notices() == []


class DozingDevice(FakeDevice):
    """Swallows what comes in the 400 ms after it was not asked for anything, or was handed nothing, for 5 s."""

    def __init__(self, clock: FakeClock) -> None:
        super().__init__(clock)
        self.fed_ns = clock.now_ns
        self.deaf_until_ns = 0

    def run(self, periods: int, frames: int = 480, step_ns: int = PERIOD_NS) -> np.ndarray:
        for _ in range(periods):
            if self.clock.now_ns - self.fed_ns > 5 * 10**9:
                self.deaf_until_ns = self.clock.now_ns + 400_000_000
            self.fed_ns = self.clock.now_ns
            deaf = self.clock.now_ns < self.deaf_until_ns
            super().run(1, frames, step_ns)
            if deaf:
                self.heard[-1] = np.zeros_like(self.heard[-1])
        return np.concatenate(self.heard)


def test_h95_the_stream_never_sleeps_so_the_whole_tone_is_heard(clock, shelf):
    device = DozingDevice(clock)
    player = CuePlayer(SOUNDS, clock, lambda: device)
    silent = device.run(1000)  # ten seconds of silence: the device is fed all the while
    assert not silent.any()
    player.play("stalled", clock() + 10**9, 1)
    out = device.run(60)[1000 * 480 :]
    np.testing.assert_allclose(out[: SOUNDS["stalled"].size], SOUNDS["stalled"] * np.float32(START_LEVEL), atol=1e-8)


def test_h95_a_stream_that_dies_when_idle_is_restarted_and_the_next_tone_is_whole(player, shelf, clock):
    shelf.device.run(10)
    for _ in range(12):  # nobody asks for samples any more
        clock.now_ns += 250_000_000
        player.tend()
    shelf.device.run(5)
    player.tend()
    player.play("ready", clock() + 10**9, 1)
    out = shelf.device.run(60)[5 * 480 :]
    assert len(shelf.devices) == 2
    np.testing.assert_allclose(out[: SOUNDS["ready"].size], SOUNDS["ready"] * np.float32(START_LEVEL), atol=1e-8)


def test_what_began_is_told_once_with_the_callers_mark(player, shelf, clock):
    shelf.device.run(3)
    player.play("stalled", clock() + 10**9, 1, tag=77)
    shelf.device.run(3)
    (started,) = player.started()
    assert (started.request.sound, started.request.tag) == ("stalled", 77)
    assert player.started() == []


def test_the_held_tone_goes_through_the_player(player, shelf, clock):
    player.hold(0, clock() + 10**9)
    assert shelf.device.run(5).any()


def test_h89_silence_for_other_work_is_no_longer_than_a_period_of_the_device():
    """A busy thread beside it: the callback asks for nothing that the busy thread holds but the interpreter's turn.

    Many periods in the time of one: what a callback costs, at most, while another thread computes.
    """
    clock = FakeClock()
    device = FakeDevice(clock)
    player = CuePlayer(SOUNDS, clock, lambda: device)
    stop = threading.Event()

    def busy() -> None:
        while not stop.is_set():
            sum(k * k for k in range(1000))

    before = sys.getswitchinterval()
    worker = threading.Thread(target=busy)
    quick_turns()
    worker.start()
    try:
        costs = []
        for k in range(200):
            if k % 40 == 0:
                player.play("stalled", clock() + 10**9, 1)
            time.sleep(0.001)  # gives the turn away, as waiting for the device does
            begun = time.perf_counter()
            device.run(1)
            costs.append(time.perf_counter() - begun)
    finally:
        stop.set()
        worker.join()
        sys.setswitchinterval(before)
    assert np.percentile(costs, 95) < 0.020


def test_the_watcher_tends_and_ends(clock, shelf):
    with WatchedPlayer(SOUNDS, clock, shelf) as player:
        clock.now_ns += 10**10
        waited = threading.Event()
        for _ in range(40):
            if player.totals.reopened or len(shelf.devices) > 1 or shelf.devices[0].source is None:
                break
            waited.wait(0.05)
        assert any("stopped" in text for text in player.notices())
    assert not any(thread.name == "sound-watcher" for thread in threading.enumerate())


def test_on_this_machine_opening_is_quiet_and_one_line():
    """With or without a sound device: nothing but our one line, no exception, ends by itself."""
    code = "from imufeedback.audio import open_player as o; p = o(); print(p.reason); p.play('ready', 0); p.close()"
    here = {**os.environ, "PYTHONPATH": os.pathsep.join(sys.path)}
    done = subprocess.run(
        [sys.executable, "-c", code], capture_output=True, text=True, timeout=30, env=here, check=False
    )
    assert done.returncode == 0, done.stderr
    assert done.stderr == ""
    assert len(done.stdout.splitlines()) == 1
