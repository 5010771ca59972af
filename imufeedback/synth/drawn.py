"""Players drawn from what is published of lower bodies in the golf swing.

Each value stands with where it comes from: [P] published, abstract or table read; [M] published, from memory; [C]
fitted so that the closed chain reproduces the excursions of Bourgain et al. (Sports 2022;10:91) and the peak rates of
Gulgin et al. (J Sports Sci Med 2009;8:296-9); [F] chosen, no source.

* turn at the top and at impact: Zheng et al., Int J Sports Med 2008;29:965-70, 25 + 25 tour professionals [P];
* times: event labels of 758 clips (McNally et al., CVPR Workshops 2019, arXiv 1903.06528), medians and robust spread
  [P]; the pelvis turns round 0.035 s before the club [M], the exponent of its time over turn is chosen [F];
* forward tilt: direction of Horan et al., J Biomech 2010;43:1456-62 [P], size [F]; side tilt [M];
* shift towards the target: direction of Healy et al., J Sports Sci 2011;29:1079-88 [P], size [F];
* give of the legs [C]: its trail side gives more, as X-ray shows of the knee (Murakami et al., Knee 2016;23:221-6: 18
  degrees lead, 26 trail). It is what markers and straps on skin see, not bones: no loss in soft tissue comes on top;
* where the give ends: 40 for both sexes together [C], women's further than men's as their knees turn further about the
  long axis (26.2 against 20.5 degrees, 82 knees: Hsu et al., Am J Sports Med 2006;34:765-70) [P];
* everything else: common practice or chosen [F].
"""

from __future__ import annotations

from dataclasses import dataclass, fields, replace

import numpy as np

from imufeedback.records import Floats

GIVE_END_DEG, WOMEN_OVER_MEN = 40.0, 26.2 / 20.5
REP_TIME, REP_ANGLE_DEG, REP_LENGTH_M, REP_GIVE = (0.06, 0.03, 0.06), 2.0, 0.004, 0.02
"""From rep to rep: times of back, down [P] and through, angles, lengths, give [F]."""


@dataclass(frozen=True, slots=True)
class Drawn:
    """N players or reps. Degrees, metres, seconds; (N, 4) at address, top, impact, finish, else (N,)."""

    woman: np.ndarray
    turn: Floats
    side: Floats
    forward: Floats
    to_target: Floats
    ahead: Floats
    pivot_lead: Floats
    pivot_trail: Floats
    times: Floats
    """(N, 3) back, down, through."""
    stature: Floats
    stance: Floats
    flare_lead: Floats
    flare_trail: Floats
    torsion: Floats
    give_lead: Floats
    give_trail: Floats
    give_end: Floats
    level_power: Floats
    """Where the hips come level: power of the turned share."""
    heel_top: Floats
    """Pitch of the lead foot at the top."""
    knee_address: Floats
    knee_trail_top: Floats
    knee_lead_impact: Floats
    knee_lead_finish: Floats
    knee_trail_impact: Floats
    knee_trail_finish: Floats

    def __len__(self) -> int:
        return len(self.stature)

    def chosen(self, which: np.ndarray) -> Drawn:
        """Some of them, in this order."""
        return Drawn(*(getattr(self, one.name)[which] for one in fields(self)))

    def average(self) -> Drawn:
        """One player in the middle of them."""
        return Drawn(*(np.mean(getattr(self, one.name), axis=0, keepdims=True) for one in fields(self)))


