"""What the tool promises, measured: accuracy and speed against exact truth, recordings of people, and other libraries.

::

    checks.py   what a check is: a value, a band that it must lie in, a unit
    sets/       one file a set of checks, found by its registry
    run.py      runs sets, collects their checks, says what it left out
    walk.py     measures on a recording of a person (sitting, standing, walking)
    tilt.py     segment tilt against the library qmt
    golfer.py   measures on the synthetic golfer with exact truth
    swingers.py players who swing, through the whole pipeline; exact.py their exact angles through motion and rules
    process.py  time and memory of whole commands
"""
