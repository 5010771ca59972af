"""What can be trained: rule sets, drills and plans as the registries find them, and the commands that begin them."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, field
from enum import StrEnum

from imufeedback import resources
from imufeedback.commands import BeginBlock
from imufeedback.errors import BadFile, BadToml
from imufeedback.records import Mode, Role
from imufeedback.rules import parse_rule_set
from imufeedback.rules.plan import Block as Planned
from imufeedback.rules.plan import parse_plan


class WorkKind(StrEnum):
    """In the order in which they are listed."""

    RULES = "rules"
    DRILL = "drills"
    PLAN = "plans"


@dataclass(frozen=True, slots=True)
class Block:
    """One block of reps: the command that begins it, and how many reps it has (None: as many as one likes)."""

    command: BeginBlock
    reps: int | None = None

    @property
    def name(self) -> str:
        return self.command.name


@dataclass(frozen=True, slots=True)
class Work:
    """One thing to train."""

    kind: WorkKind
    name: str
    title: str
    lines: tuple[str, ...] = ()
    """How it is done."""
    blocks: tuple[Block, ...] = ()

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
    return works


def block_at(blocks: Sequence[Block], reps_done: int) -> tuple[int, Block] | None:
    """Number and block of the next rep, after so many of the whole session; None when all are done."""
    for number, block in enumerate(blocks):
        if block.reps is None or reps_done < block.reps:
            return number, block
        reps_done -= block.reps
    return None


def _read(kind: WorkKind, name: str) -> Work:
    text = resources.text(kind, name)
    if kind is WorkKind.PLAN:
        plan = parse_plan(text, f"{name}.toml")
        blocks = tuple(_planned(block) for block in plan.blocks)
        return Work(kind, name, plan.title, tuple(_plan_line(block) for block in blocks), blocks)
    found = parse_rule_set(text, f"{name}.toml")
    lines = found.drill.instructions if found.drill else ()
    if not lines:  # no drill: what its rules look for
        lines = tuple(rule.text for rule in found.rules)[:6]
    role = Role.DRILL if kind is WorkKind.DRILL else Role.SWINGS
    block = Block(BeginBlock(found.title, role, Mode.CONCURRENT, rule_set=text))
    return Work(kind, name, found.title, lines, (block,))


def _planned(block: Planned) -> Block:
    """Raises BadToml for a drill that is not there or cannot be used: not when its block begins, but before."""
    kind = WorkKind.DRILL if block.drill in resources.available(WorkKind.DRILL) else WorkKind.RULES
    text = resources.text(kind, block.drill)
    parse_rule_set(text, f"block {block.name!r}: {block.drill}.toml")
    return Block(block.command(text), block.reps)


def _plan_line(block: Block) -> str:
    return f"{block.name}: {block.reps}"
