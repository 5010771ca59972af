"""Imports what a session needs in a thread of its own, once the first screen is there: the window stays awake."""

from __future__ import annotations

import importlib
import threading

from imufeedback import resources, shipped

NEEDED = (
    "imufeedback.live.practice",
    "imufeedback.live.golfer",
    "imufeedback.live.lesson",
    "imufeedback.live.station",
    "imufeedback.live.station_source",
    "imufeedback.ble.own",
    "imufeedback.synth.sensors",
    "imufeedback.synth.stream",
    "imufeedback.app.bay_practice",
    "imufeedback.app.ending",
    "imufeedback.review.reporting",
    "imufeedback.report.page",
)
_begun = threading.Lock()
done = threading.Event()
"""All is imported, or could not be: then whoever needs it says why."""


def preload() -> None:
    """Begin, once in a process; returns at once."""
    if not done.is_set() and _begun.acquire(blocking=False):
        threading.Thread(target=_import, name="preload", daemon=True).start()


def _import() -> None:
    try:
        for name in NEEDED:
            importlib.import_module(name)
        limits = importlib.import_module("imufeedback.app.limits")
        limits.rule_set_of(resources.text("rules", "swing"))  # kept there: the bay window asks for it first
        _work_out()
    finally:
        done.set()


def _work_out() -> None:
    """What is worked out once and kept: the sounds, the words and causes of findings."""
    player, tone = importlib.import_module("imufeedback.audio.player"), importlib.import_module("imufeedback.cues.tone")
    player.rendered()
    tone.held_level()
    shipped.causes()
    shipped.words_of("")
