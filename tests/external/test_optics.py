"""Against optical references: open data sets, read where they lie (`measure/optics.py` names their sources)."""

from __future__ import annotations

from pathlib import Path

import pytest

from imufeedback.measure import optics, own_stages, peers


def rmse_deg(name: str, pair: optics.JointTrial) -> float:
    """Total RMSE (deg) of a method. Raises ImportError for ``mekf`` without the library dfjimu."""
    both = peers.mekf(pair) if name == "mekf" else peers.heading_once(name, pair)
    return optics.relative_rmse_deg(peers.at_reference(name, both, pair, optics.delay_s(pair)), pair)


def test_a_ball_joint_is_held_better_than_by_the_well_known_filters(data_folder: Path) -> None:
    pair = next(one for one in optics.pairs(data_folder / "joint3d") if one.name.endswith("02"))
    delay_s = optics.delay_s(pair)
    relative, _ = own_stages.relative(pair, delay_s)
    mine = optics.relative_rmse_deg(relative, pair)
    assert mine <= 1.05 * rmse_deg("mekf", pair)
    assert mine <= 0.95 * rmse_deg("vqf", pair)
    assert mine <= 1.2 * peers.floor(pair, delay_s)


@pytest.mark.parametrize("word", ["_fast_rotation_A", "_disturbed_tapping"])
def test_tilt_in_fast_and_disturbed_motion(data_folder: Path, word: str) -> None:
    single = next(one for one in optics.singles(data_folder / "broad") if word in f"_{one.name}")
    q_es, _ = own_stages.oriented(single)
    plain = peers.ORIENT["vqf"](single.gyr, single.acc, single.rate_hz)
    assert optics.inclination_rmse_deg(q_es, single) <= optics.inclination_rmse_deg(plain, single)
