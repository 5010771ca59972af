"""The structs of the document as a page: every field of the JSON with its kind and meaning.

``SUMMARY.md`` is this, and a test compares them. What a field means stands under it in ``document.py``.
"""

from __future__ import annotations

import ast
import inspect
import sys
from collections.abc import Iterator

from msgspec import inspect as kinds

from imufeedback import document
from imufeedback.document import Document

FEATURES: tuple[tuple[tuple[str, ...], str], ...] = (
    (("trail_thigh_angle_min_deg",), "lowest trail thigh angle from the top on"),
    (("trail_thigh_loss_top_impact_deg", "trail_thigh_loss_top_finish_deg"), "angle lost"),
    (("trail_thigh_slope_top_impact_ratio",), "degrees lost for a degree of turn"),
    (
        ("trail_thigh_flat_turn_deg", "trail_thigh_flat_from_s"),
        "longest stall before the target, its beginning; `..._up_sd_deg`: its error bar upwards",
    ),
    (("trail_thigh_growth_deg", "trail_thigh_growth_from_s"), "largest growth above the lowest angle before it"),
    (
        ("trail_thigh_first_stall_s", "..._turn_deg", "..._angle_deg"),
        "only with a stall: when, at which turn, at which angle",
    ),
    (("trail_hip_turn_in_back_deg",), "trail hip's inward turn, address to top"),
    (("lead_hip_turn_in_deg", "trail_hip_turn_out_deg"), "top to impact"),
    (("own_axis_share",), "part of the pelvis' turn from top to impact that is rotation in the hip joints"),
    (
        ("trail_hip_stance_deg", "lead_hip_stance_deg"),
        "hip rotation at address, from standing at the calibration; add it to a rotation to count from there",
    ),
    (("trail_hip_rotation_range_deg", "lead_hip_rotation_range_deg"), "largest minus smallest in the rep"),
    (
        ("level_turn_share", "knees_cross_turn_share"),
        "share of the turn from top to impact after which it happens; 0: before the top, 1.5: not before the finish",
    ),
    (
        (
            "trail_knee_flexion_impact_over_own_deg",
            "trail_hip_turn_out_over_own_deg",
            "pelvis_turn_finish_over_own_deg",
            "knees_cross_turn_over_own_share",
            "level_turn_over_own_share",
        ),
        "how far it is above the middle of the player's own baseline",
    ),
    (
        ("lead_knee_rate_impact_deg_s", "lead_knee_slope_impact_ratio"),
        "bending of the lead knee at impact, by time and by turn",
    ),
    (
        ("lead_knee_bends_again_deg",),
        "bend that the lead knee gains around impact, above its least since half way down",
    ),
    (("least_flexed_hip_finish_deg",), "flexion of the straighter hip at the finish"),
    (("hip_mirror_deg",), "RMS difference between the lead hip's way down and the trail hip's way back, turn by turn"),
    (
        (
            "turn_rate_max_deg_s",
            "turn_rate_impact_deg_s",
            "side_tilt_rate_level_deg_s",
            "lead_hip_turn_in_rate_max_deg_s",
            "trail_hip_turn_out_rate_max_deg_s",
        ),
        "rates",
    ),
    (("backswing_s", "downswing_s", "tempo_ratio"), "durations"),
    (("thigh_angle_sd_deg", "hip_rotation_sd_deg"), "largest error bar in the downswing"),
    (("impact_sd_s",), "error bar of an impact that no sensor felt"),
    (
        (
            "standing_hip_rotation_deg",
            "standing_thigh_wobble_deg",
            "standing_hip_rate_max_deg_s",
            "pelvis_turn_deg",
            "rep_s",
        ),
        "hip-turn drills: rotation of the standing hip, what its thigh itself turned meanwhile",
    ),
    (
        ("standing_hip_range_deg",),
        "hip-turn drills: rotation with what skin and strap hide of it, over a thigh that stays",
    ),
    (
        ("pelvis_off_level_deg", "stance_stagger_deg", "there_and_back_s"),
        "hip-turn drills: tip of the pelvis, how far the standing thigh is in front of the other one, whole time",
    ),
    (
        (
            "hold_s",
            "hold_pelvis_turn_deg",
            "hold_side_tilt_deg",
            "hold_trail_thigh_deg",
            "hold_most_flexed_hip_deg",
            "hold_moved_deg",
        ),
        "held positions: how long, where (means), and how much the pelvis moved meanwhile",
    ),
)
"""Features and what they mean, in the order of the page."""

