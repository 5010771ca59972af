"""The first screen of `imufeedback live`: player, sensors, calibration, what to train; each step shows what is missing.

::

    readiness.py     which steps are done and what is missing (knows nothing of Qt)
    texts.py         its words
    step_list.py     the steps at the left
    player_page.py, sensor_page.py, calibration_page.py, work_page.py
    body_picture.py  a body with the state of every sensor
    moves.py         what turns in each calibration movement
    page.py          all of it together
"""
