"""A measuring wagon: what its file says, checked by `formats.wagonfile`; nothing here is computed."""

from dataclasses import dataclass, field
from typing import Literal

from wayrule.model.fittings import Axle, Board, Body, Cell, Clearance, Disturber, FreeSpace, Part


@dataclass(frozen=True, slots=True)
class Wheel:
    """The axle that carries the wheel sensor.

    diameter_mm     rolling diameter [mm]; None where the input is a speed or a distance
    diameter_sd_mm  how well the caliper knows it [mm]
    scale_sd        relative sd of a speed or distance input
    axle            "rear", "front", or 1..n counted from the front
    """

    diameter_mm: float | None = None
    diameter_sd_mm: float | None = None
    scale_sd: float | None = None
    ticks_per_turn: float | None = None
    counter_bits: int | None = None
    axle: Literal["rear", "front"] | int = "rear"


@dataclass(frozen=True, slots=True)
class Bogie:
    """Bogie geometry: distance between the pivots, and each bogie's own wheelbase [mm]."""

    pivots_mm: float
    wheelbase_mm: float


@dataclass(frozen=True, slots=True)
class Magnets:
    """Magnets on the axle; `disc_pair` is two axially magnetised discs on opposite flats.

    magnetisation              its direction at an axle angle of 0: forward, left (along the axle), up; any length;
                               None is (0, 0, 1): through a disc or block from flat to face, across a ring
    remanence_change_pct_k     of remanence with temperature [%/K], so below 0
    temperature_c              lowest and highest that the wagon runs at
    """

    kind: Literal["disc_pair", "ring", "block", "single"]
    diameter_mm: float | None = None
    thickness_mm: float | None = None
    length_mm: float | None = None
    width_mm: float | None = None
    hole_mm: float | None = None
    grade: str | None = None
    remanence_mt: tuple[float, float] | None = None
    flat_radius_mm: float | None = None
    magnetisation: tuple[float, float, float] | None = None
    remanence_change_pct_k: float | None = None
    temperature_c: tuple[float, float] | None = None


@dataclass(frozen=True, slots=True)
class FloorLayer:
    """One layer of the floor; `height_mm` is of its underside above the axle centre.

    length_mm, width_mm    of a plate that does not fill the floor [mm]
    centre_mm              of that plate from the axle centre: forward, left [mm]
    """

    material: str | None
    thickness_mm: float
    height_mm: float
    relative_permeability: float | None = None
    conductivity_ms_m: float | None = None
    length_mm: float | None = None
    width_mm: float | None = None
    centre_mm: tuple[float, float] | None = None


@dataclass(frozen=True, slots=True)
class FieldSensor:
    """The field sensor; `place_mm` from the axle centre: forward, left, up."""

    range_mt: float | None = None
    bits: int | None = None
    noise_mt: float | None = None
    rate_hz: float | None = None
    place_mm: tuple[float, float, float] | None = None


@dataclass(frozen=True, slots=True)
class Imu:
    """The inertial sensor; `place_mm` from rail top under the rear axle (rear pivot): forward, left, up.

    Noise densities are one-sided: a sample's sd is n sqrt(rate / 2).
    """

    place_mm: tuple[float, float, float] | None = None
    gyro_range_dps: float | None = None
    acc_range_g: float | None = None
    gyro_noise_dps_rthz: float | None = None
    acc_noise_g_rthz: float | None = None
    gyro_scale_sd: float | None = None
    acc_bias_sd_g: float | None = None


@dataclass(frozen=True, slots=True)
class ColumnMap:
    """How a foreign log names its columns.

    names      our column name (with our unit suffix or the log's) -> the log's column name; a leading "-" on the
               log's name turns the sign round, and any of ours can be fed by any of theirs (axis swaps)
    separator  None = found by itself; decimal_comma, comment as the log has them
    rate_hz    given when time is a sample number
    """

    names: tuple[tuple[str, str], ...] = ()
    separator: str | None = None
    decimal_comma: bool | None = None
    comment: str | None = None
    rate_hz: float | None = None


@dataclass(frozen=True, slots=True)
class Wagon:
    """A wagon file, checked. `wheelbase_mm` is between the body's supports: axles, or the pivots of a bogie wagon."""

    name: str
    scale: str
    ratio: float
    gauge_mm: float
    wheelbase_mm: float
    wheel: Wheel
    bogie: Bogie | None = None
    magnets: Magnets | None = None
    floor: tuple[FloorLayer, ...] = ()
    sensor: FieldSensor = field(default_factory=FieldSensor)
    imu: Imu = field(default_factory=Imu)
    columns: ColumnMap = field(default_factory=ColumnMap)
    sha256: str = ""
    axle: Axle = field(default_factory=Axle)
    body: Body = field(default_factory=Body)
    board: Board = field(default_factory=Board)
    cell: Cell = field(default_factory=Cell)
    clearance: Clearance = field(default_factory=Clearance)
    space: FreeSpace | None = None
    parts: tuple[Part, ...] = ()
    disturbers: tuple[Disturber, ...] = ()