_HEAD = """# Fields of the summary (`demo --json`, `analyse --json`)

Made from the docstrings in `document.py`; do not edit. Again: `python tests/helpers/summary_page.py > \
imufeedback/report/SUMMARY.md`

More may be added; these stay. Times are session seconds, angles degrees; a name ends in its unit.

| field | kind | meaning |
|---|---|---|
"""
_ABOUT_FEATURES = """
## Features

`<angle>_<position>_deg` for `pelvis_turn`, `pelvis_side_tilt`, `pelvis_forward_tilt`, `trail_thigh_angle`, \
`lead_thigh_angle`, `trail_hip_rotation`, `lead_hip_rotation`, and with shanks `trail_knee_flexion`, \
`lead_knee_flexion`, at `address`, `top`, `level`, `impact`, `finish`. A feature with an error bar has it beside it: \
`a_deg` has `a_sd_deg`, one standard deviation. A hip rotation or a knee that was not known all along, and that no \
rule of the set looks at, leaves its features out; where a rule looks at it, the rep is void.

| feature | meaning |
|---|---|
"""


def page() -> str:
    """The whole of ``SUMMARY.md``."""
    texts = meanings(inspect.getsource(document))
    fields = "".join(
        f"| `{path}` | {kind} | {text} |\n" for path, kind, text in _rows(kinds.type_info(Document), "", texts)
    )
    features = "".join(f"| {', '.join(f'`{name}`' for name in names)} | {text} |\n" for names, text in FEATURES)
    return f"{_HEAD}{fields}{_ABOUT_FEATURES}{features}"


def meanings(source: str) -> dict[tuple[str, str], str]:
    """What stands under each field, by class and field. Raises ValueError for a field without a docstring."""
    out: dict[tuple[str, str], str] = {}
    for struct in ast.parse(source).body:
        if isinstance(struct, ast.ClassDef):
            for line, below in zip(struct.body, [*struct.body[1:], None], strict=True):
                if isinstance(line, ast.AnnAssign) and isinstance(line.target, ast.Name):
                    out[struct.name, line.target.id] = _text(line, below)
    return out


def _text(field: ast.stmt, below: ast.stmt | None) -> str:
    """The text of the docstring below a field, on one line. Raises ValueError for a field without one."""
    if isinstance(below, ast.Expr) and isinstance(below.value, ast.Constant) and isinstance(below.value.value, str):
        return " ".join(below.value.value.split())
    raise ValueError(f"document.py, line {field.lineno}: this field has no docstring")


def _rows(kind: kinds.Type, path: str, texts: dict[tuple[str, str], str]) -> Iterator[tuple[str, str, str]]:
    """Path, kind and meaning of every field inside a kind, those of objects inside it below them."""
    match kind:
        case kinds.StructType(cls=struct, fields=fields):
            for field in fields:
                here = f"{path}.{field.encode_name}" if path else field.encode_name
                yield here, _words(field.type), texts[struct.__name__, field.name]
                yield from _rows(field.type, here, texts)
        case kinds.ListType(item_type=item):
            yield from _rows(item, f"{path}[]", texts)
        case kinds.DictType(value_type=value):
            yield from _rows(value, f"{path}.<name>", texts)
        case kinds.UnionType(types=several):
            for one in several:
                yield from _rows(one, path, texts)


def _words(kind: kinds.Type) -> str:
    """The kind of a field in words; what a struct, list or object holds stands in the rows below it."""
    match kind:
        case kinds.UnionType(types=several):
            return " or ".join(sorted(map(_words, several), key=lambda word: word == "null"))
        case kinds.EnumType(cls=names):
            return ", ".join(f"`{member.value}`" for member in names)
        case kinds.ListType(item_type=item):
            return f"list of {_words(item)}s"
        case kinds.DictType(value_type=value):
            return f"object of {_words(value)}s"
    return _PLAIN[type(kind)]


_PLAIN: dict[type[kinds.Type], str] = {
    kinds.StructType: "object",
    kinds.StrType: "text",
    kinds.BoolType: "true or false",
    kinds.IntType: "whole number",
    kinds.FloatType: "number",
    kinds.NoneType: "null",
}


if __name__ == "__main__":
    sys.stdout.write(page())
