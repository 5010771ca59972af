"""The library's part of the set `edges`: it counts what goes wrong, and nothing does."""

from __future__ import annotations

from pathlib import Path

import numpy as np
import pytest

from imufeedback.measure.checks import Context
from imufeedback.measure.edges import bad
from imufeedback.measure.edges.forgetting import forms
from imufeedback.measure.edges.library import STEPS, library_cases
from imufeedback.record.library import entries


def test_steps_hold(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr("imufeedback.measure.edges.library.library_cases", lambda rng, count: library_cases(rng, 10))
    context = Context(tmp_path, None, quick=True, seed=5)
    lines = [line for step in STEPS for line in step.measure(context)]
    assert [line for line in lines if not line.ok] == []
    assert len(lines) == 9


def test_a_library_that_trusts_what_it_reads_is_found_out(monkeypatch: pytest.MonkeyPatch) -> None:
    count = len(bad.PLACES)
    with monkeypatch.context() as patched:
        patched.setattr(entries, "_together", lambda *words: "")
        assert library_cases(np.random.default_rng(1), count).silent


def test_what_raises_is_counted_and_goes_on(monkeypatch: pytest.MonkeyPatch) -> None:
    def explode(path: Path, rng: np.random.Generator) -> None:
        raise RecursionError(path.name)

    monkeypatch.setattr(bad, "PLACES", (("edits: explode", explode), ("index: empty", bad.empty)))
    found = library_cases(np.random.default_rng(1), 4)
    assert (found.tried, found.tracebacks, found.hidden) == (4, 2, 0)
    assert "RecursionError: 0.edits.jsonl" in found.said[0]


def test_forms_of_a_name() -> None:
    found = forms("José")
    assert "JOSÉ".encode() in found
    assert "Jose\u0301".encode() in found
    assert rb"Jos\u00e9" in found
