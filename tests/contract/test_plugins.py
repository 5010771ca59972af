"""Every filter, rule kind, rule set and layout that its folder's registry finds keeps the folder's promise."""

from __future__ import annotations

import math
import pickle
from dataclasses import replace
from functools import cache

import numpy as np
import pytest
from scipy.spatial.transform import Rotation

from imufeedback import resources
from imufeedback.constants import STANDARD_GRAVITY_M_S2
from imufeedback.fusion import available as filters
from imufeedback.fusion import make
from imufeedback.measure.drawn_flaws import FLAWS
from imufeedback.measure.golfer import play
from imufeedback.packets import Decoder, encode, parse_layout
from imufeedback.records import DeviceBlock, Flag, RawPacket, Rep, Verdict, sd_name
from imufeedback.report.plain_words import feature_word
from imufeedback.rules import parse_rule_set
from imufeedback.rules.kinds import kinds
from imufeedback.rules.rule import Rule, RuleOutcome
from imufeedback.synth.flaws import Flaw
from imufeedback.synth.golfer import SEGMENTS
from imufeedback.synth.player import Pace
from imufeedback.synth.script import make_script

PERIOD_S = 0.005


def turning(seconds: float = 6.0) -> tuple[np.ndarray, np.ndarray, Rotation]:
    """A sensor that starts tilted and turns about all its axes: gyr, acc, and its true orientation."""
    t = np.arange(0.0, seconds, PERIOD_S)
    gyr = np.column_stack([1.2 * np.sin(1.1 * t), 0.9 * np.cos(0.7 * t), 0.5 * np.sin(0.4 * t + 1.0)])
    q = Rotation.from_euler("x", 40, degrees=True)
    poses = []
    for k, rate in enumerate(gyr):
        q = q * Rotation.from_rotvec(rate * PERIOD_S) if k else q
        poses.append(q)
    truth = Rotation.concatenate(poses)
    return gyr, truth.inv().apply([0.0, 0.0, STANDARD_GRAVITY_M_S2]), truth


@pytest.mark.parametrize("name", filters())
def test_a_filter_is_finite_unit_and_causal(name: str) -> None:
    gyr, acc, _ = turning()
    q_es, bias, observed = make(name, PERIOD_S).run(gyr, acc)
    assert q_es.shape == (len(gyr), 4)
    assert bias.shape == (len(gyr), 3)
    assert observed.shape == (len(gyr),)
    assert observed.dtype == bool
    assert np.isfinite(q_es).all()
    assert np.isfinite(bias).all()
    np.testing.assert_allclose(np.linalg.norm(q_es, axis=1), 1.0, atol=1e-9)
    early, *_ = make(name, PERIOD_S).run(gyr[:500], acc[:500])
    np.testing.assert_array_equal(early, q_es[:500], "later samples must not change what came before")


@pytest.mark.parametrize("name", filters())
def test_a_filter_takes_sensor_to_earth(name: str) -> None:
    """`q_es` turned the right way round: what is up for the sensor is up for the earth, and the turns are its turns."""
    gyr, acc, truth = turning()
    ours = Rotation.from_quat(make(name, PERIOD_S).run(gyr, acc)[0], scalar_first=True)
    late = slice(400, None)
    up = (ours.inv().apply([0, 0, 1]) * truth.inv().apply([0, 0, 1])).sum(axis=1)
    assert np.degrees(np.arccos(np.clip(up, -1, 1)))[late].max() < 3.0
    turned = (ours[400].inv() * ours[-1]).inv() * (truth[400].inv() * truth[-1])
    assert np.degrees(turned.magnitude()) < 6.0


@pytest.mark.parametrize("name", filters())
@pytest.mark.parametrize("cut", [0, 1, 333])
def test_a_filters_state_is_its_whole_memory(name: str, cut: int) -> None:
    gyr, acc, _ = turning()
    whole = make(name, PERIOD_S).run(gyr, acc)
    first = make(name, PERIOD_S)
    if cut:
        first.run(gyr[:cut], acc[:cut])
    state = pickle.loads(pickle.dumps(first.state))
    first.run(gyr[cut:], acc[cut:])  # must not reach the state that was read
    second = make(name, PERIOD_S)
    second.state = state
    rest = second.run(gyr[cut:], acc[cut:])
    np.testing.assert_array_equal(rest[0], whole[0][cut:])
    np.testing.assert_array_equal(rest[1], whole[1][cut:])
    np.testing.assert_array_equal(rest[2], whole[2][cut:])


# ── rules ────────────────────────────────────────────────────────────────────────────────────────────────────────


@cache
def reps() -> dict[Flaw, Rep]:
    """A measured rep with every flaw, all of one session: one calibration serves them all."""
    flaws = tuple(Flaw)
    played = play(make_script(pace=Pace.FULL, flaw=flaws, reps=len(flaws), seed=3), SEGMENTS)
    return dict(zip(flaws, played.reps, strict=True))


def rules_of(name: str) -> tuple[Rule, ...]:
    return parse_rule_set(resources.text("rules", name), f"{name}.toml").rules


