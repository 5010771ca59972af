"""One file that coach and player hand each other by any means: homework, limits, notes, a reference rep, recordings,
and what the coach says about reps. Nothing is sent by the tool.

``manifest.py`` says what is in it, ``archive.py`` writes and opens the file, ``exchange.py`` brings it to a player's
own files and back.
"""
