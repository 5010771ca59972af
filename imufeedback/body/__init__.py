"""Orientation of the sensors to angles of the body: calibration, zeroing, joint and pelvis angles with their error
bars."""

from imufeedback.body.stage import Body

__all__ = ["Body"]
