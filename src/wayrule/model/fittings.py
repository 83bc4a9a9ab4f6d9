"""What a wagon is built of besides wheel, magnets and sensors, as its file says; all of it may be left out."""

from dataclasses import dataclass
from typing import Literal

Triple = tuple[float, float, float]


@dataclass(frozen=True, slots=True)
class Axle:
    """The axle that carries the magnets.

    diameter_mm          where the flats are filed [mm]
    length_mm            over its points or journals [mm]
    material             of the axle; a name from the table of `wagon.axle`
    yield_mpa            yield strength [N/mm2], where it is known better than from the table
    overhang_mm          from the middle of a wheel's tread to the bearing beside it [mm]
    play_mm              how far it can move in its bearings to either side: forward, left, up [mm]
    """

    diameter_mm: float | None = None
    length_mm: float | None = None
    material: str | None = None
    yield_mpa: float | None = None
    overhang_mm: float | None = None
    play_mm: Triple | None = None


@dataclass(frozen=True, slots=True)
class Body:
    """The body and what it weighs.

    length_mm, width_mm    of the body [mm]
    height_mm              of its top above rail top [mm]
    over_buffers_mm        over the buffers or couplers [mm]
    rear_overhang_mm       from the rear axle (pivot) to the rear end of the body [mm]; None: the same at both ends
    inside_mm              clear space inside: length, width, height [mm]
    mass_g                 of the complete wagon as it came, ballast in it [g]
    ballast_mass_g         of the ballast that is taken out [g]
    ballast_material       of it
    load_mass_g            put in afterwards besides board and cell: new weights, glue, wire [g]
    spring_mm              how far the body sinks on its springs [mm]
    """

    length_mm: float | None = None
    width_mm: float | None = None
    height_mm: float | None = None
    over_buffers_mm: float | None = None
    rear_overhang_mm: float | None = None
    inside_mm: Triple | None = None
    mass_g: float | None = None
    ballast_mass_g: float | None = None
    ballast_material: str | None = None
    load_mass_g: float | None = None
    spring_mm: float | None = None


@dataclass(frozen=True, slots=True)
class Board:
    """The board with sensor and radio.

    size_mm             length, width, height with all parts on it [mm]
    place_mm            middle of its underside from rail top under the rear axle (pivot): forward, left, up [mm]
    sensor_height_mm    of the field sensor above the board's underside [mm]
    mass_g              [g]
    current_ma, volts   what it draws on the mean, and at which voltage
    """

    size_mm: Triple | None = None
    place_mm: Triple | None = None
    sensor_height_mm: float | None = None
    mass_g: float | None = None
    current_ma: float | None = None
    volts: float | None = None


@dataclass(frozen=True, slots=True)
class Cell:
    """The cell (or battery) that feeds the board.

    kind                    its chemistry
    size_mm, place_mm       as of the board [mm]
    mass_g                  [g]
    capacity_mah, volts     as printed on it
    usable                  share of the capacity that may be counted on
    converter_efficiency    power out over power in; None: a linear regulator, current in = current out
    """

    kind: Literal["lithium_ion", "lithium_polymer", "lithium_coin", "nimh", "alkaline"] | None = None
    size_mm: Triple | None = None
    place_mm: Triple | None = None
    mass_g: float | None = None
    capacity_mah: float | None = None
    volts: float | None = None
    usable: float | None = None
    converter_efficiency: float | None = None


@dataclass(frozen=True, slots=True)
class Clearance:
    """What the magnets must keep clear of.

    over_rail_mm        least distance that is wanted between magnets and rail top [mm]
    between_rails_mm    height of the highest thing between the rails above rail top: studs, rack, crossings; < 0 below
    sleeper_mm          height of the sleepers' tops above rail top, so below 0 [mm]
    brake_gear_mm       from the axle's centre to the nearest brake block or rod [mm]
    frame_width_mm      clear width between wheels, or what stands between them, for the magnets [mm]
    """

    over_rail_mm: float | None = None
    between_rails_mm: float | None = None
    sleeper_mm: float | None = None
    brake_gear_mm: float | None = None
    frame_width_mm: float | None = None


@dataclass(frozen=True, slots=True)
class FreeSpace:
    """The box in which the field sensor may sit: two corners from the axle's centre: forward, left, up [mm]."""

    low_mm: Triple
    high_mm: Triple


@dataclass(frozen=True, slots=True)
class Part:
    """Anything else with a place: a dome, a hatch, a weight, a screw.

    size_mm     length, width, height [mm]
    place_mm    middle of its underside from rail top under the rear axle (pivot): forward, left, up [mm]
    """

    name: str
    size_mm: Triple
    place_mm: Triple


@dataclass(frozen=True, slots=True)
class Disturber:
    """Something magnetic that is not the axle's magnets.

    kind             motor (of a locomotive), uncoupler (magnet in the track), axle (another with the same magnets),
                     iron (of the wagon itself)
    place_mm         of its middle from the axle's centre: forward, left, up [mm]; up also for the track's own
    moment_ma_m2     magnetic moment [mA m2]; 1 mm3 of remanence 1 T has 0.796
    direction        of the moment: forward, left, up; any length
    diameter_mm, length_mm, remanence_mt, size_mm    where the moment is not known: a magnet's size and remanence, or
                     the size of a piece of iron
    """

    kind: Literal["motor", "uncoupler", "axle", "iron"]
    place_mm: Triple
    moment_ma_m2: float | None = None
    direction: Triple | None = None
    diameter_mm: float | None = None
    length_mm: float | None = None
    remanence_mt: tuple[float, float] | None = None
    size_mm: Triple | None = None
