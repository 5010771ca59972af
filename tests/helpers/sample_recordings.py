"""Makes the sample recordings again: ``python tests/helpers/sample_recordings.py [FOLDER]``.

Everything goes through the command line, as a user would do it; nobody was measured.
"""

from __future__ import annotations

import os
import shutil
import subprocess
import sys
import tempfile
from pathlib import Path

FOLDER = Path(__file__).resolve().parents[2] / "recordings"
DEMOS = {
    "first_lesson": ("--handed", "left", "--reps", "3", "--flaw", "stall", "--seed", "8"),
    "push_back_1": ("--pace", "full", "--reps", "3", "--flaw", "push-back", "--seed", "21"),
    "push_back_2": ("--pace", "full", "--reps", "3", "--flaw", "push-back", "--flaw-size", "0.4", "--seed", "21"),
    "push_back_3": ("--pace", "full", "--reps", "3", "--flaw", "none", "--seed", "21"),
}
"""Three sessions of one golfer: pushed back, less so, and not any more."""
PLAYER = 'format = 1\nname = "Robin"\nhand = "right"\n'
GIVE = ("--drill", "through-from-address", "--reps", "20", "--days", "5", "--notes", "Start down by turning.")


def run(*words: str) -> None:
    subprocess.run([sys.executable, "-m", "imufeedback", *words], check=True, stdout=subprocess.DEVNULL)


def main(folder: Path) -> None:
    with tempfile.TemporaryDirectory() as work:
        home = Path(work)
        os.environ["IMUFEEDBACK_HOME"] = work
        for name, plan in DEMOS.items():
            out = home / name
            run("demo", "--headless", "--no-realtime", *plan, "--out", str(out))
            (made,) = out.glob("*.mcap")
            shutil.move(made, folder / f"{name}.mcap")
        (home / "players").mkdir(exist_ok=True)
        (home / "players" / "robin.toml").write_text(PLAYER, encoding="utf-8")
        run("homework", "give", "Robin", *GIVE, "--out", str(folder / "homework_robin.zip"), "--overwrite")


if __name__ == "__main__":
    main(Path(sys.argv[1]) if len(sys.argv) > 1 else FOLDER)
