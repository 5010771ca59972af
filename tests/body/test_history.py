"""The last minutes of samples, cut out by windows for a calibration."""

from __future__ import annotations

import numpy as np
from bodies import STANDING, WORN, stretch

from imufeedback.body.history import KEEP_S, History
from imufeedback.records import Segment

HZ = 50.0


def filled(seconds: float, *, ok=None) -> History:
    history = History()
    for k in range(int(seconds)):
        t_s = k + np.arange(50) / HZ
        history.add(
            stretch(
                dict.fromkeys(WORN, STANDING),
                t_s=t_s,
                acc={one: np.column_stack((t_s, t_s, t_s)) for one in WORN},
                ok=ok,
            )
        )
    return history


def test_a_window_holds_its_begin_and_not_its_end():
    window = filled(10).window(Segment.PELVIS, (2.5, 4.5), HZ)
    np.testing.assert_allclose(window.acc_m_s2[:, 0], np.arange(2.5, 4.5, 1 / HZ))
    assert len(window.q_es) == len(window.gyr_rad_s) == 100
    assert window.rate_hz == HZ


def test_samples_that_are_not_ok_are_left_out():
    bad = np.ones(50, dtype=bool)
    bad[10:20] = False
    history = filled(3, ok={Segment.LEFT_THIGH: bad})
    assert len(history.window(Segment.LEFT_THIGH, (0.0, 3.0), HZ).q_es) == 120
    assert len(history.window(Segment.PELVIS, (0.0, 3.0), HZ).q_es) == 150


def test_a_window_with_nothing_in_it_is_empty():
    history = filled(3)
    for segment, window_s in ((Segment.PELVIS, (5.0, 6.0)), (Segment.LEFT_SHANK, (0.0, 3.0))):
        window = history.window(segment, window_s, HZ)
        assert window.q_es.shape == (0, 4)
        assert window.acc_m_s2.shape == (0, 3)


def test_a_window_knows_its_times_and_its_gaps():
    bad = np.ones(50, dtype=bool)
    bad[10:20] = False
    window = filled(3, ok={Segment.LEFT_THIGH: bad}).window(Segment.LEFT_THIGH, (0.5, 2.0), HZ)
    np.testing.assert_allclose(window.t_s, window.acc_m_s2[:, 0])
    assert [one.stop - one.start for one in window.pieces] == [35, 30]


def test_postures_are_of_common_instants_and_since_the_last_gap():
    history = filled(3)
    assert history.postures(WORN, 2.0).shape == (20, len(WORN), 4)
    bad = np.ones(50, dtype=bool)
    bad[:25] = False
    assert filled(3, ok={Segment.LEFT_THIGH: bad}).postures(WORN, 3.0).shape == (5, len(WORN), 4)
    assert history.postures(WORN, 0.0).shape == (0, len(WORN), 4)


def test_memory_is_bounded():
    history = filled(KEEP_S + 60)
    assert len(history.blocks) <= KEEP_S + 1
    assert len(history.window(Segment.PELVIS, (0.0, 59.0), HZ).q_es) == 0
    assert len(history.window(Segment.PELVIS, (KEEP_S, KEEP_S + 60), HZ).q_es) == 60 * 50
