"""Who trains: choose, add or change a player, and the cautions for whoever has not seen them."""

from __future__ import annotations

import datetime
from collections.abc import Callable
from pathlib import Path

import msgspec
from PySide6.QtCore import QEvent, QObject, Qt, Signal
from PySide6.QtGui import QKeyEvent
from PySide6.QtWidgets import (
    QButtonGroup,
    QFileDialog,
    QFormLayout,
    QHBoxLayout,
    QLabel,
    QLineEdit,
    QListWidget,
    QPlainTextEdit,
    QPushButton,
    QRadioButton,
    QStackedWidget,
    QVBoxLayout,
    QWidget,
)

from imufeedback import resources
from imufeedback.app import numerals
from imufeedback.app.cautions import CautionsPage
from imufeedback.app.labels import add_key, pixel_font
from imufeedback.app.start import texts
from imufeedback.errors import ImuFeedbackError
from imufeedback.people import People, Person, parse_height
from imufeedback.phrases import phrase
from imufeedback.record.files import safe_stem
from imufeedback.records import Hand

Today = Callable[[], datetime.date]
LINES_SHOWN = 8
"""Of what a bundle brought."""


class PlayerPage(QWidget):
    """Gives a player whose cautions were read, by the signal `chosen`."""

    chosen = Signal(object)
    """A `Person`; its cautions may still have to be read."""
    accepted = Signal(object)
    """The same, cautions read and saved."""

    def __init__(self, people: People, today: Today = datetime.date.today) -> None:
        super().__init__()
        self.people = people
        self._today = today
        self._person: Person | None = None
        self.pages = QStackedWidget()
        self.choose = _Choose()
        self.form = PersonForm()
        self.cautions = CautionsPage("")
        self.locked = QLabel(phrase("start.locked"))
        self.locked.setWordWrap(True)
        self.locked.hide()
        self._arrange()
        self._wire()
        self.show_people()

    def _arrange(self) -> None:
        column = QVBoxLayout(self)
        column.setContentsMargins(0, 0, 0, 0)
        column.addWidget(self.locked)
        column.addWidget(self.pages, 1)
        for page in (self.choose, self.form, self.cautions):
            self.pages.addWidget(page)

    def _wire(self) -> None:
        self.choose.list.itemActivated.connect(lambda *_: self.take())
        self.choose.list.installEventFilter(self)
        self.choose.add.clicked.connect(self.add)
        self.choose.change.clicked.connect(self.change)
        self.choose.open.clicked.connect(lambda *_: self.ask_bundle())
        self.choose.give.clicked.connect(lambda *_: self.ask_give())
        self.form.save.clicked.connect(self._save)
        self.form.back.clicked.connect(self.show_people)
        self.cautions.acknowledged.connect(self._accept)

    def eventFilter(self, watched: QObject, event: QEvent) -> bool:  # noqa: N802 – Qt names it
        # Whether Enter "activates" an item depends on the platform's style; here it always takes the player.
        key = event.key() if isinstance(event, QKeyEvent) and event.type() is QEvent.Type.KeyPress else None
        if key in (Qt.Key.Key_Return, Qt.Key.Key_Enter):
            self.take()
            return True
        return super().eventFilter(watched, event)

    # ── choosing ─────────────────────────────────────────────────────────────────────────────────────────────────

    def show_people(self) -> None:
        """The list, with the present player or the last one marked."""
        self.choose.show_people(self.people, self._person)
        self.pages.setCurrentWidget(self.choose)
        self.focus()

    def focus(self) -> None:
        """Put the keyboard where one goes on."""
        page = self.pages.currentWidget()
        if page is self.form:
            self.form.name.setFocus()
        elif page is self.cautions:
            self.cautions.setFocus()
        else:
            (self.choose.list if self.people.all else self.choose.add).setFocus()

    def take(self) -> None:
        """Take the player who is marked."""
        row = self.choose.list.currentRow()
        if self.isEnabled() and 0 <= row < len(self.people.all):
            self._take(self.people.all[row])

    def _take(self, person: Person) -> None:
        self._person = person
        self.chosen.emit(person)
        if person.cautions_seen is None:
            self.cautions.button.setText(phrase("start.accept_cautions", name=person.name))
            self.pages.setCurrentWidget(self.cautions)
            self.cautions.setFocus()
        else:
            self.accepted.emit(person)

    def _accept(self) -> None:
        assert self._person is not None
        seen = msgspec.structs.replace(self._person, cautions_seen=self._today())
        try:
            seen = self.people.save(seen, was=seen.name)
        except ImuFeedbackError as error:
            self.choose.show_trouble(str(error))  # they were read all the same
        self._person = seen
        self.show_people()
        self.accepted.emit(seen)

    # ── adding and changing ──────────────────────────────────────────────────────────────────────────────────────

    def add(self) -> None:
        if self.isEnabled():
            self._open_form(None)

    def change(self) -> None:
        row = self.choose.list.currentRow()
        if self.isEnabled() and 0 <= row < len(self.people.all):
            self._open_form(self.people.all[row])

    def _open_form(self, person: Person | None) -> None:
        self.form.show_person(person)
        self.pages.setCurrentWidget(self.form)
        self.form.name.setFocus()

    def _save(self) -> None:
        try:
            made = self.people.save(self.form.person(), was=self.form.was)
        except ImuFeedbackError as error:
            self.form.trouble.setText(str(error))
            return
        self._person = made
        self.show_people()
        self._take(made)

    # ── what coach and player hand each other ────────────────────────────────────────────────────────────────────

    def ask_bundle(self) -> None:
        """Which file; nothing happens without one."""
        name, _ = QFileDialog.getOpenFileName(self, phrase("start.open_bundle"), "", phrase("start.bundle_filter"))
        if name:
            self.open_bundle(Path(name))

    def open_bundle(self, path: Path) -> None:
        """What is in it goes to its player and recordings; it is told line by line."""
        try:
            from imufeedback.bundle import exchange  # not before somebody has a bundle

            told = exchange.take(path, self.people, resources.data_folder() / "recordings")
        except ImuFeedbackError as error:
            told = [str(error)]
        self.show_people()
        self.choose.show_trouble("\n".join(told[:LINES_SHOWN]))

    def ask_give(self) -> None:
        """Where to; nothing happens without a name."""
        row = self.choose.list.currentRow()
        if 0 <= row < len(self.people.all):
            person = self.people.all[row]
            start = f"{safe_stem(person.name)}.zip"
            name, _ = QFileDialog.getSaveFileName(
                self, phrase("start.give_bundle"), start, phrase("start.bundle_filter")
            )
            if name:
                self.give_bundle(person, Path(name).with_suffix(".zip"))

    def give_bundle(self, person: Person, path: Path) -> None:
        """The player's homework, limits, drills and reference rep; the dialog has asked whether to replace a file."""
        try:
            from imufeedback.bundle import exchange  # as above

            exchange.give(self.people, person.name, path, self._today(), overwrite=True)
            told = phrase("start.bundle_written", where=str(path))
        except ImuFeedbackError as error:
            told = str(error)
        self.choose.show_trouble(told)

    def lock(self, on: bool) -> None:
        """A session has begun: it belongs to its player."""
        self.locked.setVisible(on)
        self.pages.setEnabled(not on)

    def rescale(self, scale: float) -> None:
        self.cautions.rescale(scale * 0.86)
        self.locked.setFont(pixel_font(15 * scale))
        self.choose.rescale(scale)
        self.form.rescale(scale)


