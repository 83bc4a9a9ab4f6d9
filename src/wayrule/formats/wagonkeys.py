"""The keys of a wagon file, their types and limits, as validated by pydantic; each description says what is allowed."""

from typing import Annotated, Literal

from pydantic import BaseModel, ConfigDict, Field

Length = Annotated[float, Field(gt=0, lt=1e5, allow_inf_nan=False, description="a number of mm above 0")]
Finite = Annotated[float, Field(allow_inf_nan=False, gt=-1e5, lt=1e5, description="a number of mm")]
Positive = Annotated[float, Field(gt=0, lt=1e9, allow_inf_nan=False, description="a number above 0")]
Share = Annotated[
    float, Field(gt=0, lt=0.5, allow_inf_nan=False, description="a share above 0 and below 0.5 (0.01 is 1 %)")
]
Place = Annotated[
    list[Finite], Field(min_length=3, max_length=3, description="three numbers of mm: [forward, left, up]")
]
Size = Annotated[
    list[Length], Field(min_length=3, max_length=3, description="three numbers of mm above 0: [length, width, height]")
]
Direction = Annotated[
    list[Finite], Field(min_length=3, max_length=3, description="a direction as three numbers: [forward, left, up]")
]
Range = Annotated[
    list[Positive],
    Field(min_length=2, max_length=2, description="two numbers of mT, lowest and highest: [1280, 1320]"),
]
Mass = Annotated[float, Field(ge=0, lt=1e6, allow_inf_nan=False, description="a number of g, 0 or more")]
Fraction = Annotated[float, Field(gt=0, le=1, allow_inf_nan=False, description="a share above 0, at most 1")]
Celsius = Annotated[float, Field(ge=-60, le=400, allow_inf_nan=False)]
Text = Annotated[str, Field(min_length=1, max_length=200, description="a text in quotes")]


class Table(BaseModel):
    """A table of the file: unknown keys are refused, texts and numbers are not mixed up."""

    model_config = ConfigDict(strict=True, extra="forbid", frozen=True)


class WheelKeys(Table):
    """`[wheel]`."""

    diameter_mm: Length | None = None
    diameter_sd_mm: Length | None = None
    scale_sd: Share | None = None
    ticks_per_turn: Positive | None = None
    counter_bits: Annotated[int, Field(ge=4, le=64, description="a whole number of bits, 4 to 64")] | None = None
    axle: Annotated[
        Literal["rear", "front"] | Annotated[int, Field(ge=1, le=12)],
        Field(description='"rear", "front", or 1, 2 ... counted from the front'),
    ] = "rear"


class BogieKeys(Table):
    """`[bogie]`."""

    pivots_mm: Length
    wheelbase_mm: Length


class MagnetKeys(Table):
    """`[magnets]`."""

    kind: Annotated[
        Literal["disc_pair", "ring", "block", "single"],
        Field(description='"disc_pair", "ring", "block" or "single"'),
    ] = "disc_pair"
    diameter_mm: Length | None = None
    thickness_mm: Length | None = None
    length_mm: Length | None = None
    width_mm: Length | None = None
    hole_mm: Length | None = None
    grade: Annotated[str, Field(pattern=r"^[A-Za-z]+\s?\d+[A-Za-z]*$", description='a grade such as "N42"')] | None = (
        None
    )
    remanence_mt: Range | None = None
    flat_radius_mm: Length | None = None
    magnetisation: Direction | None = None
    remanence_change_pct_k: (
        Annotated[
            float, Field(ge=-2, le=0.2, allow_inf_nan=False, description="a number of % per K, such as -0.12 for NdFeB")
        ]
        | None
    ) = None
    temperature_c: (
        Annotated[
            list[Celsius], Field(min_length=2, max_length=2, description="two numbers of degC from -60 to 400: [5, 35]")
        ]
        | None
    ) = None


class FloorKeys(Table):
    """One `[[floor]]` layer."""

    material: Text | None = None
    thickness_mm: Length
    height_mm: Finite
    relative_permeability: Annotated[float, Field(ge=1, lt=1e7, description="a number, 1 or more")] | None = None
    conductivity_ms_m: Annotated[float, Field(ge=0, lt=1e3, description="a number of MS/m, 0 or more")] | None = None
    length_mm: Length | None = None
    width_mm: Length | None = None
    centre_mm: (
        Annotated[list[Finite], Field(min_length=2, max_length=2, description="two numbers of mm: [forward, left]")]
        | None
    ) = None


