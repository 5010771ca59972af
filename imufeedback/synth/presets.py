"""How wrong a sensor is: the numbers of the error model, and four sets of them.

"Seen" and "suggested" figures come from vendors' data sheets of consumer six-axis parts, second-hand; "from memory" and
"chosen" have no source that was read. Where a figure is suggested as typical and as worst, `typical` and `poor` have
those two.
"""

from __future__ import annotations

from dataclasses import dataclass, replace


@dataclass(frozen=True, slots=True)
class SoftTissue:
    """What lies between a thigh and the sensor strapped to it: acts about the thigh's long axis only."""

    axial_share: float
    """Part of the hip's rotation that the sensor follows."""
    wobble_hz: float
    """Undamped natural frequency of tissue and sensor."""
    wobble_damping: float
    """Damping ratio, below 1."""
    wobble_gain: float
    """1: tissue that lags behind the bone by its inertia alone; 0: none."""


@dataclass(frozen=True, slots=True)
class SensorModel:
    """Error of one kind of sensor, worn in one way. "Spread" is one standard deviation, from sensor to sensor.

    Every axis, and every element off the diagonal, is drawn by itself.
    """

    name: str
    gyr_noise_dps_rthz: float
    """White noise density, one-sided as data sheets mean it: its square times half the sample rate is the variance."""
    acc_noise_ug_rthz: float
    gyr_bias_dps: float
    """Spread of the zero-rate offset at turn-on."""
    acc_bias_mg: float
    """Spread of the zero-g offset."""
    gyr_bias_dps_per_k: float
    """Spread of the zero-rate offset's change with temperature."""
    warm_up_k: float
    """Warming after turn-on in the end; nearly there after three `errors.WARM_UP_TAU_S`."""
    gyr_instability_dph: float
    """Bias instability, degrees per hour."""
    gyr_walk_dph: float
    """Spread of the bias by random walk after one hour, degrees per hour."""
    gyr_scale_percent: float
    gyr_cross_percent: float
    acc_scale_percent: float
    acc_cross_percent: float
    rate_error_percent: float
    """Greatest error of the sample rate."""
    strap_twist_deg: float
    """Spread of the turn about the segment's long axis by which the strap slips after the calibration."""
    digital: bool
    """16 bit, ±2000 °/s and ±16 g; else any number."""
    tissue: SoftTissue | None
    """Of the thighs."""

    def without(
        self,
        *,
        soft_tissue: bool = False,
        lost_rotation: bool = False,
        strap_twist: bool = False,
        rate_error: bool = False,
        noise: bool = False,
    ) -> SensorModel:
        """The same without the errors that are named; `noise` is white noise. Without `lost_rotation` the soft tissue
        wobbles, but takes nothing off a rotation that is already as a strap sees it."""
        out = replace(self, tissue=None) if soft_tissue else self
        if lost_rotation and out.tissue is not None:
            out = replace(out, tissue=replace(out.tissue, axial_share=1.0))
        out = replace(out, strap_twist_deg=0.0) if strap_twist else out
        out = replace(out, rate_error_percent=0.0) if rate_error else out
        return replace(out, gyr_noise_dps_rthz=0.0, acc_noise_ug_rthz=0.0) if noise else out


IDEAL = SensorModel(
    name="ideal",
    gyr_noise_dps_rthz=0.0,
    acc_noise_ug_rthz=0.0,
    gyr_bias_dps=0.0,
    acc_bias_mg=0.0,
    gyr_bias_dps_per_k=0.0,
    warm_up_k=0.0,
    gyr_instability_dph=0.0,
    gyr_walk_dph=0.0,
    gyr_scale_percent=0.0,
    gyr_cross_percent=0.0,
    acc_scale_percent=0.0,
    acc_cross_percent=0.0,
    rate_error_percent=0.0,
    strap_twist_deg=0.0,
    digital=False,
    tissue=None,
)