ALL_RULES = [rule for name in resources.available("rules") for rule in rules_of(name)]
SHIPPED = ALL_RULES + [
    rule
    for name in resources.available("drills")
    for rule in parse_rule_set(resources.text("drills", name), f"{name}.toml").rules
]


DRAWN_ONLY = {flaw.rule for flaw in FLAWS} & {"turns-through"}
"""Found in drawn players only: no flaw of the demo's golfer ends his turn early."""


@pytest.mark.parametrize("name", resources.available("rules"))
def test_a_rule_set_reads_and_is_called_as_its_file(name: str) -> None:
    rule_set = parse_rule_set(resources.text("rules", name), f"{name}.toml")
    assert rule_set.name == name
    assert rule_set.rules
    assert rule_set.title.strip()


@pytest.mark.parametrize("rule", ALL_RULES, ids=lambda rule: rule.id)
def test_a_rule_uses_features_that_reps_have_and_tells_what_to_do(rule: Rule) -> None:
    features = reps()[Flaw.NONE].features
    assert rule.feature in features
    assert rule.sd is None or rule.sd in features
    assert rule.unit in {"deg", "s", "1", "deg/s"}
    assert len(rule.text.split()) >= 4


@pytest.mark.parametrize("flaw", Flaw)
def test_every_feature_has_a_plain_word(flaw: Flaw) -> None:
    for name in reps()[flaw].features:
        assert feature_word(name)


@pytest.mark.parametrize("rule", ALL_RULES, ids=lambda rule: rule.id)
def test_a_rule_accepts_the_rep_without_a_flaw_and_finds_one_of_the_flaws(rule: Rule) -> None:
    good = reps()[Flaw.NONE]
    rule = rule.compared([good.features[rule.feature]] * 10)  # one that has no limit for everybody needs a baseline
    assert not rule.waits
    assert rule.check(good) is None
    if rule.id in DRAWN_ONLY:  # `LIMITS.md` says how often
        short = {**good.features, rule.feature: good.features[rule.feature] - 20.0}
        assert rule.check(replace(good, features=short)) is not None
        return
    assert any(rule.check(rep) is not None for rep in reps().values())


@pytest.mark.parametrize("name", kinds())
def test_a_kind_is_used_by_a_rule_set_that_ships(name: str) -> None:
    assert any(rule.kind == name for rule in SHIPPED)


@pytest.mark.parametrize("name", kinds())
@pytest.mark.parametrize("flaw", Flaw)
def test_what_a_kind_finds_lies_in_the_rep(name: str, flaw: Flaw) -> None:
    rep = reps()[flaw]
    for rule in (one for one in SHIPPED if one.kind == name):
        found = rule.check(rep)
        if found is not None:
            assert isinstance(found, RuleOutcome)
            assert rep.start_s <= found.t_s <= rep.end_s
            assert math.isfinite(found.value)
            assert found.verdict in (Verdict.FAULT, Verdict.UNSURE)


# ── layouts ──────────────────────────────────────────────────────────────────────────────────────────────────────


@pytest.mark.parametrize("name", resources.available("layouts"))
def test_a_layout_carries_samples_there_and_back(name: str) -> None:
    layout = parse_layout(resources.text("layouts", name), f"{name}.toml")
    assert layout.name == name
    rng = np.random.default_rng(1)
    count, step = layout.samples_per_packet, layout.nominal_step_ticks
    decoder = Decoder("a", layout, 0)
    for sequence in range(3):
        gyr, acc = rng.normal(0.0, 2.0, (count, 3)), rng.normal(0.0, 9.0, (count, 3))
        ticks = np.rint((sequence * count + np.arange(count)) * step).astype(np.int64)
        (block,) = decoder.feed(RawPacket("a", sequence, encode(layout, sequence, int(ticks[0]), gyr, acc, ticks)))
        assert isinstance(block, DeviceBlock)
        np.testing.assert_allclose(block.gyr_rad_s, gyr, atol=np.radians(0.1))
        np.testing.assert_allclose(block.acc_m_s2, acc, atol=0.01)
        np.testing.assert_array_equal(block.tick, ticks)
        assert not (block.flags & ~np.uint8(Flag.SATURATED)).any()
    assert decoder.counts.lost == decoder.counts.rejected == 0


class _Asked(dict[str, float]):
    """Features that note who is asked for."""

    def __init__(self, *args: dict[str, float]) -> None:
        super().__init__(*args)
        self.names: set[str] = set()

    def get(self, name: str, default: float | None = None) -> float | None:  # type: ignore[override]
        self.names.add(name)
        return super().get(name, default)

    def __getitem__(self, name: str) -> float:
        self.names.add(name)
        return super().__getitem__(name)


@pytest.mark.parametrize("rule", SHIPPED, ids=lambda rule: rule.id)
@pytest.mark.parametrize("flaw", Flaw)
def test_a_kind_says_which_features_it_looks_at(rule: Rule, flaw: Flaw) -> None:
    """So that a rep without the angles that they are made of is void."""
    asked = _Asked(dict(reps()[flaw].features))
    rule.check(replace(reps()[flaw], features=asked))
    own = {name for name in asked.names if name != sd_name(rule.feature)}
    assert own <= rule.looked_at
