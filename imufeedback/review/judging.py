"""A recording through the pipeline: today's algorithm, the recording's own rules or others."""

from __future__ import annotations

import os
from collections.abc import Callable, Iterator, Mapping
from contextlib import nullcontext
from dataclasses import dataclass
from itertools import islice
from pathlib import Path

import msgspec

from imufeedback import __version__
from imufeedback.commands import changed_begin, is_begin, settings_of
from imufeedback.document import Document
from imufeedback.errors import BadFile, NoRecording, UsageError
from imufeedback.pipeline import Pipeline
from imufeedback.record.files import shown
from imufeedback.record.library.verdicts import key_of
from imufeedback.record.replay import Recording, read_items
from imufeedback.record.trace import TraceWriter
from imufeedback.records import Angles, Command, Cue, Event, Fit, Hand, Item
from imufeedback.report.summary import Summary
from imufeedback.settings import Settings

PROGRESS_ITEMS = 4000
WAY = 5
"""Counts the ways of judging within one version: 2 has void reps, 3 one stall live and afterwards, and rules that
are not judged yet, 4 limits that a baseline narrows, and a stall as long for the tone as for the finding,
5 what a rep is beside its baseline, and reps that were taken out in the session."""


@dataclass(frozen=True, slots=True)
class JudgedRecording:
    """What came of it."""

    recording: Recording
    settings: Settings
    """As judged: with the other rule set or filter, when one was asked for."""
    summary: Document
    """Its `notes` say what is damaged or missing in the file."""
    cues: tuple[Cue, ...]
    duration_s: float
    fit: Fit | None
    told: Summary
    """The same as `summary`, as events."""


def way_of(settings: Settings, rule_set: str | None = None) -> str:
    """Says whether two judgements were made in the same way: key of the verdict that today's algorithm gives."""
    text = settings.rule_set if rule_set is None else rule_set
    return key_of(f"{__version__}+{WAY}", f"{text}\0{settings.limits}", settings.filter)


def judge(
    path: str | os.PathLike[str],
    *,
    rule_set: str | None = None,
    filter_name: str | None = None,
    limits: str | None = None,
    trace: Path | None = None,
    on_angles: Callable[[Angles], None] | None = None,
    on_progress: Callable[[float], None] = lambda seconds: None,
) -> JudgedRecording:
    """Judge a recording; with `trace`, all angles go to that file. `rule_set` and `limits` are texts of other ones.

    `on_angles` is told every block of angles, `on_progress` the session's seconds that are done; what they raise ends
    the work and leaves no trace behind. Raises NoRecording, BadFile, CannotWrite.
    """
    recording = read_items(path)
    items = iter(recording)
    other = {"rule_set": rule_set, "filter": filter_name, "limits": limits}
    begin = _begin(next(items, None), recording, {key: value for key, value in other.items() if value is not None})
    summary = Summary(Hand.RIGHT)
    cues: list[Cue] = []
    with TraceWriter(trace) if trace is not None else nullcontext() as writer:
        listeners = [one for one in (None if writer is None else writer.add, on_angles) if one is not None]

        def take(events: list[Event]) -> None:
            summary(events)
            for event in events:
                if isinstance(event, Cue):
                    cues.append(event)
                elif isinstance(event, Angles):
                    for listener in listeners:
                        listener(event)

        try:
            settings = settings_of(begin)
            summary.hand = settings.player.hand
            duration_s = _run(begin, items, take, on_progress)
        except UsageError as error:
            raise BadFile(error.what, where=str(recording.path), hint=error.hint) from error
    document = msgspec.structs.replace(
        summary.document(recording=shown(recording.path.name)), notes=list(recording.notes)
    )
    return JudgedRecording(recording, settings, document, tuple(cues), duration_s, summary.fit, summary)


def _run(
    begin: Command,
    items: Iterator[Item],
    take: Callable[[list[Event]], None],
    on_progress: Callable[[float], None],
) -> float:
    """Returns how long the session was."""
    pipeline = Pipeline()
    take(pipeline.feed(begin))
    while stretch := list(islice(items, PROGRESS_ITEMS)):
        take(pipeline.feed_many(stretch))
        on_progress(pipeline.now_s)
    take(pipeline.finish())
    return pipeline.now_s


def _begin(item: Item | None, recording: Recording, other: Mapping[str, str]) -> Command:
    """The first item, with other rules, limits or another filter in it when they are asked for."""
    if item is None:
        raise NoRecording("nothing readable is in it", where=str(recording.path), hint="choose another recording")
    if not is_begin(item):
        raise NoRecording(
            "its beginning is damaged: what the sensors were is not known",
            where=str(recording.path),
            hint="only a recording that keeps its first item can be checked",
        )
    return changed_begin(item, other)
