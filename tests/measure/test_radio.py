"""The radio set in a reduced form: what it measures must hold here too, but for what the machine's load decides."""

from __future__ import annotations

import itertools
from pathlib import Path

import numpy as np
import pytest

from imufeedback import resources
from imufeedback.measure import arrivals, bad_day, live_load
from imufeedback.measure.checks import Context, Measured
from imufeedback.measure.sets import radio
from imufeedback.packets import parse_layout
from imufeedback.synth.script import make_script
from imufeedback.synth.stream import sensor_streams


def lines(step, tmp_path: Path) -> list[Measured]:
    return list(step(Context(tmp_path, None, quick=True, seed=2)))


def assert_all_hold(found: list[Measured]) -> None:
    assert found
    for line in found:
        assert line.ok, f"{line.check}: {line.value} {line.unit}, limit {line.limit}"


def test_the_worst_day_loses_nothing_that_was_delivered(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(radio, "QUICK_S", 40.0)
    assert_all_hold(lines(radio.worst_day, tmp_path))
    assert not list(tmp_path.iterdir())


def test_an_item_that_the_recording_lacks_is_seen(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """The check can fail: a journal that drops a packet now and then is found out."""
    write = bad_day.JournalWriter.write
    count = [0]

    def forgetful(self, item) -> None:
        count[0] += 1
        if count[0] % 500:
            write(self, item)

    monkeypatch.setattr(bad_day.JournalWriter, "write", forgetful)
    assert bad_day.play(4.0, 1, tmp_path).not_recorded > 0


def test_a_looped_stream_counts_on() -> None:
    script = make_script(reps=1, seed=1)
    layout = parse_layout(resources.text("layouts", "house"), "house")
    one = sensor_streams(script, layout)[0]
    packets = list(bad_day.looped(one, script.ready_s, script.duration_s * 2.5))
    heads = [bad_day.HEADER.unpack_from(payload) for _, payload in packets]
    assert len(packets) == pytest.approx(script.duration_s * 2.5 * 50, rel=0.01)
    assert {(b[2] - a[2]) & 0xFFFF for a, b in itertools.pairwise(heads)} == {1}
    assert {(b[3] - a[3]) & 0xFFFFFFFF for a, b in itertools.pairwise(heads)} <= {19999, 20000, 20001}
    due = [at for at, _ in packets]
    assert np.all(np.diff(due) > 0)


def test_links_are_as_bad_as_they_claim() -> None:
    rng = np.random.default_rng(1)
    one = arrivals.stream(rng, 60.0)
    late = one.arrival_s - one.true_s[3::4]
    assert late.min() > arrivals.MAC_S
    assert late.max() > 0.1
    assert np.all(np.diff(one.arrival_s) >= 0)


def test_alignment_holds(tmp_path: Path) -> None:
    assert_all_hold(lines(radio.alignment, tmp_path))


def test_outages_and_silence_hold(tmp_path: Path) -> None:
    found = lines(radio.links, tmp_path)
    # sample times are those of this machine's scheduler: only finite here
    assert_all_hold([line for line in found if line.unit != "ms"])
    assert all(np.isfinite(line.value) for line in found)
    assert_all_hold(lines(radio.silence, tmp_path))


def test_random_payloads_hold(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(radio, "QUICK_PAYLOADS", 3000)
    assert_all_hold(lines(radio.payloads, tmp_path))


def test_what_the_machine_decides_is_measured(tmp_path: Path) -> None:
    (line,) = lines(radio.cost, tmp_path)
    assert 1.0 < line.value < 1000.0
    assert 0.001 < live_load.measure(2.0, 1) < 1.0
