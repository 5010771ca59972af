"""``demo``: the whole tool at work, without any hardware."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING, Annotated

import typer

from imufeedback.cli.output import (
    check_writable,
    given_text,
    limits_text,
    print_next,
    print_notes,
    print_reps,
    say,
    show,
    write_json,
)
from imufeedback.cli.radio_script import radio_script
from imufeedback.cli.telling import LiveTeller, spoken
from imufeedback.errors import NoDisplay, UsageError

if TYPE_CHECKING:
    from collections.abc import Sequence

    from imufeedback.document import Document
    from imufeedback.live.golfer import DemoPlan
    from imufeedback.live.lesson import LessonBlock
    from imufeedback.live.practice import Practice
    from imufeedback.live.session import Sink
    from imufeedback.record.journal import JournalWriter
    from imufeedback.report.summary import Summary

PACES = ("slow", "full")
FLAWS = (
    *("none", "stall", "push-back", "leg-turn", "high-knee"),
    *("back-block", "late-level", "sitting", "stiff-knees", "knee-give"),
)
HANDS = ("right", "left")
SENSORS = ("ideal", "good", "typical", "poor")
USUAL_REPS = 5


def demo(
    headless: Annotated[bool, typer.Option("--headless", help="No window.")] = False,
    reps: Annotated[
        int | None,
        typer.Option(min=0, max=500, help="How many reps: as many as the plan has, else 5.", show_default=False),
    ] = None,
    pace: Annotated[str, typer.Option(metavar="|".join(PACES), help="How fast the golfer moves.")] = "slow",
    flaw: Annotated[str, typer.Option(metavar="|".join(FLAWS), help="What goes wrong.")] = "stall",
    flaw_size: Annotated[float, typer.Option(min=0.0, max=1.5, help="How large the flaw is: 1 is gross.")] = 1.0,
    handed: Annotated[str, typer.Option(metavar="|".join(HANDS), help="The golfer's hand.")] = "right",
    seed: Annotated[int, typer.Option(min=0, help="Which synthetic golfer.")] = 1,
    sensors: Annotated[
        str, typer.Option(metavar="|".join(SENSORS), help="How good the sensors are, and how they are worn.")
    ] = "typical",
    realtime: Annotated[
        bool, typer.Option("--realtime/--no-realtime", help="At the pace of life, or as fast as it goes (no window).")
    ] = True,
    plan_name: Annotated[
        str | None,
        typer.Option(
            "--plan",
            metavar="NAME|FILE",
            help="Carry out a plan, block after block, as soon as the sensors are calibrated.",
            show_default=False,
        ),
    ] = None,
    limits_file: Annotated[
        Path | None, typer.Option("--limits", metavar="FILE.toml", help="A player's own limits.", show_default=False)
    ] = None,
    radio: Annotated[
        str | None,
        typer.Option(
            metavar="FILE",
            help="Fault script of the radio, TOML; or a shipped one: worst_day, outage.",
            show_default=False,
        ),
    ] = None,
    speak: Annotated[
        bool, typer.Option("--speak", help="Say each block of the plan aloud. Mind the loudness on headphones.")
    ] = False,
    out: Annotated[
        Path | None, typer.Option("--out", metavar="DIR", help="Folder for the recording.", show_default=False)
    ] = None,
    json_file: Annotated[Path | None, typer.Option("--json", metavar="FILE", help="Write the summary there.")] = None,
    overwrite: Annotated[bool, typer.Option("--overwrite", help="Replace FILE of --json if it exists.")] = False,
) -> None:
    """A synthetic golfer with virtual Bluetooth sensors: live angles, tones, a recording and a table of the reps."""
    for value, allowed, option in (
        (pace, PACES, "--pace"),
        (flaw, FLAWS, "--flaw"),
        (handed, HANDS, "--handed"),
        (sensors, SENSORS, "--sensors"),
    ):
        if value not in allowed:
            raise UsageError(f"{option} {value!r}", hint=f"choose one of {', '.join(allowed)}")
    if speak and not realtime:
        raise UsageError("nothing is spoken as fast as it goes", where="--speak", hint="leave out --no-realtime")
    if json_file is not None:
        check_writable(json_file, overwrite=overwrite)
    from imufeedback.constants import CAUTIONS
    from imufeedback.document import to_json
    from imufeedback.live.golfer import DemoPlan
    from imufeedback.live.performed import performed
    from imufeedback.records import Hand
    from imufeedback.synth.flaws import Amiss, Flaw
    from imufeedback.synth.player import Pace

    blocks = () if plan_name is None else _blocks(plan_name)
    acts = performed(blocks, Flaw(flaw)) if reps is None else ()
    count = USUAL_REPS if reps is None else reps
    wrong: Flaw | tuple[tuple[Amiss, ...], ...] = Flaw.NONE
    if flaw != "none":
        wrong = ((Amiss(Flaw(flaw), flaw_size),),) * count
    plan = DemoPlan(
        Hand(handed), Pace(pace), wrong, count, seed, realtime, acts=acts,
        radio=radio_script(radio), limits="" if limits_file is None else limits_text(limits_file), sensors=sensors,
    )  # fmt: skip
    for line in (*CAUTIONS, *_cautions(blocks)):
        say(f"! {line}")
    window = realtime and not headless and _has_display()
    with _journal(out) as journal:
        summary, document = _run(plan, journal, blocks, window=window, speak=speak)
    print_notes(summary)
    print_reps(summary)
    print_next(document)
    show(f"Recording: {journal.path}")
    if json_file is not None:
        write_json(json_file, to_json(document), overwrite=overwrite)
    if document.errors:
        raise typer.Exit(1)


def _blocks(name: str) -> tuple[LessonBlock, ...]:
    """The blocks of a plan: a file, or one by its name."""
    from imufeedback import resources
    from imufeedback.live.lesson import plan_of

    file = Path(name)
    if not file.suffix and name in resources.available("plans"):
        text = resources.text("plans", name)
    else:
        text = given_text(file, "--plan", f"or use {', '.join(resources.available('plans'))}")
    return plan_of(text, name)[1]


def _cautions(blocks: Sequence[LessonBlock]) -> list[str]:
    """What the drills of the blocks warn of, each line once."""
    from imufeedback.rules import parse_rule_set

    sets = [parse_rule_set(block.command.rule_set or "", block.name) for block in blocks if block.command.rule_set]
    return list(dict.fromkeys(one.drill.stop for one in sets if one.drill is not None))


def _has_display() -> bool:
    from imufeedback.app.run import require_display

    try:
        require_display()
    except NoDisplay as error:
        say(f"no window: {error}")
        return False
    return True


def _journal(out: Path | None) -> JournalWriter:
    from imufeedback.live.practice import new_recording
    from imufeedback.resources import data_folder

    return new_recording(data_folder() / "recordings" if out is None else out, "demo")


def _run(
    plan: DemoPlan, journal: JournalWriter, blocks: Sequence[LessonBlock], *, window: bool, speak: bool
) -> tuple[Summary, Document]:
    from imufeedback.live.demo import demo_document, run_fast
    from imufeedback.live.golfer import VirtualGolfer
    from imufeedback.live.lesson import Attended
    from imufeedback.live.practice import Practice
    from imufeedback.report.summary import Summary

    golfer, summary = VirtualGolfer(plan), Summary(plan.hand)
    if window:
        from imufeedback.app.demo_window import show

        practice = show(golfer, journal, summary, blocks, speak=speak)
        return summary, demo_document(summary, golfer, practice)
    attended = Attended(blocks)
    shown: tuple[Sink, ...] = (LiveTeller(),) if plan.realtime else ()
    with spoken(wanted=speak) as voice:
        practice = Practice(golfer, journal, [summary, *shown, *voice, attended])
        attended.attend(practice.command)
        if plan.realtime:
            _play(practice)
        else:
            say("as fast as it goes: no window, and no sound is played")
            run_fast(practice, answered=bool(blocks))
    return summary, demo_document(summary, golfer, practice)


def _play(practice: Practice) -> None:
    practice.start()
    try:
        practice.wait()
    finally:
        practice.stop()
