"""The figures behind the set ``people`` as one table: a line an angle of a trial, this tool beside the plain filter."""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from typing import Any

HEADS = ("trial", "angle", "shown", "RMSE, mean removed", "of VQF", "r", "range", "within 1 sd", "within 2 sd")
OWN, PLAIN = "imufeedback", "vqf"


def table(rows: Iterable[Mapping[str, Any]]) -> list[Sequence[str]]:
    """Cells in the order of `HEADS`; empty when the set was not measured."""
    found: dict[tuple[str, str], dict[str, Mapping[str, Any]]] = {}
    for row in rows:
        if row.get("set") == "people" and "angle" in row:
            found.setdefault((row["trial"], row["angle"]), {})[row["method"]] = row
    return [_cells(trial, angle, by[OWN], by[PLAIN]) for (trial, angle), by in found.items() if {OWN, PLAIN} <= set(by)]


def _cells(trial: str, angle: str, own: Mapping[str, Any], plain: Mapping[str, Any]) -> Sequence[str]:
    return (
        *(trial, angle, _share(own["ok_share"])),
        *(_number(own["rmse_centred_deg"], "°"), _number(plain["rmse_centred_deg"], "°")),
        *(_number(own["r"]), _number(own["excursion_ratio"])),
        *(_share(own["within_1sd"]), _share(own["within_2sd"])),
    )


def _number(value: float | None, unit: str = "") -> str:
    return "–" if value is None else f"{value:.2f}{unit}"


def _share(value: float | None) -> str:
    return "–" if value is None else f"{100 * value:.0f} %"
