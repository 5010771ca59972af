"""The document of a demo: the summary of what was judged, which cues were heard, and what the golfer really did."""

from __future__ import annotations

import gc

import msgspec

from imufeedback.document import Document
from imufeedback.live.golfer import VirtualGolfer
from imufeedback.live.practice import Practice
from imufeedback.report.summary import Summary

TOGETHER = 450
"""Items that are judged at once: some three seconds of three sensors."""


def run_fast(practice: Practice, *, answered: bool = False) -> None:
    """The whole practice as fast as it goes, without sound; item by item when somebody answers what is told."""
    # The simulated radio makes millions of short-lived objects that reference counting frees by itself; looking for
    # cycles among them again and again costs a tenth of the run.
    gc.freeze()
    usual = gc.get_threshold()
    gc.set_threshold(100_000, 50, 50)
    try:
        practice.run(1 if answered else TOGETHER)
    finally:
        gc.set_threshold(*usual)
        gc.unfreeze()


def demo_document(summary: Summary, golfer: VirtualGolfer, practice: Practice) -> Document:
    """After the practice's end."""
    sound, recording = practice.sound, str(practice.recording)
    if sound is None:
        document = summary.document(recording=recording)
    else:
        sound.collect()
        document = summary.document(
            played=lambda cue: (cue.sound, cue.t_s) in sound.played,
            heard_s=lambda cue: sound.heard_s(cue.sound, cue.t_s),
            late=sound.late,
            recording=recording,
        )
    return msgspec.structs.replace(document, truth=golfer.truth(practice.begin_ns)) if golfer.began else document
