"""Trends over weeks: a feature's mean and spread, session by session, with and without tones apart."""

from __future__ import annotations

from collections import Counter
from collections.abc import Callable, Sequence
from pathlib import Path

import numpy as np
import pyqtgraph as pg
from PySide6.QtCore import Qt
from PySide6.QtWidgets import QComboBox, QHBoxLayout, QLabel, QVBoxLayout, QWidget

from imufeedback import resources
from imufeedback.app import numerals, palette
from imufeedback.app.labels import pixel_font
from imufeedback.app.limits import rule_set_of
from imufeedback.app.words import trend_story
from imufeedback.phrases import phrase
from imufeedback.record.library import Library
from imufeedback.record.library.library import TrendPoint
from imufeedback.report.plain_words import feature_word, unit_of

FIRST = ("trail_thigh_flat_turn_deg", "trail_thigh_loss_top_finish_deg", "trail_thigh_angle_top_deg")
"""Features at the head of the list."""
KINDS: tuple[tuple[bool | None, str, Callable[[], str], str, Qt.PenStyle], ...] = (
    (True, "with tones", lambda: palette.TRAIL, "o", Qt.PenStyle.SolidLine),
    (False, "without tones", lambda: palette.LEAD, "t1", Qt.PenStyle.DashLine),
    (None, "tones not noted", lambda: palette.SOFT_INK, "s", Qt.PenStyle.DotLine),
)


class TrendPage(QWidget):
    """One plot and the choice of the feature."""

    def __init__(self, library: Library) -> None:
        super().__init__()
        self._library = library
        self._player: str | None = None
        self.feature = QComboBox()
        self.feature.setMinimumContentsLength(24)
        self.feature.setAccessibleName(phrase("review.show"))
        self.feature.currentIndexChanged.connect(lambda *_: self._draw())
        self.plot = pg.PlotWidget()
        item = self.plot.getPlotItem()
        item.setMenuEnabled(False)
        item.hideButtons()
        item.showGrid(x=False, y=True, alpha=0.15)
        for name in ("left", "bottom"):
            item.getAxis(name).setStyle(tickFont=pixel_font(12))
        self.words, self.story = QLabel(), QLabel()
        for label in (self.words, self.story):
            label.setWordWrap(True)
        row = QHBoxLayout()
        row.addWidget(QLabel(phrase("review.show")))
        row.addWidget(self.feature)
        row.addStretch(1)
        column = QVBoxLayout(self)
        column.addLayout(row)
        column.addWidget(self.story)
        column.addWidget(self.plot, 1)
        column.addWidget(self.words)

    def restyle(self) -> None:
        """Colours of the look that is in use."""
        self.plot.setBackground(palette.PAPER)
        for name in ("left", "bottom"):
            self.plot.getPlotItem().getAxis(name).setTextPen(pg.mkPen(palette.SOFT_INK))
        self._draw()

    def show_player(self, player: str | None) -> None:
        self._player = player
        there = self._library.features
        chosen = self.feature.currentData()
        self.feature.blockSignals(True)
        self.feature.clear()
        works = self._worked_on(player)
        first = [one for one in dict.fromkeys((*works, *FIRST)) if one in there]
        for name in [*first, *(one for one in there if one not in first)]:
            self.feature.addItem(feature_words(name), name)
        self.feature.setCurrentIndex(max(self.feature.findData(chosen), 0))
        self.feature.blockSignals(False)
        self._draw()

    def _worked_on(self, player: str | None) -> list[str]:
        """Features of the rules that were not met most often in the player's last session with reps."""
        sessions = [one for one in self._library.sessions(player) if one.reps]
        if not sessions:
            return []
        reps = self._library.reps(player, sort="start_utc", descending=True)
        last = str(sessions[-1].path.relative_to(self._library.root).as_posix())
        rules = Counter(rule for one in reps if one["path"] == last for rule in one["rules"].split())
        features = _features_of_rules()
        return [features[rule] for rule, _ in rules.most_common() if rule in features]

    def _tell(self, name: str, points: Sequence[TrendPoint]) -> None:
        """The first and the last session in a sentence."""
        by_path: dict[Path, list[TrendPoint]] = {}
        for one in points:
            by_path.setdefault(one.path, []).append(one)
        means = [sum(one.mean * one.reps for one in part) / sum(one.reps for one in part) for part in by_path.values()]
        unit = "deg" if name.endswith("_deg") else "1"
        first, last = (numerals.quantity(one, unit) for one in (means[0], means[-1]))
        self.story.setText(trend_story(feature_words(name).partition(" (")[0], first, last, len(means)))

    def _draw(self) -> None:
        item = self.plot.getPlotItem()
        item.clear()
        name = self.feature.currentData()
        points = self._library.trend(name, self._player) if name else []
        if not points:
            self.words.setText(phrase("review.no_results_yet_open_the"))
            self.story.clear()
            return
        self._tell(name, points)
        places = {path: k for k, path in enumerate(dict.fromkeys(one.path for one in points))}
        for kind, _, ink, symbol, style in KINDS:
            colour = ink()
            chosen = [one for one in points if one.tones is kind]
            if chosen:
                x = np.array([places[one.path] for one in chosen], dtype=np.float64)
                mean, sd = np.array([one.mean for one in chosen]), np.array([one.sd for one in chosen])
                item.addItem(pg.ErrorBarItem(x=x, y=mean, height=2 * sd, beam=0.08, pen=pg.mkPen(colour, width=1)))
                pen, brush = pg.mkPen(colour, width=2, style=style), pg.mkBrush(colour)
                item.addItem(pg.PlotDataItem(x, mean, pen=pen, symbol=symbol, symbolSize=9, symbolBrush=brush))
        days = {places[one.path]: "?" if one.started is None else f"{one.started:%d %b}" for one in points}
        step = max(len(days) // 12, 1)
        item.getAxis("bottom").setTicks([[(k, days[k]) for k in sorted(days)[::step]]])
        item.setLabel("left", self.feature.currentText(), color=palette.SOFT_INK)
        item.autoRange(padding=0.08)
        shown = {one.tones for one in points}
        dots = ((ink(), word) for kind, word, ink, _, _ in KINDS if kind in shown)
        key = " &nbsp; ".join(f"<span style='color:{colour}'>●</span> {word}" for colour, word in dots)
        self.words.setText(f"{key} &nbsp; {phrase('review.bars_spread_of_the_reps')}")


def feature_words(name: str) -> str:
    """What a feature is in plain words, with its unit in brackets."""
    try:
        word, unit = feature_word(name), unit_of(name)
    except KeyError:  # of a recording that another version judged
        return name.replace("_", " ")
    word = word[:1].upper() + word[1:]
    return f"{word} ({unit})" if unit else word


def _features_of_rules() -> dict[str, str]:
    """Feature by rule, of the rule sets that ship and of one's own."""
    found: dict[str, str] = {}
    for name in resources.available("rules"):
        base = rule_set_of(resources.text("rules", name))
        found |= {} if base is None else {rule.id: rule.feature for rule in base.rules}
    return found