class _Choose(QWidget):
    def __init__(self) -> None:
        super().__init__()
        self.hint = QLabel()
        self.hint.setWordWrap(True)
        self.list = QListWidget()
        self.list.setAccessibleName(phrase("start.who"))
        self.add = QPushButton(phrase("start.add_player"))
        add_key(self.add, "Ctrl+N")
        self.change = QPushButton(phrase("start.change_player"))
        add_key(self.change, "Ctrl+E")
        self.open, self.give = QPushButton(phrase("start.open_bundle")), QPushButton(phrase("start.give_bundle"))
        add_key(self.open, "Ctrl+I")
        add_key(self.give, "Ctrl+H")
        self.trouble = QLabel()
        self.trouble.setObjectName("trouble")
        self.trouble.setWordWrap(True)
        column = QVBoxLayout(self)
        column.setContentsMargins(0, 0, 0, 0)
        column.setSpacing(12)
        row = QHBoxLayout()
        row.addWidget(self.add)
        row.addWidget(self.change)
        row.addStretch(1)
        handed = QHBoxLayout()
        handed.addWidget(self.open)
        handed.addWidget(self.give)
        handed.addStretch(1)
        column.addWidget(self.hint)
        column.addWidget(self.list, 100)
        column.addWidget(self.trouble)
        column.addLayout(row)
        column.addLayout(handed)
        column.addStretch(1)

    def show_people(self, people: People, marked: Person | None) -> None:
        self.hint.setText(phrase("start.who") if people.all else phrase("start.nobody_yet"))
        self.list.clear()
        for person in people.all:
            height = "" if person.height_m is None else numerals.signed(person.height_m, 2)
            self.list.addItem(texts.person_line(person, height))
        self.list.setVisible(bool(people.all))
        names = [person.name for person in people.all]
        if names:
            self.list.setCurrentRow(names.index(marked.name) if marked and marked.name in names else 0)
        for button in (self.change, self.give):
            button.setEnabled(bool(names))
        self.show_trouble("\n".join(people.troubles[:3]))

    def show_trouble(self, text: str) -> None:
        self.trouble.setText(text)
        self.trouble.setVisible(bool(text))

    def rescale(self, scale: float) -> None:
        for widget in (self.hint, self.list, self.add, self.change, self.open, self.give, self.trouble):
            widget.setFont(pixel_font(17 * scale if widget is self.list else 15 * scale))
        self.list.setSpacing(round(4 * scale))


