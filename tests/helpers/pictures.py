"""Makes the README's pictures from a demo: ``python tests/helpers/pictures.py [FOLDER]``, offscreen. Into another
folder than the README's it also says which of those have another size by now.

The session is that of ``imufeedback demo --flaw stall --pace slow``, played as fast as it goes and stopped while the
angle stalls. The report's picture needs a browser (chromium); without one it is left as it is.
"""

from __future__ import annotations

import os
import shutil
import subprocess
import sys
import tempfile
from collections.abc import Iterator
from pathlib import Path

os.environ.setdefault("QT_QPA_PLATFORM", "offscreen")

import numpy as np
from PySide6.QtGui import QImage
from PySide6.QtWidgets import QApplication, QWidget

from imufeedback import resources
from imufeedback.app.bay import BayWindow
from imufeedback.app.feed import EventFeed
from imufeedback.app.run import make_application
from imufeedback.live.golfer import DemoPlan, VirtualGolfer
from imufeedback.live.practice import Practice
from imufeedback.measure.windows.frames import StepClock
from imufeedback.record.journal import JournalWriter
from imufeedback.records import Angles, Event, Hand, Motion, Rep, StateChanged
from imufeedback.synth.player import Pace
from imufeedback.synth.swing import Flaw

FOLDER = Path(__file__).resolve().parents[2] / "recordings" / "pictures"
REPS, STALLED_REP = 4, 3
WIDTH, HEIGHT, PHONE = 1280, 720, 360
COLOURS = 256


def session(path: Path) -> list[Event]:
    """All events of the demo, which is recorded at `path`."""
    events: list[Event] = []
    plan = DemoPlan(pace=Pace.SLOW, flaw=Flaw.STALL, reps=REPS, seed=1, realtime=False)
    Practice(VirtualGolfer(plan), JournalWriter(path, title="demo"), [events.extend]).run()
    return events


def until_stalled(events: list[Event]) -> Iterator[Event]:
    """Up to the middle of the stall of one rep after some that are over."""
    reps, stalled_s = 0, None
    for event in events:
        yield event
        reps += isinstance(event, Rep)
        if reps >= STALLED_REP and isinstance(event, StateChanged) and event.state is Motion.STALLED:
            stalled_s = stalled_s or event.t_s
        if stalled_s is not None and isinstance(event, Angles) and event.t_s[-1] > stalled_s + 0.1:
            return


def bay(events: list[Event]) -> BayWindow:
    """The window in the middle of a stall."""
    clock = StepClock()
    window = BayWindow(
        EventFeed(Hand.RIGHT, clock=clock), on_stop=lambda: None, rule_set=resources.text("rules", "swing")
    )
    window.resize(WIDTH, HEIGHT)
    window.show()
    window.acknowledge()
    for event in until_stalled(events):
        if isinstance(event, Angles):
            clock.now_s = float(event.t_s[-1])
        window.feed.push([event])
        QApplication.processEvents()
        window.draw_now()
    window.draw_now()
    QApplication.processEvents()
    return window


def save(widget: QWidget, path: Path) -> None:
    """With a palette of the colours that are there most: a picture of a window has few, and the file stays small."""
    image = widget.grab().toImage().convertToFormat(QImage.Format.Format_RGB32)
    pixels = np.frombuffer(image.constBits(), np.uint32)
    colours, counts = np.unique(pixels, return_counts=True)
    table = colours[np.argsort(-counts)[:COLOURS]].tolist()
    if not image.convertToFormat(QImage.Format.Format_Indexed8, table).save(str(path)):
        raise OSError(f"{path} cannot be written")


def report(recording: Path, picture: Path) -> None:
    """The report on a phone's screen, by a browser."""
    browser = shutil.which("chromium") or shutil.which("chromium-browser")
    if browser is None:
        sys.stderr.write("no chromium: the report's picture is left as it is\n")
        return
    page = picture.with_suffix(".html")
    subprocess.run([sys.executable, "-m", "imufeedback", "report", str(recording), "--out", str(page)], check=True)
    shot = ["--headless", "--no-sandbox", "--hide-scrollbars", f"--window-size={PHONE},{2 * PHONE}"]
    subprocess.run([browser, *shot, f"--screenshot={picture}", page.as_uri()], check=True, capture_output=True)
    page.unlink()


def compared(made: Path, kept: Path) -> list[str]:
    """What is missing among the pictures that are kept, or of another size: made of an older program."""
    out = []
    for name in ("bay.png", "figure.png"):
        new, old = QImage(str(made / name)), QImage(str(kept / name))
        if old.isNull() or (old.width(), old.height()) != (new.width(), new.height()):
            out.append(f"{kept / name} is missing or of another size: run tests/helpers/pictures.py")
    return out


def main(folder: Path) -> None:
    folder.mkdir(parents=True, exist_ok=True)
    app = make_application()
    with tempfile.TemporaryDirectory() as work:
        os.environ["IMUFEEDBACK_HOME"] = work
        recording = Path(work) / "demo.mcap"
        window = bay(session(recording))
        save(window, folder / "bay.png")
        save(window.view.body, folder / "figure.png")
        window.stop_now()
        window.close()
        app.processEvents()
        report(recording, folder / "report.png")


if __name__ == "__main__":
    asked = Path(sys.argv[1]) if len(sys.argv) > 1 else FOLDER
    main(asked)
    sys.exit("\n".join(compared(asked, FOLDER)) or 0)
