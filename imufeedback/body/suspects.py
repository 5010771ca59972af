"""Which of the worn sensors contradict physics: each by itself, then neighbours by one another."""

from __future__ import annotations

from collections.abc import Callable, Iterable, Mapping

import numpy as np

from imufeedback.body.axes import AxisVerdict, judge
from imufeedback.body.neighbours import inverted
from imufeedback.records import AlignedBlock, Floats, Segment

Samples = tuple[Floats, Floats, Floats]
"""(N,) s, (N, 3) rad/s, (N, 3) m/s²"""
Judge = Callable[[Mapping[Segment, Samples]], dict[Segment, AxisVerdict]]

__all__ = ["Judge", "Samples", "by_themselves", "in_words", "inverted", "line", "of_blocks", "suspects"]


def suspects(worn: Mapping[Segment, Samples]) -> dict[Segment, AxisVerdict]:
    """Sensors whose axes, signs or units cannot be true, and why; `worn` by the segments they are really on.

    Neighbours are only compared when each is right by itself.
    """
    return by_themselves(worn) or inverted(worn)


def by_themselves(worn: Mapping[Segment, Samples]) -> dict[Segment, AxisVerdict]:
    """The same from each sensor alone, wherever it may be."""
    judged = {segment: judge(*samples) for segment, samples in worn.items()}
    return {segment: verdict for segment, verdict in judged.items() if verdict.wrong}


def in_words(found: Mapping[Segment, AxisVerdict]) -> str | None:
    """One line for the player; None when there is nothing to say."""
    return "; ".join(line(segment, verdict) for segment, verdict in found.items()) or None


def line(segment: Segment, verdict: AxisVerdict) -> str:
    return f"{str(segment).replace('_', ' ')}: {verdict}"


def of_blocks(
    blocks: Iterable[AlignedBlock], places: Mapping[Segment, Segment], window_s: tuple[float, float]
) -> dict[Segment, Samples]:
    """What the sensors measured in a window of session time: `places` from what blocks call them to what they are to be
    called. Samples that are not ok are left out, so they are gaps."""
    begin_s, end_s = window_s
    inside = [one for one in blocks if one.t_s[-1] >= begin_s and one.t_s[0] < end_s]
    if not inside:
        return {}
    t_s, gyr, acc, ok = (
        np.concatenate([getattr(one, name) for one in inside]) for name in ("t_s", "gyr_rad_s", "acc_m_s2", "ok")
    )
    out = {}
    for i, segment in enumerate(inside[-1].segments):
        if segment in places:
            keep = ok[:, i] & (t_s >= begin_s) & (t_s < end_s)
            out[places[segment]] = t_s[keep], gyr[keep, i], acc[keep, i]
    return out