GOOD = SensorModel(
    name="good",
    gyr_noise_dps_rthz=0.0028,  # the least seen in data sheets
    acc_noise_ug_rthz=60.0,  # the least seen in data sheets
    gyr_bias_dps=0.03,  # suggested: what a still calibration of 2 to 5 s leaves
    acc_bias_mg=5.0,  # chosen: a part that was calibrated once
    gyr_bias_dps_per_k=0.005,  # the least seen in data sheets
    warm_up_k=5.0,  # chosen
    gyr_instability_dph=1.6,  # the least seen in data sheets
    gyr_walk_dph=1.6,  # chosen: as much
    gyr_scale_percent=0.3,  # chosen: a part that was calibrated once
    gyr_cross_percent=0.3,  # chosen, likewise
    acc_scale_percent=0.2,  # chosen, likewise
    acc_cross_percent=0.3,  # chosen, likewise
    rate_error_percent=0.1,  # chosen
    strap_twist_deg=0.0,
    digital=True,  # 16.4 LSB per °/s, 2048 LSB per g: data sheets
    tissue=SoftTissue(axial_share=0.9, wobble_hz=12.0, wobble_damping=0.25, wobble_gain=0.5),  # chosen: a firm strap
)

TYPICAL = SensorModel(
    name="typical",
    gyr_noise_dps_rthz=0.007,  # seen, suggested as typical
    acc_noise_ug_rthz=120.0,  # seen 60 to 160, suggested as typical
    gyr_bias_dps=1.0,  # seen ±0.5 to ±3 typical; suggested
    acc_bias_mg=20.0,  # seen ±20 to ±60; suggested
    gyr_bias_dps_per_k=0.02,  # seen 0.005 to 0.08; suggested
    warm_up_k=10.0,  # chosen: from a bag to a moving body
    gyr_instability_dph=10.0,  # seen 1.6 to 10, phones 5 to 20; suggested
    gyr_walk_dph=10.0,  # suggested without a figure; chosen: as much
    gyr_scale_percent=1.0,  # suggested, from memory
    gyr_cross_percent=1.0,  # suggested, from memory
    acc_scale_percent=0.5,  # suggested, from memory
    acc_cross_percent=1.0,  # suggested, from memory
    rate_error_percent=0.5,  # from memory: an oscillator inside the sensor without a crystal
    strap_twist_deg=2.0,  # chosen
    digital=True,
    # Share: rotation of a hip is under-read through the skin (Fiorentino et al., Gait Posture 2017,
    # 10.1016/j.gaitpost.2017.03.033, for skin markers; how much for a strapped sensor is not known). Wobble: chosen.
    tissue=SoftTissue(axial_share=0.85, wobble_hz=10.0, wobble_damping=0.2, wobble_gain=1.0),
)

POOR = SensorModel(
    name="poor",
    gyr_noise_dps_rthz=0.015,  # suggested as worst
    acc_noise_ug_rthz=230.0,  # suggested as worst
    gyr_bias_dps=3.0,  # suggested as worst
    acc_bias_mg=60.0,  # suggested as worst
    gyr_bias_dps_per_k=0.08,  # the greatest seen in data sheets
    warm_up_k=20.0,  # chosen
    gyr_instability_dph=20.0,  # the greatest seen, of phones
    gyr_walk_dph=20.0,  # chosen: as much
    gyr_scale_percent=3.0,  # suggested as worst, from memory
    gyr_cross_percent=2.0,  # chosen
    acc_scale_percent=1.0,  # suggested as worst, from memory
    acc_cross_percent=2.0,  # chosen
    rate_error_percent=1.0,  # chosen
    strap_twist_deg=5.0,  # chosen
    digital=True,
    tissue=SoftTissue(axial_share=0.8, wobble_hz=8.0, wobble_damping=0.15, wobble_gain=2.0),  # chosen: a loose strap
)

PRESETS: dict[str, SensorModel] = {one.name: one for one in (IDEAL, GOOD, TYPICAL, POOR)}
"""By name, from the best to the worst."""
