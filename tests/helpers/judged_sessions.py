"""Sessions as the report is given them, made of nothing but their figures."""

from __future__ import annotations

from datetime import datetime, timedelta, timezone
from typing import Any

import msgspec

from imufeedback.document import Document, JudgedRep, RuleFinding
from imufeedback.records import Verdict
from imufeedback.report.session import SessionReport


def finding(rule: str, value: float, verdict: str = "fault", text: str = "") -> RuleFinding:
    text = text or f"do better at {rule}"
    return RuleFinding(rule=rule, t_s=1.0, value=value, limit=3.0, unit="deg", verdict=Verdict(verdict), text=text)


def rep(index: int, *found: RuleFinding, flat: float = 1.0, tones: bool | None = None) -> JudgedRep:
    features = {
        "trail_thigh_loss_top_finish_deg": 20.0 + index,
        "trail_thigh_flat_turn_deg": flat,
        "thigh_angle_sd_deg": 1.5,
        "trail_thigh_angle_top_deg": -0.04,
    }
    return JudgedRep(
        index=index, kind="swing", start_s=60.0 * index, end_s=60.0 * index + 4, positions={"top_s": 1.0},
        estimated=["impact_s"], features=features, findings=list(found), cues=[], tones=tones,
    )  # fmt: skip


def summary(*reps: JudgedRep, reason: str = "bow more", **more: Any) -> Document:
    sensor = {"role": "left_thigh", "id": "A", "rate_hz": 200.0, "samples": 990, "lost": 10, "saturated": 0}
    fit = {
        "method": "m",
        "level": "fair",
        "segments": {"pelvis": {"level": "fair", "sd_deg": 2.0, "reason": reason}},
    }
    values = {
        "version": "1", "player": {"hand": "right"}, "sensors": [sensor], "calibration": fit,
        "reps": msgspec.to_builtins(reps), "totals": {"samples": 990, "lost": 10}, "notices": [], "notes": [], **more,
    }  # fmt: skip
    return msgspec.convert(values, Document)


def session(*reps: JudgedRep, **more: Any) -> SessionReport:
    started = datetime(2025, 7, 1, 10, 0, tzinfo=timezone(timedelta(hours=5.75)))
    return SessionReport(summary(*reps), **{"player": "Ida", "title": "Tuesday", "started": started, **more})