class PersonForm(QWidget):
    """Name, hand, height and notes of one player."""

    def __init__(self) -> None:
        super().__init__()
        self._before: Person | None = None
        self.heading = QLabel()
        self.name = QLineEdit()
        self.height_m = QLineEdit()
        self.notes = QPlainTextEdit()
        self.notes.setTabChangesFocus(True)
        self.hands = {hand: QRadioButton(texts.hand_word(hand)) for hand in Hand}
        self.trouble = QLabel()
        self.trouble.setObjectName("trouble")
        self.trouble.setWordWrap(True)
        self.save = QPushButton(phrase("start.save_player"))
        self.back = QPushButton(phrase("start.back_button"))
        self._group = QButtonGroup(self)
        self._arrange()
        for field in (self.name, self.height_m):
            field.returnPressed.connect(self.save.click)

    def _arrange(self) -> None:
        hands = QHBoxLayout()
        for button in self.hands.values():
            self._group.addButton(button)
            hands.addWidget(button)
        hands.addStretch(1)
        self._labels = [
            QLabel(text)
            for text in (
                phrase("start.name_label"),
                phrase("start.hand_label"),
                phrase("start.height_label"),
                phrase("start.notes_label"),
            )
        ]
        fields: tuple[QWidget, ...] = (self.name, self.hands[Hand.RIGHT], self.height_m, self.notes)
        for label, field in zip(self._labels, fields, strict=True):
            label.setBuddy(field)
            field.setAccessibleName(label.text().replace("&", ""))
        self._form = QFormLayout()
        self._form.addRow(self._labels[0], self.name)
        self._form.addRow(self._labels[1], hands)
        self._form.addRow(self._labels[2], self.height_m)
        self._form.addRow(self._labels[3], self.notes)
        buttons = QHBoxLayout()
        buttons.addWidget(self.save)
        buttons.addWidget(self.back)
        buttons.addStretch(1)
        column = QVBoxLayout(self)
        column.setContentsMargins(0, 0, 0, 0)
        column.addWidget(self.heading)
        column.addLayout(self._form)
        column.addWidget(self.trouble)
        column.addLayout(buttons)
        column.addStretch(1)

    @property
    def was(self) -> str | None:
        """Name before the change; None for a new player."""
        return self._before.name if self._before is not None else None

    def show_person(self, person: Person | None) -> None:
        self._before = person
        shown = person or Person(" ")
        self.heading.setText(texts.form_heading(person is None))
        self.name.setText(shown.name.strip())
        self.hands[shown.hand].setChecked(True)
        self.height_m.setText("" if shown.height_m is None else numerals.signed(shown.height_m, 2))
        self.notes.setPlainText(shown.notes)
        self.trouble.setText("")

    def person(self) -> Person:
        """What the form says. Raises UsageError for a height that is none."""
        hand = next(hand for hand, button in self.hands.items() if button.isChecked())
        return msgspec.structs.replace(
            self._before or Person(" "),
            name=self.name.text(),
            hand=hand,
            height_m=parse_height(self.height_m.text()),
            notes=self.notes.toPlainText().strip(),
        )

    def rescale(self, scale: float) -> None:
        self.heading.setFont(pixel_font(20 * scale, bold=True))
        widgets = (self.name, self.height_m, self.notes, self.trouble, self.save, self.back, *self._labels)
        for widget in (*widgets, *self.hands.values()):
            widget.setFont(pixel_font(15 * scale))
        self.notes.setFixedHeight(round(110 * scale))
        self._form.setVerticalSpacing(round(12 * scale))
        self._form.setHorizontalSpacing(round(16 * scale))
