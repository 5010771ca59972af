"""Which sensors are there and where they are worn."""

from __future__ import annotations

from collections.abc import Mapping

from PySide6.QtCore import Qt, Signal
from PySide6.QtGui import QFont
from PySide6.QtWidgets import (
    QCheckBox,
    QComboBox,
    QGridLayout,
    QHBoxLayout,
    QLabel,
    QPushButton,
    QVBoxLayout,
    QWidget,
)

from imufeedback.app import palette
from imufeedback.app.labels import add_key, pixel_font
from imufeedback.app.scrolling import fold
from imufeedback.app.signs import SignMark
from imufeedback.app.start import texts
from imufeedback.app.start.body_picture import BodyPicture
from imufeedback.app.start.others_panel import OthersPanel
from imufeedback.app.start.readiness import HERE, NEEDED, Readiness
from imufeedback.app.words import segment_word
from imufeedback.phrases import phrase
from imufeedback.records import LinkState, Segment

PLACES = (*NEEDED, Segment.LEFT_SHANK, Segment.RIGHT_SHANK, Segment.LEAD_FOREARM)


class SensorPage(QWidget):
    """A body with its sensors, a line for each, and the two ways to get any."""

    search_wanted = Signal()
    try_wanted = Signal()
    stream_wanted = Signal()
    placed = Signal(str, object)
    """Sensor, and the `Segment` it is worn on or None."""
    ticked = Signal(str, bool)
    """Sensor, and whether it takes part."""
    blink_wanted = Signal(str)
    """Sensor."""

    def __init__(self) -> None:
        super().__init__()
        self.hint = QLabel(phrase("start.sensors_hint"))
        self.hint.setWordWrap(True)
        self.trouble = QLabel()
        self.trouble.setObjectName("trouble")
        self.trouble.setWordWrap(True)
        self.try_hint = QLabel(phrase("start.try_hint"))
        self.try_hint.setWordWrap(True)
        self.body = BodyPicture()
        self.search = QPushButton(texts.search_button(False))
        add_key(self.search, "Ctrl+F")
        self.try_it = QPushButton(phrase("start.try_button"))
        add_key(self.try_it, "Ctrl+T")
        self.stream = QPushButton(phrase("start.stream_button"))
        self.others = OthersPanel()
        self.rows: dict[str, SensorRow] = {}
        self._others: tuple[tuple[str, str], ...] = ()
        self._font = QFont()
        self._arrange()
        self.search.clicked.connect(self.search_wanted)
        self.try_it.clicked.connect(self.try_wanted)
        self.stream.clicked.connect(self.stream_wanted)

    def _arrange(self) -> None:
        self._grid = QGridLayout()
        self._grid.setColumnStretch(3, 1)
        buttons = QHBoxLayout()
        buttons.addWidget(self.search)
        buttons.addWidget(self.stream)
        buttons.addStretch(1)
        right = QVBoxLayout()
        right.setSpacing(12)
        right.addWidget(self.hint)
        right.addLayout(buttons)
        right.addWidget(self.trouble)
        right.addLayout(self._grid)
        right.addWidget(self.others, 1)
        right.addStretch(0)
        right.addWidget(self.try_hint)
        right.addWidget(self.try_it, 0, Qt.AlignmentFlag.AlignLeft)
        self._row = row = QHBoxLayout(self)
        row.setContentsMargins(0, 0, 0, 0)
        row.setSpacing(20)
        row.addWidget(self.body, 43)
        row.addLayout(right, 57)

    def focus(self) -> None:
        if not self.others.focus():
            self.search.setFocus()

    def show_ready(self, ready: Readiness, battery: Mapping[str, float]) -> None:
        """What is there now."""
        self.body.show_links(by_place(ready))
        for sensor, state in ready.links.items():
            if sensor not in self.rows and state in HERE:
                self._add(sensor)
        for sensor, row in self.rows.items():
            state = ready.links.get(sensor, LinkState.LOST)
            row.show_state(state, battery.get(sensor), ready.roles.get(sensor), locked=ready.running)
            row.set_busy(ready.running or ready.searching)
        trouble = "\n".join(filter(None, (ready.search_trouble, ready.absent)))
        self.trouble.setText(trouble)
        self.trouble.setVisible(bool(trouble) and not ready.running and not ready.virtual)
        self._show_others(ready)
        person = ready.person is not None and bool(ready.person.cautions_seen)
        self.search.setText(texts.search_button(bool(self.rows) or bool(ready.search_trouble)))
        self.search.setEnabled(not ready.running and not ready.searching)
        self.try_it.setEnabled(person and not ready.running and not ready.searching)
        self.stream.setVisible(bool(self.rows) and not ready.running)
        self.stream.setEnabled(ready.can_stream)
        for widget in (self.search, self.try_it):
            widget.setVisible(not ready.running)
        # Room for the lists: hints are for those who have none yet.
        alone = not ready.running and not self.rows and not ready.others
        self.hint.setVisible(alone)
        self.try_hint.setVisible(alone)

    def _show_others(self, ready: Readiness) -> None:
        others = () if ready.running else ready.others
        if others != self._others:
            self._others = others
            self.others.show_others(others, ask=bool(ready.missing_places()))
        self.others.set_busy(ready.searching)

    def forget(self) -> None:
        """A new search begins."""
        for row in self.rows.values():
            row.remove_from(self._grid)
        self.rows.clear()

    def _add(self, sensor: str) -> None:
        row = SensorRow(sensor, self._font)
        self.rows[sensor] = row
        row.add_to(self._grid, len(self.rows))
        row.place.activated.connect(lambda _, row=row: self.placed.emit(row.sensor, row.chosen))
        row.tick.clicked.connect(lambda on, row=row: self.ticked.emit(row.sensor, on))
        row.blink.clicked.connect(lambda _=False, row=row: self.blink_wanted.emit(row.sensor))

    def rescale(self, scale: float, *, narrow: bool) -> None:
        fold(self._row, narrow=narrow)
        self.body.setMinimumHeight(round(300 * scale) if narrow else 0)
        self._font = pixel_font(15 * scale)
        self.body.rescale(scale)
        for widget in (self.hint, self.trouble, self.try_hint, self.search, self.try_it, self.stream):
            widget.setFont(self._font)
        self.others.refont(self._font)
        for row in self.rows.values():
            row.refont(self._font)


