"""One recording of many, judged in whatever process or computer this runs."""

from __future__ import annotations

import time
from collections.abc import Callable
from dataclasses import dataclass
from pathlib import Path
from typing import Literal, TypedDict

import msgspec

from imufeedback.commands import settings_of
from imufeedback.errors import BadFile, ImuFeedbackError, UsageError
from imufeedback.record.exports.reps import Cell, row
from imufeedback.record.library.places import verdicts_of
from imufeedback.record.library.verdicts import KeptVerdict, add_verdict, read_verdicts
from imufeedback.record.window import open_window
from imufeedback.review.judging import judge, way_of
from imufeedback.rules import parse_recorded
from imufeedback.settings import Settings


@dataclass(frozen=True, slots=True)
class Way:
    """How all of them are judged."""

    filter_name: str | None = None
    """None: each recording's own."""
    limits: str | None = None
    """TOML text of other limits."""
    again: bool = False
    """Judge also what was judged in the same way since it was recorded."""


class RecordingOutcome(TypedDict):
    """What came of one recording; JSON values only."""

    recording: str
    state: Literal["judged", "kept", "failed"]
    """``kept``: the verdict beside it was made in the same way, and after the recording."""
    error: str
    """One line; empty unless it failed."""
    notes: list[str]
    """What is damaged or missing in the file."""
    reps: list[dict[str, Cell]]
    """See ``record/EXPORT.md``, format ``reps``."""
    duration_s: float
    """Of the session."""
    took_s: float
    """Time that the work took."""


def failed(recording: str, error: str) -> RecordingOutcome:
    """The outcome of work that could not be done."""
    return RecordingOutcome(
        recording=recording, state="failed", error=error, notes=[], reps=[], duration_s=0.0, took_s=0.0
    )


def judge_one(
    recording: str, way: Way, on_progress: Callable[[float], None] = lambda seconds: None
) -> RecordingOutcome:
    """Judge a recording and keep the verdict beside it, unless one of the same kind is there already.

    What is wrong with the file or the folder is in the outcome. `on_progress` as in `judging.judge`.
    """
    begun_s = time.monotonic()
    try:
        state, kept = _verdict(Path(recording), way, on_progress)
    except ImuFeedbackError as error:
        return failed(recording, str(error))
    except OSError as error:
        return failed(recording, f"{recording}: {error.strerror or error}")
    return RecordingOutcome(
        recording=recording,
        state=state,
        error="",
        notes=kept.summary.file_notes,
        reps=[row(rep) for rep in kept.summary.reps],
        duration_s=kept.duration_s,
        took_s=time.monotonic() - begun_s,
    )


def _verdict(
    path: Path, way: Way, on_progress: Callable[[float], None]
) -> tuple[Literal["judged", "kept"], KeptVerdict]:
    settings, rules = _settings(path, way)
    key = way_of(settings)
    if not way.again and (kept := _kept(path, key)) is not None:
        return "kept", kept
    judged = judge(path, filter_name=way.filter_name, limits=way.limits, on_progress=on_progress)
    return "judged", add_verdict(path, judged.summary, key=key, rules=rules, duration_s=judged.duration_s)[-1]


def _settings(path: Path, way: Way) -> tuple[Settings, str]:
    """Settings as they will be judged, and the title of the rules."""
    window = open_window(path)
    try:
        if window.begin is None:
            raise UsageError(
                "its beginning is damaged: what the sensors were is not known",
                hint="only a recording that keeps its first item can be checked",
            )
        settings = settings_of(window.begin)
        rules = parse_recorded(settings.rule_set, "rule set")[0].title
    except UsageError as error:
        raise BadFile(error.what, where=str(path), hint=error.hint) from error
    other = {"filter": way.filter_name, "limits": way.limits}
    return msgspec.structs.replace(settings, **{name: one for name, one in other.items() if one is not None}), rules


def _kept(path: Path, key: str) -> KeptVerdict | None:
    """The newest verdict, when today's would be the same."""
    verdicts = read_verdicts(path)
    if not verdicts or verdicts[-1].key != key:
        return None
    return verdicts[-1] if verdicts_of(path).stat().st_mtime_ns >= path.stat().st_mtime_ns else None
