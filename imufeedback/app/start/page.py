"""The first screen: steps at the left, the present step at the right, one line of what is missing, and one button."""

from __future__ import annotations

from collections.abc import Callable, Mapping
from typing import Any

from PySide6.QtCore import Qt, Signal
from PySide6.QtGui import QKeySequence, QShortcut, QShowEvent
from PySide6.QtWidgets import QHBoxLayout, QLabel, QPushButton, QVBoxLayout, QWidget

from imufeedback.app import palette
from imufeedback.app.keys import Screen, key
from imufeedback.app.labels import NARROW, MessageLine, pixel_font
from imufeedback.app.look import look
from imufeedback.app.practice_choices import Work, WorkKind, Works
from imufeedback.app.scrolling import Pages
from imufeedback.app.start import texts
from imufeedback.app.start.calibration_page import CalibrationPage
from imufeedback.app.start.player_page import PlayerPage
from imufeedback.app.start.readiness import HERE, Readiness, StartStep
from imufeedback.app.start.sensor_page import SensorPage
from imufeedback.app.start.step_list import StepList
from imufeedback.app.start.work_page import WorkPage
from imufeedback.people import People, Person, open_homework
from imufeedback.phrases import phrase
from imufeedback.records import Event, FitRefused, Fitted, Json, Link, LinkState


