"""What the verbs print and write: tables on stdout, one-line notices on stderr, JSON files."""

from __future__ import annotations

import json
import os
import re
import sys
from collections.abc import Callable, Mapping, Sequence
from contextlib import suppress
from pathlib import Path
from typing import TYPE_CHECKING, Any

from imufeedback.errors import CannotWrite, UsageError
from imufeedback.foreign_text import printable

if TYPE_CHECKING:
    from rich.console import Console

    from imufeedback.document import Document
    from imufeedback.records import Rep
    from imufeedback.report.summary import Summary


def say(line: str) -> None:
    """One line for the person, on stderr: stdout belongs to results. Never fails: a reader that has gone away is no
    reason to end a session."""
    with suppress(OSError, ValueError):
        print(printable(line), file=sys.stderr, flush=True)


def show(line: str) -> None:
    """One line of a result, on stdout. Names in it cannot command the terminal."""
    print(printable(line))


def table_console() -> Console:
    """Where tables go. Piped into a file there is no width to fit: lines are as long as they are. What stands in
    brackets is text: names are no markup."""
    from rich.console import Console

    return Console(width=None if sys.stdout.isatty() else 160, highlight=False, markup=False, emoji=False)


def limits_text(path: Path) -> str:
    """The text of a limits file, checked."""
    from imufeedback.rules import parse_limits

    text = given_text(path, "--limits", "check the name")
    parse_limits(text, str(path))
    return text


def given_text(path: Path, option: str, hint: str) -> str:
    """The text of a file that an option names. Raises UsageError."""
    from imufeedback.errors import BadFile
    from imufeedback.texts import read_text

    try:
        return read_text(path, hint=hint)
    except FileNotFoundError:
        raise UsageError(f"{option} names no file", where=str(path), hint=hint) from None
    except BadFile as error:
        raise UsageError(f"{option}: {error.what}", where=error.where, hint=error.hint) from None


def check_writable(path: Path, *, overwrite: bool = False, option: str = "--overwrite") -> None:
    """Before long work: will this file be writable? `option` is what allows to replace one, "" where nothing does.

    Raises CannotWrite.
    """
    folder = path.parent
    try:
        if path.is_dir():
            raise CannotWrite("this is a folder", where=str(path), hint="name a file")
        if os.path.lexists(path) and not overwrite:
            hint = f"choose another name, or add {option}" if option else "choose another name"
            raise CannotWrite("exists already", where=str(path), hint=hint)
        if not folder.is_dir():
            what = "this is no folder" if folder.exists() else "the folder does not exist"
            raise CannotWrite(what, where=str(folder), hint="make it, or choose another")
    except (OSError, ValueError) as error:
        reason = (error.strerror if isinstance(error, OSError) else None) or str(error)
        raise CannotWrite(f"cannot be written ({reason})", where=repr(str(path)), hint="choose another name") from None
    if not os.access(folder, os.W_OK):
        raise CannotWrite("the folder cannot be written", where=str(folder), hint="choose another folder")


def write_json(path: Path, document: Mapping[str, Any], *, overwrite: bool) -> None:
    """Write a JSON document whole or not at all. Raises CannotWrite."""
    from imufeedback.record.files import whole_file

    text = json.dumps(document, indent=1, ensure_ascii=False, allow_nan=False)
    if _UNREADABLE.search(text):  # of a file name that is no UTF-8
        text = json.dumps(document, indent=1, allow_nan=False)
    with whole_file(path, overwrite=overwrite) as file:
        file.write(f"{text}\n")


_UNREADABLE = re.compile("[\ud800-\udfff]")


def parse_window(text: str | None, option: str) -> tuple[float, float] | None:
    """``A:B`` in seconds. Raises UsageError."""
    if text is None:
        return None
    begin, colon, end = text.partition(":")
    try:
        window = float(begin), float(end)
    except ValueError:
        colon = ""
        window = (0.0, 0.0)
    if not colon or not window[0] < window[1]:
        raise UsageError(f"{option} {text!r} is no stretch of time", hint="write FROM:TO in seconds, such as 40.5:43.5")
    return window


THIGH_COLUMNS: Sequence[tuple[str, str]] = (
    ("top", "trail_thigh_angle_top_deg"),
    ("impact*", "trail_thigh_angle_impact_deg"),
    ("finish", "trail_thigh_angle_finish_deg"),
)
LOWEST = "lowest", "trail_thigh_angle_min_deg"
HIP_COLUMNS: Sequence[tuple[str, str]] = (
    ("trail hip*", "trail_hip_rotation_impact_deg"),
    ("lead hip*", "lead_hip_rotation_impact_deg"),
)
SAME_DEG = 0.5
"""The lowest angle gets a column when a rep's differs from its finish by more: less is within every error bar."""


