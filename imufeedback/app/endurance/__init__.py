"""A long day of live operation without waiting, in a process of its own; prints one JSON document.

``python -m imufeedback.app.endurance SECONDS SEED FOLDER [KEEP_S]``, offscreen. Everything that a live session holds
runs as it does there: engine thread with its queue, session and pipeline, journal with its two threads, player and
mixer, event feed and bay window. Only time, packets and the sound device are made: time jumps from item to item. What
the system's Bluetooth and the client's own code hold is not in it.
"""
