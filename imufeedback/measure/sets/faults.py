"""Troubles in the middle of movement: are the error bars right, and is nothing judged that is not known?

Each trouble befalls one sensor, or all, at a moment of a synthetic golfer's swing and of a person's walking. Measured
is by how much it moved the angles, against the same session without it; golfers also against their truth.
"""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass, field

import numpy as np

from imufeedback.measure import persons
from imufeedback.measure.checks import Band, Context, Measured, SetPart, at_most, exactly
from imufeedback.measure.scenes import AFTER_S, HALF_STEP_S, PELVIS, Key, Scene, SceneAngles, golfer, walker
from imufeedback.measure.troubles import TROUBLES, TroubleKind
from imufeedback.records import Bools, Floats, Rep, Segment

ALL = "all"
FEWEST = 100
"""Shown values of a cell below which its share says nothing."""
QUICK_CELLS = 60
IN_TWO = Band(91, None)
SLACK_S = 0.05


@dataclass(frozen=True, slots=True)
class Cell:
    """One trouble at one moment in one sensor, or in all."""

    scene: Scene
    trouble: TroubleKind
    moment: str
    where: str

    @property
    def sensors(self) -> frozenset[str]:
        if self.where == ALL:
            return frozenset(self.scene.sensors.values())
        return frozenset([self.scene.sensors[Segment(self.where)]])

    @property
    def name(self) -> str:
        return f"{self.scene.name}, {self.trouble.name}, {self.moment}, {self.where}"

    @property
    def at_s(self) -> float:
        return self.scene.moments[self.moment]

    def befalls(self, key: Key) -> bool:
        """Whether an angle rests on a sensor that something befell."""
        if self.where == ALL:
            return True
        joint, side = key
        if side is None:
            return self.where == Segment.PELVIS
        ends = (Segment.PELVIS, Segment.thigh(side)) if joint == "hip" else (Segment.thigh(side), Segment.shank(side))
        return Segment(self.where) in ends


@dataclass
class _Tally:
    cells: list[tuple[float, str, str]] = field(default_factory=list)
    """Share within two standard deviations, name of the trouble, name of the cell."""
    true: dict[str, list[Bools]] = field(default_factory=dict)
    """Against the truth, all golfers together: whether within two standard deviations, by trouble."""
    known: int = 0
    asked: int = 0
    """Undisturbed values that are shown, and how many there are."""
    judged: list[str] = field(default_factory=list)
    """Reps that were judged although an angle was not known."""


def matrix(context: Context) -> Iterator[Measured]:
    """Every trouble × moment × sensor."""
    tally = _Tally()
    for cell in _cells(context):
        context.say(cell.name)
        _measure(context, cell, tally)
    worst: dict[str, tuple[float, str, str]] = {}
    for one in tally.cells:
        worst[one[1]] = min(one, worst.get(one[1], one))
    for trouble, (share, _, name) in worst.items():
        yield Measured(f"{trouble}: within two bars of undisturbed, worst cell ({name})", 100 * share, IN_TWO, "%")
    for trouble, parts in tally.true.items():
        if not parts:
            continue
        share = float(np.concatenate(parts).mean())
        yield Measured(f"{trouble}: within two bars of the truth, all golfers", 100 * share, IN_TWO, "%")
    named = f" ({'; '.join(tally.judged[:3])})" if tally.judged else ""
    yield Measured(f"reps with a result although an angle was not known{named}", len(tally.judged), exactly(0), "reps")
    yield Measured("undisturbed samples still shown", 100 * tally.known / max(tally.asked, 1), Band(97, None), "%")


def _cells(context: Context) -> list[Cell]:
    rng = np.random.default_rng([context.seed, 61])
    scenes = [golfer(context.seed + k) for k in range(3 if context.quick else 6)]
    if context.data is not None and (context.data / persons.FOLDER / "optical_walk").is_dir():
        scenes.append(walker(context.data, context.work, rng, count=2 if context.quick else 6))
    cells = [
        Cell(scene, trouble, moment, where)
        for scene in scenes
        for trouble in TROUBLES
        for moment in scene.moments
        for where in (*sorted(scene.sensors), ALL)
    ]
    if not context.quick:
        return cells
    return [cells[k] for k in sorted(rng.choice(len(cells), QUICK_CELLS, replace=False).tolist())]


def _measure(context: Context, cell: Cell, tally: _Tally) -> None:
    scene, trouble = cell.scene, cell.trouble
    found = scene.played(trouble.change(scene.rest, cell.at_s, cell.sensors), trouble.full_scale_rad_s)
    inside = (found.t_s >= cell.at_s) & (found.t_s <= scene.ends[cell.moment])
    moved, shown = _in_bars(found, inside, {key: scene.moved(found, key) for key in found.angle})
    together = np.concatenate([*moved.values(), np.empty(0, dtype=bool)])
    if len(together) >= FEWEST:
        tally.cells.append((float(together.mean()), trouble.name, cell.name))
    errors = {key: error for key in found.angle if (error := scene.error(found, key)) is not None}
    true, _ = _in_bars(found, inside, errors)
    tally.true.setdefault(trouble.name, []).extend(true.values())
    known, asked = _coverage(cell, found, inside)
    tally.known, tally.asked = tally.known + known, tally.asked + asked
    tally.judged += [f"{cell.name}: rep {rep.index}" for rep in _judged_blindly(found)]
    context.rows.append(
        {
            "set": "faults",
            "scene": scene.name,
            "trouble": trouble.name,
            "moment": cell.moment,
            "sensor": cell.where,
            "within_2sd": float(together.mean()) if len(together) else None,
            "within_2sd_by_angle": {angle: float(one.mean()) for angle, one in moved.items() if len(one)},
            "true_within_2sd_by_angle": {angle: float(one.mean()) for angle, one in true.items() if len(one)},
            "shown": shown,
        }
    )


