"""Formats of ``export``: each module here is one, with a function ``write(source, out)``.

To add one, add a file: ``parquet.py`` is the format ``parquet``. Columns are documented in ``record/EXPORT.md``.
"""

from __future__ import annotations

import importlib
import math
import pkgutil
from collections.abc import Callable, Mapping
from dataclasses import dataclass
from datetime import datetime
from pathlib import Path
from typing import Any

from imufeedback.document import Document
from imufeedback.errors import ImuFeedbackError, UsageError
from imufeedback.record.trace import Trace


@dataclass(frozen=True, slots=True)
class ExportSource:
    """A judged recording to export."""

    recording: Path
    trace: Trace
    summary: Document
    grid_hz: float
    title: str = ""
    player: str = ""
    started: datetime | None = None
    fit: Mapping[str, Any] | None = None
    """Arguments of the command ``set-fit``; None without a calibration."""
    from_s: float = -math.inf
    """Only this stretch of the session."""
    to_s: float = math.inf


Write = Callable[[ExportSource, Path], str]
"""Writes the file or folder, whole or not at all, and says in words what is in it. Raises CannotWrite."""


def available() -> tuple[str, ...]:
    """Names of all formats, sorted."""
    return tuple(sorted(module.name for module in pkgutil.iter_modules(__path__)))


def writer(name: str) -> Write:
    """The writer of a format. Raises UsageError for a name that no file has."""
    if name not in available():
        raise UsageError(f"no format is called {name!r}", hint=f"choose one of {', '.join(available())}")
    write: Write = importlib.import_module(f"{__name__}.{name}").write
    return write


def needs(package: str) -> ImuFeedbackError:
    """The error for a library that comes only with the extra ``export``."""
    return ImuFeedbackError(
        f"this format needs the library {package}", hint="install it with: pip install 'imufeedback[export]'"
    )
