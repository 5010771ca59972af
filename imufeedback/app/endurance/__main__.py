"""See the package: one day, one JSON document on stdout."""

from __future__ import annotations

import json
import os
import sys
from pathlib import Path
from typing import Any


def main(seconds: float, seed: int, folder: Path) -> dict[str, Any]:
    """Play a day in this process."""
    from imufeedback.app.endurance.rig import Rig
    from imufeedback.validate.endurance.day import LongDay

    return Rig(LongDay(seconds, seed), folder).run()


if __name__ == "__main__":
    sys.stdout.write(json.dumps(main(float(sys.argv[1]), int(sys.argv[2]), Path(sys.argv[3]))) + "\n")
    sys.stdout.flush()
    os._exit(0)  # windows, threads and Qt are not worth an orderly end here