def print_reps(summary: Summary) -> None:
    """The per-rep table and the lines under it."""
    from rich.table import Table

    from imufeedback.records import Verdict
    from imufeedback.report import story
    from imufeedback.report.plain_words import rotation_words

    console = table_console()
    if not summary.reps:
        console.print("No reps found.")
        return
    thigh = [*THIGH_COLUMNS, *([LOWEST] if any(map(_went_lower, summary.reps)) else [])]
    table = Table(title="Trail thigh angle, and hip rotation at impact")
    table.add_column("rep", justify="right")
    table.add_column("at", justify="right")
    for name, _ in (*thigh, ("error ±", ""), *HIP_COLUMNS):
        table.add_column(name, justify="right")
    table.add_column("result")
    for rep in summary.reps:
        features = rep.features
        table.add_row(
            str(rep.index + 1),
            story.clock(rep.start_s),
            *(_angle(features.get(feature)) for _, feature in (*thigh, ("", "thigh_angle_sd_deg"))),
            *(_angle(features.get(feature), rotation_words) for _, feature in HIP_COLUMNS),
            _result(summary, rep),
        )
    console.print(table)
    console.print("Hip rotation counts from address. *Impact is estimated: no sensor feels the ball.")
    stance = story.stance(rep.features for rep in summary.counted)
    if stance:
        console.print(stance)
    sure = {one.text for one in summary.findings if one.verdict is Verdict.FAULT}
    for text, basis, drill in dict.fromkeys((one.text, one.basis, one.drill) for one in summary.findings):
        said = text if text in sure else f"Perhaps: {text}"
        line = said if basis is None else f"{said} {basis}"
        console.print(f"- {printable(line if drill is None else f'{line} Drill: {story.rule_words(drill)}.')}")
    for lack, text, rules in story.unjudged(summary.unjudged):
        named = ", ".join(story.rule_words(one) for one in rules)
        console.print(printable(f"{lack.capitalize()}: {named}. {text}"))


def _went_lower(rep: Rep) -> bool:
    lowest, finish = rep.features.get(LOWEST[1]), rep.features.get("trail_thigh_angle_finish_deg")
    return lowest is not None and finish is not None and finish - lowest > SAME_DEG


def _result(summary: Summary, rep: Rep) -> str:
    """A rep's faults and doubts, a line each, in words."""
    from imufeedback.report import story

    if rep.void:
        return printable(f"does not count: {rep.void}")
    if rep.index in summary.discarded:
        return "does not count: taken out"
    said = [printable(story.finding_words(one.rule, one.verdict)) for one in summary.findings_of(rep)]
    return "\n".join(said) or story.nothing(len(summary.unjudged_of(rep)))


def _angle(value: float | None, words: Callable[[float], str] | None = None) -> str:
    from imufeedback.report.story import number

    if value is None:
        return "–"
    return number(value, "deg") if words is None else words(value)


def print_next(document: Document) -> None:
    """What comes next and why, and what was not looked at."""
    from imufeedback.report import story
    from imufeedback.report.screened import screening_of, screening_words
    from imufeedback.review.reporting import next_of

    console, following = table_console(), next_of(story.counted(document.reps))
    if following is not None:
        console.print(f"Next: {printable(following.text)}", markup=False)
        if following.feel:
            console.print(f"Feel: {printable(following.feel)}", markup=False)
        console.print(f"Drill: {printable(story.rule_words(following.drill) or following.title)}", markup=False)
    for line in story.unchecked(document):
        console.print(line, markup=False)
    screening = screening_of(story.counted(document.reps))
    for line in screening_words(screening) if screening is not None else ():
        console.print(line, markup=False)


def print_notes(summary: Summary) -> None:
    """What went wrong or is worth knowing, on stderr."""
    if summary.fit is not None:
        for one in summary.fit.segments:
            if one.reason:
                say(f"calibration {one.level}: {one.reason}")
    for limit in summary.limits.values():
        whose = "the player's own" if limit.whose == "player" else "for today"
        say(f"limit {limit.key}: {limit.value:g} instead of {limit.usual:g} ({whose})")
    for text in dict.fromkeys(summary.notices):
        say(text)
    if summary.rejected:
        say(f"{summary.rejected} packet(s) rejected; the first: {summary.reject_reason}")
    if summary.gaps:
        lost = sum(one.lost for one in summary.totals)
        say(f"{summary.gaps} gap(s) in the data, {lost} sample(s) lost")
    for fault in summary.faults:
        say(f"FAULT in {fault.where}: {fault.what}")
