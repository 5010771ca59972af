"""Hours of live operation, as fast as it goes: what is played, what it must reach, and its picture.

`day` makes the packets and the links' notes of a day on which much goes wrong, `audit` compares what was recorded with
what was delivered, `lines` judges what a run in a process of its own (`imufeedback.measure.endurance`) found.
"""
