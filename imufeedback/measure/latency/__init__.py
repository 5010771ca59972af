"""From motion to sound, measured: a virtual golfer's stall through radio, clock, pipeline and sound, recorded again.

::

    motion.py    the golfer who stalls about twice a second, and the radio that delivers his samples
    measure.py   a live session with this golfer; keeps when everything happened
    parts.py     when each cue was captured, arrived, decided, handed over and heard
    onset.py     finds a sound in a recording
    hour.py      an hour of a session without waiting: does the delay grow?
    picture.py   the picture
"""
