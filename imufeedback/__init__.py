"""Live hip-angle feedback for golfers from small inertial sensors. See README.md."""

__version__ = "0.1.0"
