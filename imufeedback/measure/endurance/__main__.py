"""See the package: one day, one JSON document on stdout."""

from __future__ import annotations

import json
import os
import sys
from pathlib import Path
from typing import Any


def main(seconds: float, seed: int, folder: Path, keep_s: float | None = None) -> dict[str, Any]:
    """Play a day in this process. `keep_s` replaces how much the body keeps for a calibration."""
    from imufeedback.body import history
    from imufeedback.measure.endurance.day import LongDay
    from imufeedback.measure.endurance.rig import Rig

    if keep_s is not None:
        history.KEEP_S = keep_s
    return Rig(LongDay(seconds, seed), folder).run()


if __name__ == "__main__":
    _seconds, _seed, _folder, *_keep = sys.argv[1:]
    _found = main(float(_seconds), int(_seed), Path(_folder), *map(float, _keep))
    sys.stdout.write(json.dumps(_found) + "\n")
    sys.stdout.flush()
    os._exit(0)  # windows, threads and Qt are not worth an orderly end here
