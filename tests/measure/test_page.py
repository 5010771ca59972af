"""The page that stands alone: escaped, complete, nothing from anywhere else."""

from __future__ import annotations

import re
from html.parser import HTMLParser
from typing import Any

import pytest

from imufeedback.measure import coach_words
from imufeedback.measure.checks import Band, Measured, at_most, exactly
from imufeedback.measure.page import page
from imufeedback.measure.rows import FIELDS
from imufeedback.measure.run import Report
from imufeedback.report import svg

VOID = {"meta", "line", "rect", "path", "br"}


class Outline(HTMLParser):
    """Every tag is closed in its order; texts by the tag that they stand in."""

    def __init__(self, text: str) -> None:
        super().__init__()
        self.open: list[str] = []
        self.tags: list[tuple[str, dict[str, str | None]]] = []
        self.texts: list[tuple[str, str]] = []
        self.feed(text)
        self.close()
        assert not self.open

    def handle_starttag(self, tag: str, attrs: list[tuple[str, str | None]]) -> None:
        self.tags.append((tag, dict(attrs)))
        if tag not in VOID:
            self.open.append(tag)

    def handle_startendtag(self, tag: str, attrs: list[tuple[str, str | None]]) -> None:
        self.tags.append((tag, dict(attrs)))

    def handle_endtag(self, tag: str) -> None:
        assert self.open.pop() == tag

    def handle_data(self, data: str) -> None:
        if data.strip():
            self.texts.append((self.open[-1], data.strip()))

    def all(self, tag: str) -> list[dict[str, str | None]]:
        return [attributes for name, attributes in self.tags if name == tag]


def row(**values: Any) -> dict[str, Any]:
    usual = ("joint3d", "one", "imufeedback", 2.0, 1.0, 1.7, 1.9, 0.5)
    return dict(zip(FIELDS, usual, strict=True)) | values


LINES = [
    ("accuracy", Measured("typical sensors: trail thigh angle, RMSE over reps", 1.25, at_most(1.5), "deg")),
    ("accuracy", Measured("joint3d: errors within one standard deviation", 90, Band(60, 76), "%")),
    ("accuracy", Measured("losses: angles shown inside the gap", float("nan"), exactly(0), "steps")),
]
ROWS = [
    row(),
    row(trial="two", total_rmse_deg=3.0),
    row(method="vqf", total_rmse_deg=4.0),
    row(method="mekf", total_rmse_deg=99.0),
    row(set="human_walk", total_rmse_deg=None, heading_rmse_deg=None, floor_deg=None),
]


@pytest.fixture(name="report")
def a_report() -> Report:
    return Report(True, 7, list(LINES), ["accuracy: tilt: no recordings here"], list(ROWS))


def test_it_is_a_whole_document_without_anything_from_elsewhere(report: Report) -> None:
    text = page(report)
    seen = Outline(text)
    assert text.startswith("<!DOCTYPE html>")
    assert seen.all("html")[0]["lang"] == "en"
    for tag in ("script", "link", "img", "iframe", "object"):
        assert not seen.all(tag)
    assert not re.search(r"https?:|url\(|@import|src=|href=", text)
    policies = [one["content"] for one in seen.all("meta") if one.get("http-equiv") == "Content-Security-Policy"]
    assert policies == ["default-src 'none'; style-src 'unsafe-inline'"]
    assert "size: A4" in text
    assert any(one.get("name") == "viewport" for one in seen.all("meta"))


def test_the_coach_reads_plain_words_with_units_and_an_honest_result(report: Report) -> None:
    texts = [text for _, text in Outline(page(report)).texts]
    assert "Trail thigh angle in a full swing: how far off" in texts
    assert "1.25°" in texts
    assert "at most 1.5°" in texts
    assert "60 to 76 of 100" in texts
    assert texts.count("not measured") == 2  # value and result
    joined = " ".join(texts)
    assert "1 of 3 promises hold" in joined
    assert "quick form" in joined
    assert "accuracy: tilt: no recordings here" in texts
    assert "seed 7" in joined


