"""One run as JSON values."""

from __future__ import annotations

import math
from collections.abc import Mapping
from typing import Any

from imufeedback import __version__
from imufeedback.commands import Begin, SetFit, recorded
from imufeedback.measure.latency.alone import engine_ms
from imufeedback.measure.latency.measure import DelayTrace, floor_ms
from imufeedback.measure.latency.motion import INTERVAL_S, known_fit
from imufeedback.measure.latency.parts import RunDelays, recording_facts, spread, table
from imufeedback.records import Item


def to_dict(trace: DelayTrace, found: RunDelays, *, seed: int, load: Mapping[str, bool]) -> dict[str, Any]:
    """All that was measured; milliseconds; what is not known is None."""
    document = {
        "version": __version__,
        "seed": seed,
        "load": dict(load),
        "output": trace.output,
        "input": trace.input,
        "setup": {
            "rate_hz": trace.layout.rate_hz,
            "samples_per_packet": trace.layout.samples_per_packet,
            "connection_interval_ms": 1e3 * INTERVAL_S,
            "sensors": len(trace.streams),
        },
        "floor_ms": floor_ms(trace, INTERVAL_S),
        "cues": {
            "measured": len(found.cues),
            "missing": found.missing,
            "late": found.late,
            "expired": found.expired,
            "underruns": trace.totals.underruns,
        },
        "parts": table(found),
        "engine_alone": spread(engine_ms(_items(trace, seed))),
        "recording": recording_facts(trace),
        "each_ms": [one.parts_ms() for one in found.cues],
    }
    cleaned: dict[str, Any] = _without_nan(document)
    return cleaned


def _items(trace: DelayTrace, seed: int) -> list[Item]:
    """What the engine was given, to be given to it again."""
    packets = [one.packet for one in trace.steps if one.packet is not None]
    first = recorded(trace.begin_ns, Begin.of(trace.settings))
    return [first, recorded(trace.begin_ns, SetFit.of(known_fit(seed))), *packets]


def _without_nan(value: Any) -> Any:
    if isinstance(value, Mapping):
        return {key: _without_nan(one) for key, one in value.items()}
    if isinstance(value, list):
        return [_without_nan(one) for one in value]
    return None if isinstance(value, float) and not math.isfinite(value) else value