def _in_bars(found: SceneAngles, inside: Bools, errors: Mapping[Key, Floats]) -> tuple[dict[str, Bools], float]:
    """Whether each shown value lies within two bars, by angle; share of the values that are shown."""
    out: dict[str, list[Bools]] = {}
    shown = total = 0
    for key, error in errors.items():
        for column, angle in enumerate(_names(key)):
            off, sd = np.abs(error[inside, column]), found.sd[key][inside, column]
            known = np.isfinite(off)
            shown, total = shown + int(known.sum()), total + len(known)
            out.setdefault(angle, []).append(off[known] <= 2 * sd[known])
    return {angle: np.concatenate(parts) for angle, parts in out.items()}, shown / max(total, 1)


def _names(key: Key) -> tuple[str, ...]:
    if key[1] is None:
        return ("turn", "side tilt", "forward tilt")
    return ("flexion", "adduction", "rotation") if key[0] == "hip" else ("knee",)


def _coverage(cell: Cell, found: SceneAngles, inside: Bools) -> tuple[int, int]:
    """Undisturbed values that are shown, and how many there are: of angles that rest on other sensors only, and of all
    after the next zero, as far as the undisturbed session shows them."""
    known = asked = 0
    again = cell.scene.whole_again_s[cell.moment]
    later = np.zeros_like(inside) if again is None else (found.t_s >= again[0]) & (found.t_s <= again[1])
    plain = cell.scene.undisturbed
    for key in found.angle:
        stretch = later if cell.befalls(key) else inside | later
        columns = len(_names(key))
        was = np.isfinite(plain.angle[key][:, :columns]).all(axis=1)
        asked_s = np.round(plain.t_s[was] / HALF_STEP_S)
        here = stretch & np.isin(np.round(found.t_s / HALF_STEP_S), asked_s)
        values = found.angle[key][here][:, :columns]
        known, asked = known + int(np.isfinite(values).sum()), asked + values.size
    return known, asked


def _judged_blindly(found: SceneAngles) -> list[Rep]:
    """Reps that count although an angle that they need was not known at some instant."""
    out = []
    for rep in (one for one in found.events if isinstance(one, Rep) and not one.void):
        inside = (found.t_s >= rep.positions["address_s"]) & (found.t_s <= rep.positions["finish_s"])
        steps = np.diff(found.t_s[inside])
        holes = len(steps) and steps.max() > SLACK_S
        needed = [found.angle[key][inside] for key in found.angle if key[0] == PELVIS]
        needed += [found.angle[key][inside][:, [0, 2]] for key in found.angle if key[0] == "hip"]
        if holes or not all(np.isfinite(one).all() for one in needed):
            out.append(rep)
    return out


def recovery(context: Context) -> Iterator[Measured]:
    """How soon after half a second without samples at address the angles are shown again."""
    trouble = next(one for one in TROUBLES if one.name == "gap of 0.5 s")
    flexion, rotation = [], 0
    for scene in [golfer(context.seed + k) for k in range(2 if context.quick else 10)]:
        for where in (*sorted(scene.sensors), ALL):
            cell = Cell(scene, trouble, "address", where)
            context.say(f"{scene.name}, {where}")
            found = scene.played(trouble.change(scene.rest, cell.at_s, cell.sensors))
            flexion.append(_again_s(cell, found))
            again = scene.whole_again_s["address"]
            assert again is not None
            late = (found.t_s >= again[0]) & (found.t_s <= again[1])
            hips = [found.angle[key][late] for key in found.angle if key[0] == "hip"]
            rotation += not all(len(one) and np.isfinite(one).all() for one in hips)
    yield Measured("0.5 s without samples at address: flexion shown again after", max(flexion), at_most(0.3), "s")
    yield Measured("the same: sessions whose rotation is not shown after the next zero", rotation, exactly(0), "cases")


def _again_s(cell: Cell, found: SceneAngles) -> float:
    """From the end of the gap until both flexions are shown for good."""
    end_s = cell.at_s + cell.trouble.lasts_s
    later = (found.t_s >= cell.at_s) & (found.t_s <= end_s + AFTER_S)
    flexions = [found.angle[key][later, 0] for key in found.angle if key[0] == "hip"]
    if not flexions:
        return float("inf")
    missing = ~np.all([np.isfinite(one) for one in flexions], axis=0)
    last = found.t_s[later][missing]
    shown_s = float(last.max()) if len(last) else end_s
    return max(shown_s - end_s, 0.0)


STEPS: Sequence[SetPart] = (SetPart("troubles in motion", matrix), SetPart("after a gap at address", recovery))
