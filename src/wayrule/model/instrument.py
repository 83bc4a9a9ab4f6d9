"""How a wagon's inertial sensor is to be read while it rolls: what is known of it, and how well."""

from dataclasses import dataclass

from wayrule.model.arrays import Array, frozen


@dataclass(frozen=True, slots=True, eq=False)
class Instrument:
    """A wagon's body and inertial sensor.

    wheelbase_mm, gauge_mm   of the wagon
    to_body          (3, 3) from readings about the coarse body axes, bias out, to the body's true rates
    turn_scale_sd    relative sd of the yaw rate
    seep_sd          (2,) sd of the share of the yaw rate that still seeps into roll and pitch
    level_mm_s2      (2,) forward and left specific force of a level wagon; level_sd_rad (2,) its sd over g
    sway_rad, sway_length_mm   (3,) of heading, climb and roll within the wheels' play
    walk_rad_rts     random walk of an integrated rate [rad/sqrt(s)]
    bias_sd_rad_s    of the gyro where no standstill told its bias
    scale, scale_sd  true distance over that of the wagon file's wheel, less one, and its sd
    """

    wheelbase_mm: float
    gauge_mm: float
    to_body: Array
    turn_scale_sd: float
    seep_sd: Array
    level_mm_s2: Array
    level_sd_rad: Array
    sway_rad: Array
    sway_length_mm: Array
    walk_rad_rts: float
    bias_sd_rad_s: float
    scale: float
    scale_sd: float

    def __post_init__(self) -> None:
        for name, shape in (
            ("to_body", (3, 3)), ("seep_sd", (2,)), ("level_mm_s2", (2,)), ("level_sd_rad", (2,)), ("sway_rad", (3,)),
            ("sway_length_mm", (3,)),
        ):  # fmt: skip
            frozen(self, name, shape)
