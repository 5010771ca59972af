"""The compiled form of what steps from sample to sample, where a compiler was there when this was installed.

Each of its functions stands in Python beside its use, too, which is what it is checked against and what runs without
it: `clocked` in `timing/clock.py`, `middle` in `timing/envelope.py`, `stepped` in `fusion/stepping.py`, `gridded` in
`timing/grid.py`, `updated` in `body/link.py`, `carried` in `body/strapdown.py`.
"""

from __future__ import annotations

from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from types import ModuleType

core: ModuleType | None
try:
    from imufeedback import _recursions as core
except ImportError:
    core = None
