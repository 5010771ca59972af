"""What the benchmarks share: one golfer whose items and samples all of them take.

Everything in this folder is a measurement: ``python -m pytest -m bench``. Times are processor times, because other
programs run too.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from pathlib import Path

import pytest

from imufeedback.measure import scaling
from imufeedback.measure.golfer import items
from imufeedback.measure.players import typical
from imufeedback.measure.speed import Prepared, prepared
from imufeedback.record.journal import JournalWriter
from imufeedback.records import Item
from imufeedback.synth.script import Script, make_script
from imufeedback.synth.sensors import WORN


@dataclass(frozen=True)
class Given:
    """One session in every form."""

    script: Script
    items: list[Item]
    """Of the lossless layout, with its calibration movements."""
    path: Path
    """The same as a recording."""
    samples: Prepared
    """The same samples, timed, ready for a filter."""


@pytest.fixture(scope="session", name="given")
def make_given(tmp_path_factory: pytest.TempPathFactory) -> Given:
    script = make_script(reps=2, seed=1)
    made = list(items(script, WORN, model=typical(soft_tissue=False)))
    with JournalWriter(tmp_path_factory.mktemp("bench") / "whole.mcap", title="bench") as journal:
        for item in made:
            journal.write(item)
    return Given(script, made, journal.path, prepared(script))


@pytest.fixture(scope="session", name="live")
def make_live() -> list[Item]:
    """Packets of the project's own sensors, fitted from the beginning."""
    return list(scaling.session(make_script(reps=2, seed=1)))


@pytest.fixture
def in_turn() -> Callable[..., Callable[[], None]]:
    """Turns ``work(item)`` into a call without arguments that takes the next item each time; the end is refused."""

    def make(work: Callable[[Item], object], things: list[Item]) -> Callable[[], None]:
        left = iter(things)

        def one() -> None:
            work(next(left))

        return one

    return make
