"""Live sessions: everything that runs while somebody practises. Knows nothing of windows.

::

    session.py   `Session`: items in, journal and pipeline, events out; `Engine`: the thread that it runs in
    sound.py     cues to the sound device, and how late they are heard
    practice.py  `Practice`: one session from its start to its closed recording, whatever its source; `Source`
    station.py   real sensors: found, connected and told about before a session
    worn.py      source: the sensors of a station
    golfer.py    source: the virtual golfer with virtual sensors
    playback.py  source: a recording
    demo.py      the demo's practice, and its document

`Practice` is the only place that puts source, session, engine, sound and recording together; windows, commands and
measurements give it a source and listen.
"""
