"""Traces: what does not fit its checksum is not shown."""

from __future__ import annotations

from pathlib import Path

import numpy as np
import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from imufeedback.errors import BadFile
from imufeedback.record.trace import Trace, TraceWriter
from imufeedback.records import Angles, PelvisAngles, frozen


@pytest.fixture(name="path")
def small_trace(tmp_path: Path) -> Path:
    values = np.random.default_rng(1).normal(size=(90, 3))
    with TraceWriter(tmp_path / "a.trace") as trace:
        for part in np.array_split(np.arange(90), 4):
            block = frozen(values[part])
            t_s = frozen(part / 200)
            trace.add(Angles(t_s, PelvisAngles(t_s, block, block, block, frozen(np.ones(block.shape), np.bool_)), ()))
    return tmp_path / "a.trace"


def test_what_was_written_is_read(path: Path) -> None:
    trace = Trace(path)
    values = np.degrees(np.random.default_rng(1).normal(size=(90, 3)))
    np.testing.assert_allclose(trace.stretch().angle_deg, values, rtol=1e-6)
    assert trace.columns[0] == "pelvis_turn_deg"
    assert len(trace) == 90


def test_a_trace_without_a_row(tmp_path: Path) -> None:
    with TraceWriter(tmp_path / "a.trace"):
        pass
    assert len(Trace(tmp_path / "a.trace")) == 0


@settings(deadline=None, max_examples=200, suppress_health_check=[HealthCheck.function_scoped_fixture])
@given(at=st.floats(0, 1, exclude_max=True), bit=st.integers(0, 7), cut=st.booleans())
def test_any_flipped_bit_or_lost_end_is_refused(path: Path, at: float, bit: int, cut: bool) -> None:
    good = path.read_bytes()
    data = bytearray(good)
    place = int(at * len(data))
    if cut:
        del data[place:]
    else:
        data[place] ^= 1 << bit
    path.write_bytes(data)
    with pytest.raises(BadFile, match="check the recording again") as failed:
        Trace(path)
    path.write_bytes(good)
    assert str(failed.value).count("\n") == 0


def test_a_trace_of_an_earlier_version_is_made_again(path: Path) -> None:
    head = b'{"imufeedback_trace": 1, "columns": ["pelvis_turn_deg"]}'.ljust(4095) + b"\n"
    path.write_bytes(head + bytes(16 * 5))
    with pytest.raises(BadFile, match="another version"):
        Trace(path)
