"""What floors, plates and weights are made of, as a magnetic field sees them."""

from dataclasses import dataclass
from typing import Final

from wayrule.model import FloorLayer

MEMORY: Final = "handbook value, from memory"


@dataclass(frozen=True, slots=True)
class Material:
    """One material at room temperature.

    permeability        relative, at weak fields; 1 lets a resting field pass
    permeability_range  what pieces of that name have
    conductivity_ms_m   [MS/m]
    saturation_mt       polarisation at which it is full; None where it is not magnetic
    """

    name: str
    permeability: float
    permeability_range: tuple[float, float]
    conductivity_ms_m: float
    saturation_mt: float | None
    source: str


def _plain(name: str, conductivity_ms_m: float, source: str = MEMORY) -> Material:
    return Material(name, 1.0, (1.0, 1.0), conductivity_ms_m, None, source)


MATERIALS: Final[dict[str, Material]] = {
    material.name: material
    for material in (
        _plain("air", 0.0, "vacuum to 4e-7"),
        _plain("plastic", 0.0),
        _plain("wood", 0.0),
        _plain("card", 0.0),
        _plain("glass", 0.0),
        _plain("copper", 58.0, "IEC 60028: 1/58 ohm mm2/m at 20 deg C (100 % IACS)"),
        _plain("aluminium", 35.0, "handbook, from memory: pure 37.7; alloys of sheet and section 20 to 36"),
        _plain("brass", 15.5, "handbook, from memory: 14 to 16 with 37 to 30 % zinc"),
        _plain("nickel silver", 3.4),
        _plain("phosphor bronze", 9.0),
        _plain("zinc", 16.9),
        _plain("die-cast zinc", 15.7),
        _plain("lead", 4.8),
        _plain("white metal", 7.0),
        _plain("tungsten", 18.9),
        Material("stainless steel", 1.01, (1.0, 1.5), 1.4, None, "austenitic; more where it was bent; from memory"),
        Material("steel", 200.0, (100.0, 500.0), 7.0, 2100.0, "mild steel at weak fields; from memory"),
        Material(
            "iron", 300.0, (150.0, 1000.0), 10.0, 2150.0, "saturation of iron at room temperature 2.15 T; from memory"
        ),
        Material("tinplate", 200.0, (100.0, 500.0), 7.0, 2100.0, "mild steel under 1 um of tin; from memory"),
        Material("transformer steel", 1500.0, (500.0, 3000.0), 2.1, 2000.0, "3 % silicon, at weak fields; from memory"),
    )
}
"""Name -> material. A permeability of steel is good to a factor of two at best: use the range."""

ALSO_CALLED: Final[dict[str, str]] = {
    "styrene": "plastic", "polystyrene": "plastic", "abs": "plastic", "resin": "plastic", "petg": "plastic",
    "pla": "plastic", "plywood": "wood", "paper": "card", "aluminum": "aluminium", "zamak": "die-cast zinc",
    "pewter": "white metal",
    "mild steel": "steel", "sheet steel": "steel", "tin plate": "tinplate", "stainless": "stainless steel",
    "none": "air",
}  # fmt: skip


def material_named(name: str) -> Material:
    """The material of that name, however written.

    Raises
    ------
    ValueError   unknown, with the known ones

    >>> material_named("Styrene").conductivity_ms_m, material_named("mild steel").saturation_mt
    (0.0, 2100.0)
    """
    plain = " ".join(name.lower().replace("_", " ").split())
    found = MATERIALS.get(ALSO_CALLED.get(plain, plain))
    if found is None:
        raise ValueError(
            f"floor: expected material to be one of {', '.join(MATERIALS)} "
            f"(or relative_permeability and conductivity_ms_m), came {name!r}"
        )
    return found


def of_layer(layer: FloorLayer) -> Material:
    """The material of a floor layer; what its file states goes before the table.

    >>> of_layer(FloorLayer("steel", 0.5, 3.0, relative_permeability=150.0)).permeability
    150.0
    """
    base = _plain("stated", 0.0, "stated") if layer.material is None else material_named(layer.material)
    stated = layer.relative_permeability
    return Material(
        base.name,
        base.permeability if stated is None else stated,
        base.permeability_range if stated is None else (stated, stated),
        base.conductivity_ms_m if layer.conductivity_ms_m is None else layer.conductivity_ms_m,
        base.saturation_mt if base.saturation_mt or (stated or 1.0) < 2.0 else 2000.0,
        base.source,
    )
