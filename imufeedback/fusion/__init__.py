"""Samples of one sensor to its orientation: one file a filter in `filters`, and the stage that feeds them."""

from imufeedback.fusion.filters import available, make
from imufeedback.fusion.stage import Fusion

__all__ = ["Fusion", "available", "make"]
