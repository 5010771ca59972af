"""A synthetic golfer: smooth motion with exact truth, ideal sensors on the segments, and the packets they would send.

::

    profile.py      scalar courses of time (or of pelvis turn) with exact first and second derivatives
    kinematics.py   a chain of hinges: orientation, angular rate, angular acceleration, position, all exact
    plan.py         which scalar a body has (channels), and what each does when (pieces)
    shape.py        one rep as numbers: pelvis, knees and feet at the marks
    chain.py        legs between a pelvis and planted feet
    legs.py         shape -> every channel as a function of pelvis turn, through the chain
    flaws.py        what goes wrong, done to the chain's inputs
    swing.py        one rep: back, down, through
    alive.py        sway and breath
    player.py       the model player, and others like it
    golfer.py       player + plan -> pose at any instants
    busy.py         what is done between two reps
    script.py       a whole session: calibration movements, then reps, with the truth of every rep
    sensors.py      ideal inertial sensors at places on the segments
    tissue.py       bone -> what carries the sensor: soft tissue, a strap that slips
    presets.py      how wrong a sensor is: the numbers, with their sources
    errors.py       ideal samples -> what a real sensor would have measured
    worn.py         all of these together: one sensor as it is worn
    stream.py       samples -> packets

Nothing here is measured from a person. Published values are named beside the numbers that follow them.
"""