class SensorKeys(Table):
    """`[sensor]`."""

    range_mt: Positive | None = None
    bits: Annotated[int, Field(ge=4, le=32, description="a whole number of bits, 4 to 32")] | None = None
    noise_mt: Positive | None = None
    rate_hz: Positive | None = None
    place_mm: Place | None = None


class ImuKeys(Table):
    """`[imu]`."""

    place_mm: Place | None = None
    gyro_range_dps: Positive | None = None
    acc_range_g: Positive | None = None
    gyro_noise_dps_rthz: Positive | None = None
    acc_noise_g_rthz: Positive | None = None
    gyro_scale_sd: Share | None = None
    acc_bias_sd_g: Positive | None = None


class AxleKeys(Table):
    """`[axle]`."""

    diameter_mm: Length | None = None
    length_mm: Length | None = None
    material: Text | None = None
    yield_mpa: Positive | None = None
    overhang_mm: Length | None = None
    play_mm: Place | None = None


class BodyKeys(Table):
    """`[body]`."""

    length_mm: Length | None = None
    width_mm: Length | None = None
    height_mm: Length | None = None
    over_buffers_mm: Length | None = None
    rear_overhang_mm: Finite | None = None
    inside_mm: Size | None = None
    mass_g: Mass | None = None
    ballast_mass_g: Mass | None = None
    ballast_material: Text | None = None
    load_mass_g: Mass | None = None
    spring_mm: Length | None = None


class BoardKeys(Table):
    """`[board]`."""

    size_mm: Size | None = None
    place_mm: Place | None = None
    sensor_height_mm: Finite | None = None
    mass_g: Mass | None = None
    current_ma: Positive | None = None
    volts: Positive | None = None


class CellKeys(Table):
    """`[cell]`."""

    kind: (
        Annotated[
            Literal["lithium_ion", "lithium_polymer", "lithium_coin", "nimh", "alkaline"],
            Field(description='"lithium_ion", "lithium_polymer", "lithium_coin", "nimh" or "alkaline"'),
        ]
        | None
    ) = None
    size_mm: Size | None = None
    place_mm: Place | None = None
    mass_g: Mass | None = None
    capacity_mah: Positive | None = None
    volts: Positive | None = None
    usable: Fraction | None = None
    converter_efficiency: Fraction | None = None


class ClearanceKeys(Table):
    """`[clearance]`."""

    over_rail_mm: Finite | None = None
    between_rails_mm: Finite | None = None
    sleeper_mm: Finite | None = None
    brake_gear_mm: Length | None = None
    frame_width_mm: Length | None = None


class SpaceKeys(Table):
    """`[space]`."""

    low_mm: Place
    high_mm: Place


class PartKeys(Table):
    """One `[[part]]`."""

    name: Text
    size_mm: Size
    place_mm: Place


class DisturberKeys(Table):
    """One `[[disturber]]`."""

    kind: Annotated[
        Literal["motor", "uncoupler", "axle", "iron"], Field(description='"motor", "uncoupler", "axle" or "iron"')
    ]
    place_mm: Place
    moment_ma_m2: Positive | None = None
    direction: Direction | None = None
    diameter_mm: Length | None = None
    length_mm: Length | None = None
    remanence_mt: Range | None = None
    size_mm: Size | None = None


class WagonKeys(Table):
    """The whole file."""

    name: Text
    scale: Text | None = None
    ratio: Annotated[float, Field(ge=1, le=1000, description="a number from 1 to 1000: 87 for 1:87")] | None = None
    gauge_mm: Length
    wheelbase_mm: Length | None = None
    wheel: Annotated[WheelKeys, Field(description="a table [wheel] with diameter_mm of the axle with the sensor")]
    bogie: BogieKeys | None = None
    magnets: MagnetKeys | None = None
    floor: Annotated[list[FloorKeys], Field(max_length=50, description="tables [[floor]]")] = []
    sensor: SensorKeys = SensorKeys()
    imu: ImuKeys = ImuKeys()
    columns: Annotated[dict[str, str | int | float], Field(description='lines such as gz_dps = "Gyro Z"')] = {}
    axle: AxleKeys = AxleKeys()
    body: BodyKeys = BodyKeys()
    board: BoardKeys = BoardKeys()
    cell: CellKeys = CellKeys()
    clearance: ClearanceKeys = ClearanceKeys()
    space: SpaceKeys | None = None
    part: Annotated[list[PartKeys], Field(max_length=50, description="tables [[part]]")] = []
    disturber: Annotated[list[DisturberKeys], Field(max_length=50, description="tables [[disturber]]")] = []
