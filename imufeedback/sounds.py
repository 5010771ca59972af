"""The sounds by name: how urgent each is, and what it is called. How they sound stands in `cues.waveforms`."""

from __future__ import annotations

from collections.abc import Mapping
from enum import StrEnum


class Sound(StrEnum):
    """Every sound that is played from beginning to end."""

    urgency: int
    """The higher one wins when two want to sound; all of them win over the held sound."""
    word: str
    """In the windows."""

    def __new__(cls, name: str, urgency: int, word: str) -> Sound:
        sound = str.__new__(cls, name)
        sound._value_ = name
        sound.urgency = urgency
        sound.word = word
        return sound

    LINK_LOST = "link-lost", 70, "sensor lost"  # silence would otherwise be read as "all is well"
    REGAINING = "regaining", 60, "growing"
    STALLED = "stalled", 50, "stalled"
    TARGET_REACHED = "target-reached", 40, "target reached"
    READY = "ready", 30, "ready"
    LINK_BACK = "link-back", 25, "sensor back"
    FIT_AGAIN = "fit-again", 22, "calibration step again"
    FIT_STEP = "fit-step", 20, "calibration step done"
    BLOCK_BEGUN = "block-begun", 15, "next block"
    REP_COUNTED = "rep-counted", 10, "rep counted"
    BATTERY_LOW = "battery-low", 5, "battery low"


BY_NAME: Mapping[str, Sound] = {str(sound): sound for sound in Sound}
