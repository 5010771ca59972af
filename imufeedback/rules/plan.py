"""Plans of a session: blocks in their order, each with a drill and a way of being told."""

from __future__ import annotations

from typing import Annotated

import msgspec
from msgspec import Meta

from imufeedback import toml
from imufeedback.commands import BeginBlock
from imufeedback.errors import BadToml
from imufeedback.records import Mode, Role


class Block(msgspec.Struct, frozen=True, forbid_unknown_fields=True):
    """One block."""

    name: str
    role: Role
    drill: str
    """Name of a drill or rule set."""
    reps: Annotated[int, Meta(ge=1, le=200)]
    mode: Mode
    share: Annotated[float, Meta(ge=0, le=1)] = 1.0
    """Part of the reps with tones."""
    estimate: bool = False
    steps: bool = False
    """Over when the drill's steps are done or stopped, and after `reps` at the latest."""

    def command(self, rule_set: str) -> BeginBlock:
        """What begins it; `rule_set` is the drill's TOML text."""
        return BeginBlock(self.name, self.role, self.mode, self.share, self.estimate, rule_set)


class Plan(msgspec.Struct, frozen=True, forbid_unknown_fields=True):
    """A session: a baseline without tones first, a test without tones last."""

    format: Annotated[int, Meta(ge=1, le=1)]
    name: str
    title: str
    blocks: tuple[Block, ...]


def parse_plan(text: str, where: str) -> Plan:
    """Read a plan; `where` names the file in errors. Raises BadToml for what is unreadable or out of range, and for a
    baseline or test that has tones: they show what the player does when nobody tells."""
    plan = toml.decode(text, Plan, where)
    for block in plan.blocks:
        if block.role in (Role.BASELINE, Role.TEST) and block.mode is not Mode.NONE:
            raise BadToml(
                f"block {block.name!r} is a {block.role} with tones", where=where, hint='write mode = "none" there'
            )
    return plan
