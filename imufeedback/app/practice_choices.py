"""What can be trained: rule sets, drills and plans as the registries find them, and the commands that begin them."""

from __future__ import annotations

from collections.abc import Sequence
from contextlib import suppress
from dataclasses import dataclass, field
from enum import StrEnum

from imufeedback import resources, shipped
from imufeedback.commands import BeginBlock
from imufeedback.errors import BadFile, BadToml
from imufeedback.live.lesson import LessonBlock, plan_of
from imufeedback.records import Mode, Role
from imufeedback.rules import parse_rule_set


class WorkKind(StrEnum):
    """In the order in which they are listed."""

    RULES = "rules"
    DRILL = "drills"
    PLAN = "plans"


@dataclass(frozen=True, slots=True)
class Work:
    """One thing to train."""

    kind: WorkKind
    name: str
    title: str
    lines: tuple[str, ...] = ()
    """How it is done."""
    blocks: tuple[LessonBlock, ...] = ()

    @property
    def key(self) -> str:
        """What a player's file remembers."""
        return f"{self.kind}/{self.name}"


@dataclass
class Works:
    """All that can be trained here."""

    all: list[Work] = field(default_factory=list)
    troubles: list[str] = field(default_factory=list)
    """One line for each file that could not be read."""

    def find(self, key: str) -> Work | None:
        return next((one for one in self.all if one.key == key), None)


def available() -> Works:
    """What the product brings and what lies in the data folder. A file that cannot be read is left out and named."""
    works = Works()
    for kind in WorkKind:
        try:
            names = resources.available(kind)
        except BadFile as error:
            works.troubles.append(f"{kind}: {error}")
            continue
        for name in names:
            try:
                works.all.append(_read(kind, name))
            except (BadToml, BadFile) as error:
                works.troubles.append(f"{kind} {name}: {error}")
    works.troubles += shipped.cause_troubles()
    return works


def drill_titles() -> dict[str, str]:
    """Title of every drill by its name; those that cannot be read are left out."""
    titles = {}
    for name in resources.available(WorkKind.DRILL):
        with suppress(BadToml, BadFile):
            titles[name] = parse_rule_set(resources.text(WorkKind.DRILL, name), name).title
    return titles


def _read(kind: WorkKind, name: str) -> Work:
    text = resources.text(kind, name)
    if kind is WorkKind.PLAN:
        plan, blocks = plan_of(text, f"{name}.toml")
        plan_lines = [*(_plan_line(block) for block in blocks), *_plan_cautions(blocks)]
        return Work(kind, name, plan.title, tuple(plan_lines), blocks)
    found = parse_rule_set(text, f"{name}.toml")
    lines = (*found.drill.instructions, found.drill.stop) if found.drill else ()
    if not lines:  # no drill: what its rules look for
        lines = tuple(rule.text for rule in found.rules)[:6]
    role = Role.DRILL if kind is WorkKind.DRILL else Role.SWINGS
    block = LessonBlock(BeginBlock(found.title, role, Mode.CONCURRENT, rule_set=text))
    return Work(kind, name, found.title, lines, (block,))


def _plan_line(block: LessonBlock) -> str:
    return f"{block.name}: until its steps are done" if block.steps else f"{block.name}: {block.reps}"


def _plan_cautions(blocks: Sequence[LessonBlock]) -> list[str]:
    """Of a plan that asks for good reps of hip turns, what must be known before."""
    sets = [parse_rule_set(block.command.rule_set or "", block.name) for block in blocks if block.steps]
    return list(dict.fromkeys(one.drill.stop for one in sets if one.drill is not None))
