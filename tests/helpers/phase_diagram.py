"""The phase table as a page: a diagram and the conditions in words. ``PHASES.md`` is this, and a test compares them."""

from __future__ import annotations

from imufeedback.motion.phases import TRANSITIONS, Condition

WORDS = {
    "stood_up": "both thighs straighten, or the turn goes further than a backswing",
    "left_away": "the turn leaves away from the target",
    "sets_off": "the turn leaves towards the target, where a rep needs no backswing",
    "left_forward": "the turn leaves towards the target",
    "no_rep": "too long, a step, or data are missing",
    "reversed": "the turn comes back from far enough",
    "came_back": "the turn comes home without having gone far",
    "went_on_back": "it was no top: the turn goes further back",
    "late": "the turn is about where impact is",
    "stopped_through": "the turn rests, far enough through",
    "came_home": "the turn rests at address",
    "gave_up": "the turn goes slowly back again",
    "stuck": "the turn rests on its way for seconds",
    "stopped": "the turn rests",
}
"""What each condition says, by its name in `phases`."""


def name_of(condition: Condition) -> str:
    return condition.__name__.lstrip("_")


def mermaid() -> str:
    """The table as a state diagram; every way out with its condition, in the order in which they are tried."""
    lines = ["stateDiagram-v2", "    direction LR", "    waiting --> address: zeroed at an address"]
    for phase, ways in TRANSITIONS.items():
        for condition, target in ways:
            lines.append(f"    {_id(phase)} --> {_id(target)}: {name_of(condition).replace('_', ' ')}")
    lines.append("    finish --> waiting: the rep is measured")
    return "\n".join(lines)


def page() -> str:
    """The whole of ``PHASES.md``."""
    used = list(dict.fromkeys(name_of(condition) for ways in TRANSITIONS.values() for condition, _ in ways))
    words = "\n".join(f"| {one.replace('_', ' ')} | {WORDS[one]} |" for one in used)
    return (
        "# Phases of a rep\n\n"
        "Made from the table in `phases.py`; do not edit. "
        "Again: `PYTHONPATH=tests/helpers python -c \"from phase_diagram import page; print(page(), end='')\" "
        "> imufeedback/motion/PHASES.md`\n\n"
        f"```mermaid\n{mermaid()}\n```\n\n"
        f"| way out | taken when |\n|---|---|\n{words}\n"
    )


def _id(phase: str) -> str:
    return str(phase).replace("-", "_")
