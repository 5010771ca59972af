"""The document of a demo: the summary of what was judged, which cues were heard, and what the golfer really did."""

from __future__ import annotations

import gc
from typing import Any

from imufeedback.live.golfer import VirtualGolfer
from imufeedback.live.practice import Practice
from imufeedback.records import Cue
from imufeedback.report.summary import Summary


def run_fast(practice: Practice) -> None:
    """The whole practice as fast as it goes, without sound."""
    # The simulated radio makes millions of short-lived objects that reference counting frees by itself; looking for
    # cycles among them again and again costs a tenth of the run.
    gc.freeze()
    usual = gc.get_threshold()
    gc.set_threshold(100_000, 50, 50)
    try:
        practice.run()
    finally:
        gc.set_threshold(*usual)
        gc.unfreeze()


def demo_document(summary: Summary, golfer: VirtualGolfer, practice: Practice) -> dict[str, Any]:
    """After the practice's end."""
    sound = practice.sound

    def played(cue: Cue) -> bool:
        return sound is not None and (cue.sound, cue.t_s) in sound.played

    late = sound.late if sound is not None else 0
    document = summary.to_dict(played=played, late=late, recording=str(practice.recording))
    if sound is not None:
        sound.collect()
        for cue in (cue for rep in document["reps"] for cue in rep["cues"]):
            cue["heard_s"] = sound.heard_s(cue["sound"], cue["t_s"])
    return document | ({"truth": golfer.truth(practice.begin_ns)} if golfer.began else {})