def test_the_engineer_reads_every_line_and_every_row(report: Report) -> None:
    text = page(report)
    engineer = Outline(text[text.index('<div class="engineer">') :].replace("</body></html>", ""))
    texts = [one for _, one in engineer.texts]
    for name, line in LINES:
        assert name in texts
        assert line.check in texts
        assert str(line.limit) in texts
    assert texts.count("imufeedback") == 3
    assert {"vqf", "mekf", "two", "99.00", "human_walk"} <= set(texts)
    assert texts.count("–") == 1 + 3  # a value that is missing, three that have no meaning
    assert len(engineer.all("tr")) == 2 + len(LINES) + len(ROWS)


def test_what_a_file_or_a_check_is_called_is_text_and_never_markup() -> None:
    nasty = "<script>alert(1)</script>&\"'"
    report = Report(False, 1, [("a<b", Measured(nasty, 1, at_most(2), nasty))], [nasty])
    report.rows = [row(set=nasty, trial=nasty, method=nasty)]
    text = page(report)
    assert "<script" not in text
    assert "alert(1)&lt;/script&gt;" in text
    assert not Outline(text).all("script")


def test_without_rows_there_is_no_picture() -> None:
    seen = Outline(page(Report(False, 1, list(LINES))))
    assert not seen.all("svg")
    assert len(seen.all("table")) == 2


def test_a_picture_for_each_set_says_in_words_what_it_shows(report: Report) -> None:
    pictures = Outline(page(report)).all("svg")
    assert [one["role"] for one in pictures] == ["img", "img"]
    assert "imufeedback 2.5°; vqf 4°; mekf 99°" in str(pictures[0]["aria-label"])
    assert "imufeedback 1.7°" in str(pictures[1]["aria-label"])


def test_bars_are_as_long_as_their_values_and_the_longest_are_cut() -> None:
    seen = Outline(
        svg.bars({"vqf": 4, "imufeedback": 2, "mekf": 99}, unit="°", highlight="imufeedback", floor=1, title="t")
    )
    own, vqf, mekf = (float(str(one["width"])) for one in seen.all("rect"))
    assert vqf == pytest.approx(2 * own, rel=1e-3)
    assert mekf == pytest.approx(svg.LONGEST * own, rel=1e-3)
    assert len(seen.all("path")) == 1
    (floor,) = seen.all("line")
    assert float(str(floor["x1"])) - svg.NAME == pytest.approx(own / 2, abs=0.1)


def test_a_chart_of_nothing_but_zeros() -> None:
    assert len(Outline(svg.bars({"a": 0.0}, unit="", highlight="a", floor=None, title="t")).all("rect")) == 1


@pytest.mark.parametrize(
    ("line", "amount", "wanted", "holds"),
    [
        (Measured("x", 0.946, at_most(0.95), "ratio"), "0.946 times", "at most 0.95 times", "yes"),
        (Measured("x", 1721.4, at_most(60), "µs"), "1721 µs", "at most 60 µs", "no"),
        (Measured("x", 92, Band(91, None), "%"), "92 of 100", "at least 91 of 100", "yes"),
        (Measured("x", 0, exactly(0), "reps"), "0 reps", "exactly 0 reps", "yes"),
        (Measured("x", 5, Band(None, None), "deg"), "5°", "–", "yes"),
    ],
)
def test_amounts_in_words(line: Measured, amount: str, wanted: str, holds: str) -> None:
    assert (coach_words.amount(line.value, line.unit), coach_words.wanted(line), coach_words.holds(line)) == (
        amount,
        wanted,
        holds,
    )


def test_a_check_without_plain_words_is_told_as_it_is() -> None:
    assert coach_words.sentence("golfer without noise: turn, RMS") == "Golfer without noise: turn, RMS"
    assert coach_words.sentence("60 minutes: last 10 reps / first 10, RMSE").startswith("After 60 minutes")
    assert (
        coach_words.sentence("typical sensors: thigh angle at top, RMSE") == "Trail thigh angle at “top”: how far off"
    )