def players(rng: np.random.Generator, count: int) -> Drawn:
    """Tour players, half of them women."""

    def normal(mean: float | Floats, sd: float, low: float = -np.inf, high: float = np.inf) -> Floats:
        return np.clip(rng.normal(mean, sd, count), low, high)

    woman = np.arange(count) % 2 == 0
    z = rng.normal(size=(2, count))
    top = np.maximum(np.where(woman, 49 + 8 * z[0], 42 + 7 * z[0]), 20)
    alike = 0.2 * z[0] + np.sqrt(1 - 0.2**2) * z[1]
    impact = np.maximum(np.where(woman, 52 + 11 * alike, 42 + 12 * alike), 8)
    finish = np.maximum(normal(92, 10), impact + 25)
    whole = np.where(woman, 101, 84)
    down = (np.where(woman, 0.278, 0.252) + 0.035) * ((top + impact) / whole) ** 0.8 * np.exp(normal(0, 0.09))
    back = np.where(woman, normal(1.05, 0.23, 0.6, 1.8), normal(0.86, 0.17, 0.55, 1.5))
    stature = np.where(woman, normal(1.66, 0.065), normal(1.78, 0.07))
    size, nothing = stature / 1.75, np.zeros(count)
    forward = normal(18, 5, 5, 30)
    knee = normal(22, 6, 8, 40)
    z = rng.normal(size=(2, count))
    return Drawn(
        woman=woman,
        turn=_at(nothing, -top, impact, finish),
        side=_at(normal(0, 2.5), normal(-8, 3), normal(10, 4), normal(5, 4)),
        forward=_at(
            forward, forward + normal(-3, 4), forward + normal(np.where(woman, -6, -9), 5), forward + normal(-17, 6)
        ),
        to_target=_at(nothing, normal(-0.025, 0.02), normal(0.07, 0.03), normal(0.13, 0.035)) * size[:, None],
        ahead=_at(nothing - 0.06, -0.06 + normal(0, 0.012), normal(-0.05, 0.02), normal(0.02, 0.02)) * size[:, None],
        pivot_lead=_at(nothing, nothing, np.abs(normal(3, 3)), normal(32, 10, 0, 60)),
        pivot_trail=_at(nothing, nothing, np.abs(normal(8, 5)), normal(32, 12, 5, 90)),
        times=np.stack([back, down, normal(0.60, 0.12, 0.35, 1.0)], axis=1),
        stature=stature,
        stance=normal(0.42, 0.04) * size,
        flare_lead=normal(22, 8, 0, 40),
        flare_trail=normal(8, 8, -8, 30),
        torsion=normal(12, 6),
        give_lead=np.clip(0.60 + 0.20 * z[0], 0, 1.1),
        give_trail=np.clip(0.92 + 0.20 * (0.5 * z[0] + np.sqrt(0.75) * z[1]), 0, 1.1),
        give_end=normal(GIVE_END_DEG, 8, 20, 60) * np.where(woman, WOMEN_OVER_MEN, 1.0) * 2 / (1 + WOMEN_OVER_MEN),
        level_power=normal(1.2, 0.2, 0.8, 1.8),
        heel_top=np.where(rng.random(count) < 0.2, normal(22, 8, 5, 40), 0.0),
        knee_address=knee,
        knee_trail_top=np.maximum(6, knee - 2 + normal(0, 5)),
        knee_lead_impact=normal(20, 7, 5, 40),
        knee_lead_finish=normal(10, 5, 3, 25),
        knee_trail_impact=normal(38, 8, 18, 60),
        knee_trail_finish=normal(48, 10, 25, 75),
    )


def reps(rng: np.random.Generator, of: Drawn, count: int) -> Drawn:
    """`count` reps of every player, one player's after the other; the address, the feet and the body stay."""
    out = of.chosen(np.repeat(np.arange(len(of)), count))
    n = len(out)

    def marks(values: Floats, sd: float) -> Floats:
        return values + rng.normal(0, sd, (n, 4)) * [0, 1, 1, 1]

    def knees(values: Floats) -> Floats:
        return np.maximum(values + rng.normal(0, REP_ANGLE_DEG, n), 3)

    return replace(
        out,
        turn=marks(out.turn, REP_ANGLE_DEG),
        side=marks(out.side, REP_ANGLE_DEG / 2),
        forward=marks(out.forward, REP_ANGLE_DEG / 2),
        to_target=marks(out.to_target, REP_LENGTH_M),
        ahead=marks(out.ahead, REP_LENGTH_M),
        times=out.times * np.exp(rng.normal(0, REP_TIME, (n, 3))),
        give_lead=np.clip(out.give_lead + rng.normal(0, REP_GIVE, n), 0, 1.15),
        give_trail=np.clip(out.give_trail + rng.normal(0, REP_GIVE, n), 0, 1.15),
        knee_trail_top=knees(out.knee_trail_top),
        knee_lead_impact=knees(out.knee_lead_impact),
        knee_lead_finish=knees(out.knee_lead_finish),
        knee_trail_impact=knees(out.knee_trail_impact),
        knee_trail_finish=knees(out.knee_trail_finish),
    )


def _at(*marks: Floats) -> Floats:
    return np.stack(marks, axis=1)
