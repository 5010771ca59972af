"""How all windows look: light, dark for an indoor bay, or with the strongest contrasts for the sun.

One choice, kept for the next start.
"""

from __future__ import annotations

from PySide6.QtCore import QObject, Signal
from PySide6.QtGui import QColor, QPalette
from PySide6.QtWidgets import QApplication

from imufeedback.app import palette
from imufeedback.app.text_size import kept
from imufeedback.app.theme import DARK, THEMES, Theme

_LOOK = "look/name"


class LookChoice(QObject):
    """The look; `changed` when it is another one: whoever keeps colours takes them anew."""

    changed = Signal()

    def __init__(self) -> None:
        super().__init__()
        self.theme: Theme = THEMES[0]

    def begin(self) -> None:
        """As it was chosen last, before anything is painted."""
        name = kept().value(_LOOK, THEMES[0].name)
        self._use(next((one for one in THEMES if one.name == name), THEMES[0]))

    def show(self, name: str) -> None:
        self._use(next(one for one in THEMES if one.name == name))
        kept().setValue(_LOOK, name)
        self.changed.emit()

    def following(self) -> None:
        """The next one."""
        self.show(THEMES[(THEMES.index(self.theme) + 1) % len(THEMES)].name)

    def _use(self, theme: Theme) -> None:
        self.theme = theme
        palette.use(theme.name)
        QApplication.setPalette(_plain_parts())
        app = QApplication.instance()
        if isinstance(app, QApplication):
            app.setStyleSheet(_boxes() if theme is DARK else "")


def _plain_parts() -> QPalette:
    """Colours of what has no style sheet: menus, fields, scroll bars, Qt's own dialogs."""
    role, out = QPalette.ColorRole, QPalette()
    for name, parts in (
        (palette.GROUND, (role.Window, role.Button, role.AlternateBase, role.ToolTipBase)),
        (palette.PAPER, (role.Base,)),
        (palette.INK, (role.WindowText, role.Text, role.ButtonText, role.ToolTipText)),
        (palette.SOFT_INK, (role.PlaceholderText,)),
        (palette.BLUE, (role.Highlight,)),
        (palette.WHITE, (role.HighlightedText,)),
    ):
        for one in parts:
            out.setColor(one, QColor(name))
    for one in (role.Text, role.WindowText, role.ButtonText):
        out.setColor(QPalette.ColorGroup.Disabled, one, QColor(palette.SOFT_INK))
    return out


def _boxes() -> str:
    """Boxes to tick, whose lines Qt makes darker than their ground: on a dark one they would not be seen."""
    kinds = ("QCheckBox", "QRadioButton", "QMenu")
    empty, ticked = (", ".join(f"{one}::indicator{state}" for one in kinds) for state in ("", ":checked"))
    return f"""
{empty} {{ width: 12px; height: 12px; border: 2px solid {palette.INK}; background: {palette.PAPER}; }}
{ticked} {{ background: {palette.SKY_BLUE}; }}
QRadioButton::indicator {{ border-radius: 8px; }}
QMenu::indicator {{ margin-left: 4px; }}
"""


look = LookChoice()
