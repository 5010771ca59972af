"""How large a person wants the text: one choice for all windows, kept for the next start."""

from __future__ import annotations

from PySide6.QtCore import QObject, QSettings, Signal

from imufeedback import resources

SIZES = (1.0, 1.25, 1.5, 1.75, 2.0, 2.5)
"""Times the plain size. WCAG 2.2, 1.4.4 asks for 200 %."""


class TextSize(QObject):
    """The factor; `changed` when it is another one."""

    changed = Signal()

    def __init__(self) -> None:
        super().__init__()
        self._factor: float | None = None

    @property
    def factor(self) -> float:
        if self._factor is None:
            chosen = kept().value(_SIZE, 1.0)
            try:
                self._factor = min(SIZES, key=lambda one: abs(one - float(chosen)))  # type: ignore[arg-type]
            except (TypeError, ValueError):  # somebody edited the file
                self._factor = 1.0
        return self._factor

    def show(self, factor: float) -> None:
        if factor != self.factor:
            self._factor = factor
            kept().setValue(_SIZE, factor)
            self.changed.emit()

    def step(self, by: int) -> None:
        """So many sizes larger or smaller."""
        self.show(SIZES[min(max(SIZES.index(self.factor) + by, 0), len(SIZES) - 1)])


def kept() -> QSettings:
    """What was chosen for all windows."""
    return QSettings(str(resources.data_folder() / "windows.ini"), QSettings.Format.IniFormat)


_SIZE = "text/size"
text_size = TextSize()
