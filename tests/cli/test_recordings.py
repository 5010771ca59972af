"""``recordings check`` and ``recover``: never a success for a file that does not read."""

from __future__ import annotations


def test_check_says_what_is_there(imufeedback, recording):
    done = imufeedback("recordings", "check", recording)
    assert done.status == 0
    assert "whole:" in done.out
    assert "in 100 % of the time" in done.out


def test_check_fails_for_a_file_that_does_not_read(imufeedback, recording, tmp_path):
    (tmp_path / "a.mcap").write_bytes(b"no recording")
    done = imufeedback("recordings", "check", recording, tmp_path / "a.mcap", tmp_path / "none.mcap")
    assert done.status == 1
    assert "a.mcap\n  cannot be read: this is no recording" in done.out
    assert "no such file" in done.out


def test_recover_makes_a_file_that_analyses(imufeedback, recording, tmp_path):
    torn = tmp_path / "torn.mcap"
    torn.write_bytes(recording.read_bytes()[:200_000])
    assert imufeedback("recordings", "check", torn).status == 1
    done = imufeedback("recordings", "recover", torn)
    assert done.status == 0
    assert "torn-recovered.mcap" in done.out
    assert imufeedback("analyse", tmp_path / "torn-recovered.mcap").status == 0


def test_recover_of_nothing_fails(imufeedback, tmp_path):
    (tmp_path / "a.mcap").write_bytes(b"no recording")
    done = imufeedback("recordings", "recover", tmp_path / "a.mcap")
    assert done.status == 1
    assert "not recovered" in done.err
    assert [one.name for one in tmp_path.iterdir()] == ["a.mcap"]