class StartPage(QWidget):
    """Shows a `Readiness` and changes it; what must be done elsewhere is asked for by signals."""

    try_wanted = Signal()
    search_wanted = Signal()
    stream_wanted = Signal()
    fit_wanted = Signal()
    stored_wanted = Signal()
    begin_wanted = Signal()
    placed = Signal(str, object)
    ticked = Signal(str, bool)
    """Sensor, and whether it takes part."""
    take_wanted = Signal(list)
    """Addresses of sensors that are not known yet."""
    blink_wanted = Signal(str)
    """Sensor, or address of one that is not known."""

    def __init__(self, people: People, works: Works) -> None:
        super().__init__()
        self.ready = Readiness()
        self.battery: dict[str, float] = {}
        self.facts: dict[str, Mapping[str, Json]] = {}
        """What each sensor told of itself when it was connected."""
        self.work: Work | None = None
        self.steps = StepList(self.show_step)
        self.player = PlayerPage(people)
        self.sensors = SensorPage()
        self.calibration = CalibrationPage()
        self.works = WorkPage(works)
        self.pages: Mapping[StartStep, QWidget] = {
            StartStep.PLAYER: self.player,
            StartStep.SENSORS: self.sensors,
            StartStep.CALIBRATION: self.calibration,
            StartStep.WORK: self.works,
        }
        self.stack = Pages()
        self.heading = QLabel(phrase("start.heading"))
        self.keys, self.missing = QLabel(phrase("start.keys")), QLabel()
        for label in (self.keys, self.missing):
            label.setWordWrap(True)
        self.next = QPushButton()
        self.next.setObjectName("agree")
        self.messages = MessageLine()
        self.step = StartStep.PLAYER
        self._arrange()
        self._wire()
        self.works.mark("")
        self.show_step(StartStep.PLAYER)

    def _arrange(self) -> None:
        for page in self.pages.values():
            self.stack.addWidget(page)
        middle = QHBoxLayout()
        middle.setSpacing(24)
        middle.addWidget(self.steps)
        middle.addWidget(self.stack, 1)
        low = QHBoxLayout()
        low.addWidget(self.keys, 1)
        low.addWidget(self.next)
        column = QVBoxLayout(self)
        column.setContentsMargins(24, 12, 24, 10)
        column.setSpacing(10)
        column.addWidget(self.heading)
        column.addWidget(self.missing)
        column.addLayout(middle, 1)
        column.addWidget(self.messages)
        column.addLayout(low)
        self.setObjectName("start")
        self.setAttribute(Qt.WidgetAttribute.WA_StyledBackground)
        self._restyle()
        look.changed.connect(self._restyle)

    def _wire(self) -> None:
        self.player.chosen.connect(self._chosen)
        self.player.accepted.connect(self._accepted)
        self.sensors.try_wanted.connect(self.try_wanted)
        self.sensors.search_wanted.connect(self.search)
        self.sensors.stream_wanted.connect(self.stream_wanted)
        self.sensors.placed.connect(self.placed)
        self.sensors.ticked.connect(self.ticked)
        self.sensors.blink_wanted.connect(self.blink_wanted)
        self.sensors.others.take_wanted.connect(self.take_wanted)
        self.sensors.others.blink_wanted.connect(self.blink_wanted)
        self.calibration.fit_wanted.connect(self.fit_wanted)
        self.calibration.stored_wanted.connect(self.stored_wanted)
        self.works.chosen.connect(self._choose_work)
        self.next.clicked.connect(self.go_on)
        self.messages.dismiss.clicked.connect(self.refresh)
        for keys in key(Screen.START, "go-on").keys:
            QShortcut(QKeySequence(keys), self).activated.connect(self.go_on)

    def _restyle(self) -> None:
        self.setStyleSheet(_sheet())
        self.refresh()

    # ── steps ────────────────────────────────────────────────────────────────────────────────────────────────────

    def show_step(self, step: StartStep) -> None:
        """Show one step and put the keyboard there."""
        self.step = step
        self.stack.setCurrentWidget(self.pages[step])
        self.refresh()
        self.pages[step].focus()  # type: ignore[attr-defined]

    def go_on(self) -> None:
        """The large button: take what is marked, let sensors stream, go to what is missing, or begin."""
        choosing = self.step is StartStep.PLAYER and self.player.pages.currentWidget() is self.player.choose
        if choosing and not self.ready.running:
            self.player.take()
            return
        if self.step is StartStep.SENSORS and self.ready.can_stream:
            self.stream_wanted.emit()
            return
        if self.ready.can_begin and self.step is StartStep.WORK:
            self.begin_wanted.emit()
            return
        self.show_step(self._following())

    def _following(self) -> StartStep:
        steps = list(StartStep)
        after = steps[steps.index(self.step) + 1 :]
        return self.ready.first_open(after) or self.ready.first_open() or StartStep.WORK

    def refresh(self) -> None:
        """Show what is known now."""
        ready = self.ready
        title = self.work.title if self.work else ""
        for step in StartStep:
            self.steps.show_step(step, ready.mark(step), texts.says(step, ready, title))
        self.steps.show_current(self.step)
        self.sensors.show_ready(ready, self.battery)
        self.calibration.show_ready(ready)
        self.player.lock(ready.running)
        last = ready.can_begin and self.step is StartStep.WORK
        self.next.setText(texts.next_button(last))
        self.missing.setText(
            texts.failed(self.messages.text.text()) if self.messages.is_fault else texts.missing(ready)
        )

    # ── news ─────────────────────────────────────────────────────────────────────────────────────────────────────

    def hear(self, event: Event) -> None:
        """News of the sensors and of the calibration. Qt thread."""
        hearers: dict[str, Callable[[Any], None]] = {
            "Link": self._hear_link,
            "Fitted": self._hear_fitted,
            "FitRefused": self._hear_refused,
            "FitStep": self._hear_step,
            "SwapOffered": self._hear_swap,
            "Doubted": lambda doubted: self.messages.show_notice(doubted.text),
            "Notice": lambda notice: self.messages.show_notice(notice.text),
            "Fault": lambda fault: self.show_fault(f"{fault.where}: {fault.what}"),
        }
        hearer = hearers.get(type(event).__name__)
        if hearer is not None:
            hearer(event)

    def _hear_link(self, link: Link) -> None:
        address = link.facts.get("address")
        if isinstance(address, str) and address != link.sensor:
            self.ready.links.pop(address, None)
        self.ready.links[link.sensor] = link.state
        if link.state is LinkState.CONNECTED:
            self.facts[link.sensor] = link.facts
        percent = link.facts.get("battery_percent")
        if isinstance(percent, int | float):
            self.battery[link.sensor] = float(percent)
        if link.state not in (*HERE, LinkState.LOST, LinkState.SILENT) and link.sensor not in self.ready.roles:
            self.ready.links.pop(link.sensor)  # under its address, before it is connected
        self.refresh()

    def _hear_fitted(self, event: Fitted) -> None:
        self.ready.fit_level, self.ready.fit_refused, self.ready.calibrating = event.fit.level, None, False
        self.refresh()
        if self.step is StartStep.CALIBRATION:
            self.show_step(StartStep.WORK)

    def _hear_refused(self, event: FitRefused) -> None:
        self.ready.fit_refused, self.ready.calibrating = event.reason, False
        self.refresh()

    def _hear_step(self, event: Any) -> None:
        """A movement of the calibration was seen: the next one is due."""
        self.ready.fit_refused = None
        self.calibration.show_move(min(event.number, event.of - 1), say=event.say)
        self.calibration.show_done(event.number)

    def _hear_swap(self, event: Any) -> None:
        """Sensors are elsewhere than the session believes: by stored place, the place that was seen."""
        self.calibration.offer_swap(texts.swap_offered(event.roles))

    def show_fault(self, text: str) -> None:
        """Something failed: it is the headline until it is dismissed."""
        self.messages.show_fault(text)
        self.refresh()

    def show_search(self, trouble: str | None) -> None:
        """A search has ended; None: well."""
        self.ready.searching, self.ready.search_trouble = False, trouble
        self.refresh()

    def search(self) -> None:
        """Look for sensors."""
        self.sensors.forget()
        self.ready.virtual = False  # whoever searches wants to wear them
        self.ready.links.clear()
        self.ready.absent, self.ready.others = "", ()
        self.show_busy()
        self.search_wanted.emit()

    def show_busy(self) -> None:
        """The radio works until `show_search`."""
        self.ready.searching, self.ready.search_trouble = True, None
        self.refresh()

    def _chosen(self, person: Person) -> None:
        if self.ready.person is None or self.ready.person.name != person.name:
            self._mark_work(person)
        self.ready.person = person
        self.refresh()

    def _mark_work(self, person: Person) -> None:
        """Homework that is not done yet, else what was trained last."""
        homework = open_homework(person)
        work = None if homework is None else self.works.works.find(f"{WorkKind.DRILL}/{homework.drill}")
        self.works.mark(person.drill if work is None else work.key)
        if homework is not None:
            title = homework.drill if work is None else work.title
            self.messages.show_notice(texts.homework_now(homework, title))

    def _accepted(self, person: Person) -> None:
        self.ready.person = person
        self.show_step(StartStep.SENSORS)

    def _choose_work(self, work: Work) -> None:
        self.work = work
        self.ready.work = work.key
        self.refresh()

    def showEvent(self, event: QShowEvent) -> None:  # noqa: N802 – Qt names it
        super().showEvent(event)
        self.pages[self.step].focus()  # type: ignore[attr-defined]

    def rescale(self, scale: float, room: int) -> None:
        """Fit texts to the window: 1 is a window 720 pixels high; `room` is how wide it is."""
        self.heading.setFont(pixel_font(26 * scale, bold=True))
        for widget in (self.keys, self.missing):
            widget.setFont(pixel_font((12 if widget is self.keys else 17) * scale))
        self.next.setFont(pixel_font(17 * scale, bold=True))
        narrow = room < NARROW * scale
        for part in (self.player, self.messages):
            part.rescale(scale)
        for page in (self.sensors, self.calibration, self.works):
            page.rescale(scale, narrow=narrow)
        self.steps.rescale(scale, room)


