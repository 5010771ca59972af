"""``report`` from a recording."""

from __future__ import annotations


def test_a_report_of_a_recording(imufeedback, recording, tmp_path):
    out = tmp_path / "x.html"
    done = imufeedback("report", recording, "--out", out)
    assert done.status == 0
    text = out.read_text(encoding="utf-8")
    assert "one rep" in text
    assert "of 1</b> reps without a fault" in text
    shown, _, folded = text.partition("<details>")
    assert shown.count("<svg") == 9  # a curve; the body at four positions, two views each
    assert "What the two hips do" in folded
    assert imufeedback("report", recording, "--out", out).status == 1, "nothing is overwritten"
    assert imufeedback("report", recording, "--out", out, "--overwrite").status == 0


def test_no_report_of_what_is_no_recording(imufeedback, tmp_path):
    done = imufeedback("report", tmp_path / "none.mcap", "--out", tmp_path / "x.html")
    assert done.status == 1
    assert not (tmp_path / "x.html").exists()
