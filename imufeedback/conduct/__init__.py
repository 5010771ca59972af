"""What stands between the stages: the sensors as they are worn, reps and their rules, what is heard, and commands.

`imufeedback.pipeline` puts these rooms and the stages together.
"""

from imufeedback.conduct.body_sensors import Worn
from imufeedback.conduct.hearing import Hearing
from imufeedback.conduct.limits import OWN, own_limits
from imufeedback.conduct.orders import UNUSABLE, Orders
from imufeedback.conduct.reps import Reps
from imufeedback.conduct.sensors import Sensors, Timed

__all__ = ["OWN", "UNUSABLE", "Hearing", "Orders", "Reps", "Sensors", "Timed", "Worn", "own_limits"]