def _sheet() -> str:
    return f"""
#start {{ background: {palette.GROUND}; }}
QLabel {{ color: {palette.INK}; }}
#trouble {{ color: {palette.ALARM_INK}; }}
QPushButton {{ background: {palette.PAPER}; color: {palette.INK}; border: 2px solid {palette.RULE_LINE};
    border-radius: 6px; padding: 6px 14px; }}
QPushButton:disabled {{ color: {palette.SOFT_INK}; background: {palette.GROUND}; border-style: dashed; }}
QPushButton:focus, QListWidget:focus, QLineEdit:focus, QPlainTextEdit:focus, QComboBox:focus
    {{ border: 2px solid {palette.BLUE}; }}
#message QPushButton {{ padding: 0 10px; }}
QPushButton#step {{ text-align: left; padding: 0; }}
QPushButton#step:checked {{ border: 3px solid {palette.BLUE}; }}
QPushButton#agree {{ background: {palette.BLUE}; color: {palette.WHITE}; border: 2px solid {palette.BLUE}; }}
QPushButton#agree:focus {{ border: 2px solid {palette.INK}; }}
QListWidget, QLineEdit, QPlainTextEdit, QComboBox {{ background: {palette.PAPER}; color: {palette.INK};
    border: 2px solid {palette.RULE_LINE}; border-radius: 4px; padding: 4px; }}
QListWidget::item:selected {{ background: {palette.BLUE}; color: {palette.WHITE}; }}
QRadioButton, QCheckBox {{ color: {palette.INK}; spacing: 8px; min-height: 26px; }}
QCheckBox {{ min-width: 26px; }}
QRadioButton:focus {{ outline: none; text-decoration: underline; }}
"""
