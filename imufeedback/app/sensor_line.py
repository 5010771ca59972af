"""One chip a sensor: where it is worn, what its link does, rate and battery."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass

from PySide6.QtGui import QFont
from PySide6.QtWidgets import QHBoxLayout, QLabel, QWidget

from imufeedback.app import palette, words
from imufeedback.app.look import look
from imufeedback.app.signs import SignMark
from imufeedback.phrases import phrase
from imufeedback.records import ClockFitted, Gap, Link, LinkState, Segment

GONE = (LinkState.SILENT, LinkState.LOST, LinkState.CLOSED)
LOW_PERCENT = 10.0
"""Common practice, no source: small sensors last about another half hour."""
LONG_CHIPS = 4
"""With more sensors than this, chips say only what matters."""


@dataclass(slots=True)
class _Known:
    """What has been told about one sensor so far."""

    name: str
    state: LinkState = LinkState.SEARCHING
    battery_percent: float | None = None
    rate_hz: float | None = None
    lost: int = 0
    worn: bool = False


class SensorLine(QWidget):
    """Chips in the order in which the sensors were first heard of."""

    def __init__(self) -> None:
        super().__init__()
        self._known: dict[str, _Known] = {}
        self.chips: dict[str, _Chip] = {}
        self._short = self._narrow = False
        self.worn: set[Segment] = set()
        """Places that have a sensor."""
        self._font = QFont()
        self._row = QHBoxLayout(self)
        self._row.setContentsMargins(0, 0, 0, 0)
        self._row.setSpacing(18)
        self._none = QLabel(phrase("no_sensor_yet"))
        self._row.addWidget(self._none)
        self._row.addStretch(1)
        look.changed.connect(self._restyle)

    def show_roles(self, roles: Mapping[str, Segment]) -> None:
        """Which sensor is worn where; a sensor without a role is shown by its id."""
        for sensor, segment in roles.items():
            known = self._of(sensor)
            known.name, known.worn = words.segment_word(segment), True
            self.worn.add(segment)
            self._show(sensor)

    @property
    def streaming(self) -> bool:
        """True while any sensor streams."""
        return any(known.state is LinkState.STREAMING for known in self._known.values())

    @property
    def gone(self) -> list[str]:
        """Places whose sensor was there and is not now."""
        return [one.name for one in self._known.values() if one.worn and one.state in GONE]

    @property
    def closed(self) -> bool:
        """Every sensor that is worn was there, and none is now."""
        worn = [one for one in self._known.values() if one.worn]
        return len(worn) > 1 and all(one.state in GONE for one in worn)

    def name_of(self, sensor: str) -> str:
        """Where it is worn, else its own name."""
        return self._known[sensor].name if sensor in self._known else sensor

    @property
    def low(self) -> tuple[str, float] | None:
        """Place and charge of the emptiest battery, when it is nearly empty."""
        charges = [(one.battery_percent, one.name) for one in self._known.values() if one.battery_percent is not None]
        percent, name = min(charges, default=(100.0, ""))
        return (name, percent) if percent <= LOW_PERCENT else None

    def hear(self, event: Link | ClockFitted | Gap) -> None:
        """Take news of one sensor."""
        known = self._of(event.sensor)
        if isinstance(event, Link):
            known.state = event.state
            known.battery_percent = _number(event.facts.get("battery_percent"), known.battery_percent)
            self._forget_address(event)
        elif isinstance(event, ClockFitted):
            known.rate_hz = event.rate_hz
        else:
            known.lost += event.lost
        self._show(event.sensor)

    def _forget_address(self, event: Link) -> None:
        """A sensor is known by its radio address until it has told its serial number."""
        address = event.facts.get("address")
        if address != event.sensor and address in self._known:
            del self._known[address]
            chip = self.chips.pop(address)
            self._row.removeWidget(chip)
            chip.hide()
            chip.deleteLater()

    def _of(self, sensor: str) -> _Known:
        if sensor not in self._known:
            self._known[sensor] = _Known(sensor)
            self.chips[sensor] = _Chip(self._font)
            self._none.hide()
            self._row.insertWidget(len(self.chips), self.chips[sensor])
            self._show(sensor)
        return self._known[sensor]

    def _restyle(self) -> None:
        for sensor in self._known:
            self._show(sensor)

    def _show(self, sensor: str) -> None:
        """Text of one chip; of all when their number changes how much room each has."""
        short = self._narrow or len(self._known) > LONG_CHIPS
        for name, known in self._known.items() if short is not self._short else [(sensor, self._known[sensor])]:
            full = words.sensor_chip(known.name, known.state, known.rate_hz, known.battery_percent, known.lost)
            brief = words.short_chip(known.name, known.state, known.battery_percent)
            self.chips[name].show_text(brief if short else full, palette.LINK_LOOKS[known.state])
            self.chips[name].setToolTip(f"{full}\n{name}")
        self._short = short

    def rescale(self, scale: float, *, short: bool = False) -> None:
        """Fit texts to the window: 1 is a window 720 pixels high; `short` where there is no room for all facts."""
        self._narrow = short
        for sensor in self._known:
            self._show(sensor)
        self._font.setPixelSize(round(13 * scale))
        self._none.setFont(self._font)
        for chip in self.chips.values():
            chip.refont(self._font)


class _Chip(QWidget):
    def __init__(self, font: QFont) -> None:
        super().__init__()
        self.sign = SignMark(palette.PaintedSign.RING, palette.SOFT_INK)
        self.text = QLabel()
        row = QHBoxLayout(self)
        row.setContentsMargins(0, 0, 0, 0)
        row.setSpacing(6)
        row.addWidget(self.sign)
        row.addWidget(self.text)
        self.refont(font)

    def show_text(self, text: str, shown: palette.Look) -> None:
        self.text.setText(text)
        self.text.setStyleSheet(f"color: {shown.ink};")
        self.sign.show_sign(shown.sign, shown.ink)

    def refont(self, font: QFont) -> None:
        self.text.setFont(font)
        side = max(round(font.pixelSize() * 0.85), 10)
        self.sign.setFixedSize(side, side)


def _number(value: object, otherwise: float | None) -> float | None:
    return float(value) if isinstance(value, int | float) and not isinstance(value, bool) else otherwise
