"""The measurement itself: all samples go through all stages."""

from __future__ import annotations

import numpy as np

from imufeedback.measure import players, speed


def test_every_sample_is_there_once_in_packets_and_every_stage_takes_time() -> None:
    session = players.script(1, reps=1)
    given = speed.prepared(session)
    assert {one.sensor for one in given.blocks} == set(speed.NAMES)
    assert max(len(one.t_s) for one in given.blocks) == speed.SAMPLES
    for name in speed.NAMES:
        t_s = np.concatenate([one.t_s for one in given.blocks if one.sensor == name])
        assert (np.diff(t_s) > 0).all()
    seconds = given.steps / speed.RATE_HZ
    assert abs(seconds - session.duration_s) < 0.5
    ends = [one.t_s[-1] for one in given.blocks]
    assert ends == sorted(ends), "in the order in which they come"
    cost = speed.cost(given, session)
    assert min(cost.fusion, cost.merge, cost.body, cost.vqf) > 0
    assert cost.fusion_and_body == cost.fusion + cost.body
