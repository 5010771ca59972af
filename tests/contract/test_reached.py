"""Nothing of the package is there for tests alone: what no command and no window reaches is named here, or goes."""

from __future__ import annotations

from pathlib import Path

from reached import Walk, read

import imufeedback

TO_BE_WIRED: set[str] = set()
"""Parts that wait for their place in a session. Take a line out when it has one; add none."""


def test_only_what_is_to_be_wired_is_reached_by_tests_alone() -> None:
    walk = Walk(read(Path(imufeedback.__file__).parent), "imufeedback.__main__")
    assert set(walk.unreached()) == TO_BE_WIRED


FILES = {
    "__init__": "",
    "__main__": "from small.cli import main\nmain()\n",
    "cli": """
import sys
from small import plugs, shop
from small.shop import Used as Renamed, sold

app = shop.App()
CHILD = [sys.executable, "-m", "small.child"]
LINE = "from small.line import wanted; wanted()"
CLOSERS = (("small.closing", "close_all"),)

@app.command("verb")
def verb():
    Renamed().asked
    print(sold, CHILD, LINE, CLOSERS)

def main(unused=None):
    from small.late import imported_late
    imported_late()
    plugs.load("one").Plug()
    return verb

def nobody():
    return main
""",
    "shop": """
from qt import QWidget
from small.deeper import handed_on as sold

class App:
    def command(self, name): ...

class Used(QWidget):
    def asked(self): return self._own()
    def _own(self): return self.inner()
    def inner(self): ...
    def unasked(self): return self.only_from_unasked()
    def only_from_unasked(self): ...
    def paintEvent(self, event): ...

class Unused:
    def asked(self): return lonely()

def lonely(): ...
""",
    "deeper": "handed_on = 1\nleft = 2\n",
    "plugs/__init__": """
import importlib, pkgutil
names = pkgutil.iter_modules(__path__)
def load(name): return importlib.import_module(name), names
""",
    "plugs/one": "class Plug: ...\ndef not_asked_for(): ...\n",
    "late": "def imported_late(): ...\n",
    "child": "def unused_in_child(): ...\n",
    "line": "def wanted(): ...\n",
    "closing": "def close_all(): ...\n",
    "alone": "def whatever(): ...\n",
}


def test_what_is_reached_is_found_and_what_is_not_is_named(tmp_path: Path) -> None:
    for name, text in FILES.items():
        path = tmp_path / "small" / f"{name}.py"
        path.parent.mkdir(parents=True, exist_ok=True)
        path.write_text(text, encoding="utf-8")
    assert set(Walk(read(tmp_path / "small"), "small.__main__").unreached()) == {
        "small.alone",
        "small.child.unused_in_child",
        "small.cli.nobody",
        "small.deeper.left",
        "small.plugs.one.not_asked_for",
        "small.shop.Unused",
        "small.shop.Used.only_from_unasked",
        "small.shop.Used.unasked",
        "small.shop.lonely",
    }
