"""At the edges: files, commands and signals that nobody would wish for, and sensors that are somebody else's."""

from __future__ import annotations

from imufeedback.measure.edges import commands, library, radio, signals, texts, times

STEPS = (texts.STEP, times.STEP, commands.STEP, *library.STEPS, *radio.STEPS, signals.STEP)
