"""Orientations after a gap, by the piece itself.

A filter that goes on over missing samples carries a wrong tilt for seconds: 10 to 60° where a person squatted and
jumped in the gaps. A piece that does not touch standing is run forth and back by itself: its tilt is then the mean of
all its force, off by what its speed changed over its duration (0.5 m/s in 1.3 s: 2°). Its heading is its own.
"""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import vqf

from imufeedback.body.stretch import WindowSamples


def touches(piece: WindowSamples, still: WindowSamples) -> bool:
    """Whether a piece goes on from standing, or into it, without a gap."""
    return bool(len(still.t_s) and piece.t_s[0] <= still.t_s[-1] and still.t_s[0] <= piece.t_s[-1])


def relevelled(whole: WindowSamples, still: WindowSamples) -> WindowSamples:
    """The same, with every piece that does not touch standing run by itself."""
    pieces = whole.pieces
    if len(pieces) < 2:
        return whole
    q_es = whole.q_es.copy()
    for piece in pieces:
        if not touches(whole.rows(piece), still):
            gyr, acc = (np.ascontiguousarray(one[piece]) for one in (whole.gyr_rad_s, whole.acc_m_s2))
            q_es[piece] = vqf.offlineVQF(gyr, acc, None, 1.0 / whole.rate_hz)["quat6D"]
    return replace(whole, q_es=q_es)


def oriented_as(part: WindowSamples, whole: WindowSamples) -> WindowSamples:
    """A part of it, by time, with its orientations; samples that are not in it keep theirs."""
    if not len(part.t_s) or not len(whole.t_s):
        return part
    at = np.minimum(np.searchsorted(whole.t_s, part.t_s - 0.5 / part.rate_hz), len(whole.t_s) - 1)
    same = np.abs(whole.t_s[at] - part.t_s) < 0.5 / part.rate_hz
    return replace(part, q_es=np.where(same[:, None], whole.q_es[at], part.q_es))