class SensorRow:
    """Tick, sign, name, words and place of one of this player's sensors."""

    def __init__(self, sensor: str, font: QFont) -> None:
        self.sensor = sensor
        self.tick = QCheckBox()
        self.tick.setAccessibleName(phrase("start.take_part", sensor=sensor))
        self.tick.setToolTip(phrase("start.take_part", sensor=sensor))
        self.blink = QPushButton(phrase("start.blink_short"))
        self.blink.setStyleSheet("padding: 3px 8px;")
        self.blink.setAccessibleName(phrase("start.blink_this", sensor=sensor))
        self.sign = SignMark(palette.PaintedSign.RING, palette.SOFT_INK)
        self.name = QLabel(sensor)
        self.words = QLabel()
        self.words.setWordWrap(True)
        self.place = QComboBox()
        self.place.setAccessibleName(phrase("start.place_of", sensor=sensor))
        self.place.addItem(phrase("start.no_place"), None)
        for segment in PLACES:
            self.place.addItem(segment_word(segment), segment)
        self.refont(font)

    @property
    def _widgets(self) -> tuple[QWidget, ...]:
        return self.tick, self.sign, self.name, self.words, self.blink, self.place

    @property
    def chosen(self) -> Segment | None:
        value = self.place.currentData()
        return None if value is None else Segment(value)

    def add_to(self, grid: QGridLayout, number: int) -> None:
        for column, widget in enumerate(self._widgets):
            grid.addWidget(widget, number, column)

    def remove_from(self, grid: QGridLayout) -> None:
        for widget in self._widgets:
            grid.removeWidget(widget)
            widget.deleteLater()

    def show_state(self, state: LinkState, battery: float | None, role: Segment | None, *, locked: bool) -> None:
        look = palette.LINK_LOOKS[state]
        self.sign.show_sign(look.sign, look.ink)
        self.words.setText(texts.sensor_words(state, battery))
        self.words.setToolTip(texts.sensor_tip(state, battery))
        self.words.setStyleSheet(f"color: {look.ink};")
        self.place.setCurrentIndex(0 if role is None else 1 + PLACES.index(role))
        self.place.setEnabled(not locked)
        self.tick.setChecked(state is not LinkState.CLOSED)
        self.blink.setVisible(state is LinkState.CONNECTED and not locked)

    def set_busy(self, busy: bool) -> None:
        """While the radio works, or a session runs, nobody comes or goes."""
        self.tick.setEnabled(not busy)
        self.blink.setEnabled(not busy)

    def refont(self, font: QFont) -> None:
        for widget in (self.name, self.words, self.blink, self.place):
            widget.setFont(font)
        side = max(round(font.pixelSize() * 0.9), 10)
        self.sign.setFixedSize(side, side)


def by_place(ready: Readiness) -> dict[Segment, LinkState | None]:
    """State of the sensor on every place that is needed or worn; None where there is none."""
    worn = LinkState.CONNECTED if ready.virtual and not ready.running else None
    states: dict[Segment, LinkState | None] = dict.fromkeys(NEEDED, worn)
    for sensor, role in ready.roles.items():
        if sensor in ready.links:
            states[role] = ready.links[sensor]
    return states
