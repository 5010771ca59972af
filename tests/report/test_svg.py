"""Pictures: places that can be checked by hand."""

from __future__ import annotations

import re
from xml.etree import ElementTree

import numpy as np

from imufeedback.report import svg


def picture(y: list[float], sd: list[float] | None = None) -> str:
    values = np.array(y)
    line = svg.PlotLine(np.arange(float(len(y))), values, "good", "a & b", None if sd is None else np.array(sd))
    return svg.draw(svg.Plot("t <", "x", "y", [line]))


def test_it_is_xml():
    root = ElementTree.fromstring(picture([1.0, 2.0, 3.0], [0.1, 0.2, 0.3]))
    assert root.get("aria-label") == "t <"


def test_a_gap_breaks_line_and_band():
    text = picture([0.0, 1.0, np.nan, 3.0, 4.0], [1.0] * 5)
    line = re.search('class="line good" d="([^"]*)"', text)
    band = re.search('class="band good" d="([^"]*)"', text)
    assert line is not None
    assert band is not None
    assert line[1].count("M") == 2
    assert band[1].count("Z") == 2
    assert "nan" not in text


def test_more_is_higher():
    text = picture([0.0, 10.0])
    points = re.search('class="line good" d="M([^"]*)"', text)
    assert points is not None
    (x0, y0), (x1, y1) = [tuple(map(float, one.split())) for one in points[1].split("L")]
    assert x1 > x0
    assert y1 < y0


def test_nothing_to_draw():
    assert "nothing to draw" in picture([np.nan, np.nan])


def test_one_value_has_a_range():
    assert "nan" not in picture([5.0])


def test_ticks_are_round():
    assert svg.ticks(-44.0, 91.0, 8) == [-40.0, -20.0, 0.0, 20.0, 40.0, 60.0, 80.0]
    assert np.allclose(svg.ticks(0.0, 1.0, 6), [0.0, 0.2, 0.4, 0.6, 0.8, 1.0])


def test_a_line_of_many_points_keeps_its_peak():
    values = [1.0] * 5000
    values[1234] = 50.0
    text = picture(values)
    assert len(text) < 12_000
    points = re.search('class="line good" d="M([^"]*)"', text)
    assert points is not None
    heights = [one.split()[1] for one in points[1].split("L")]
    assert heights.count(min(heights, key=float)) == 1


def test_the_parts_of_a_band_fit_each_other_when_it_is_thinned():
    rng = np.random.default_rng(1)
    text = picture(list(rng.normal(size=900)), [1.0] * 900)
    band = re.search('class="band good" d="M([^"]*)Z"', text)
    assert band is not None
    x = [float(one.split()[0]) for one in band[1].split("L")]
    assert x == [*sorted(x[: len(x) // 2]), *sorted(x[len(x) // 2 :], reverse=True)]
    assert x[: len(x) // 2] == x[: len(x) // 2 - 1 : -1]
