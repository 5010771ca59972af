"""What the tool promises, measured: accuracy and speed against exact truth, recordings of people, and other libraries.

::

    checks.py   what a check is: a value, a band that it must lie in, a unit
    sets/       one file a set of checks, found by its registry
    run.py      runs sets, collects their checks, says what it left out
    side_by_side.py  this tool beside the well-known filters, on the same samples
    rows.py     the figures behind that: set, trial, method, errors
    optics.py   recordings with an optical reference; own_stages.py and peers.py run on them
    synthetic.py  synthetic players as such recordings
    players.py  synthetic players with real sensors' errors through the whole pipeline
    walk.py     measures on a recording of a person (sitting, standing, walking)
    tilt.py     segment tilt against the library qmt
    golfer.py   measures on the synthetic golfer with exact truth
    swingers.py players who swing, through the whole pipeline; exact.py their exact angles through motion and rules
    speed.py    time per step from samples to angles, and that of VQF alone
    scaling.py  cost against sensors, rate, length and library
    live_load.py  share of a core that three live sensors take
    page.py     all of it as one HTML page; coach_words.py, people_table.py and pictures.py serve it
    process.py  time and memory of whole commands
"""
