"""A wagon's recordings for calibrating, on disk, with the truth behind them."""

from dataclasses import dataclass
from pathlib import Path

import numpy as np

from wayrule.formats.recordingwriter import write_recording
from wayrule.formats.wagonwriter import write_wagon
from wayrule.model import Recording
from wayrule.sim import (
    GOOD,
    HO_VAN,
    Joints,
    Leg,
    Railway,
    Roughness,
    RunPlan,
    RunTruth,
    Specimen,
    build,
    draw_specimen,
    laps,
    oval,
    simulate,
    straight,
)
from wayrule.sim.byhand import FACES, laid, left_alone, on_table
from wayrule.sim.spin import flicked, spin_recording, twisted

RATE_HZ = 100.0
TAPE_SD_MM = 0.7


@dataclass(frozen=True)
class Yard:
    """A folder of recordings, and the truth behind them.

    floor0.csv .. floor2.csv   3 m straights, with tapes_mm as read
    shuttle.csv                there, back and there again
    oval.csv, once.csv         three laps; one, for a survey
    spin.csv, dry.csv          the axle flicked; a few turns by hand
    here.csv, there.csv        at rest on one place, and turned end for end
    sides.csv, table.csv, alone.csv, van.wagon.toml
    """

    folder: Path
    specimen: Specimen
    line: Railway
    once: RunTruth
    tapes_mm: tuple[float, ...]
    lap_mm: float

    @property
    def wagon(self) -> str:
        return str(self.folder / "van.wagon.toml")

    def run(self, word: str) -> str:
        """A recording with its words behind an @: "floor0@rest" -> FOLDER/floor0.csv@rest."""
        name, at, rest = word.partition("@")
        return f"{self.folder / name}.csv{at}{rest}"

    @property
    def floors(self) -> list[str]:
        """The three taped straights, each with its own taping."""
        return [self.run(f"floor{i}@taped={mm:.2f}:{TAPE_SD_MM}") for i, mm in enumerate(self.tapes_mm)]

    @property
    def all(self) -> list[str]:
        """Every calibrating recording."""
        words = ["spin@spin=forward", "here@level", "there@turned", "sides@position", "table@table=5", "alone@rest"]
        return [*self.floors, self.run(f"oval@laps=3@lap={self.lap_mm:.1f}:2"), *map(self.run, words)]


def make_yard(folder: Path) -> Yard:
    """The Heather Vale shed road, an oval, and a bench beside them."""
    rng = np.random.default_rng(20260801)
    shed = build(
        "Shed road", [straight(4000.0)], scale="HO", ratio=87.0, gauge_mm=16.5, rng=rng,
        roughness=Roughness.of_gauge(16.5), joints=Joints(230.0, 0.02, 8.0),
    )  # fmt: skip
    line = oval(rng, length_mm=9012.0)
    specimen = draw_specimen(HO_VAN, GOOD, rng)

    def write(recording: Recording) -> None:
        (folder / f"{recording.name}.csv").write_bytes(write_recording(recording))

    def pull(name: str, track: Railway, *legs: Leg, start: float = 200.0, turned: bool = False) -> RunTruth:
        plan = RunPlan(start, legs, rate_hz=RATE_HZ, turned=turned, still_s=(6.0, 8.0))
        recording, truth = simulate(track, HO_VAN, plan, GOOD, rng, specimen=specimen, name=name)
        write(recording)
        return truth

    tapes = []
    for i in range(3):
        truth = pull(f"floor{i}", shed, Leg(3000.0, 150.0))
        tapes.append(float(truth.path_mm[-1]) + TAPE_SD_MM * float(rng.standard_normal()))
    pull("shuttle", shed, Leg(3000.0, 150.0, 3.0), Leg(-3000.0, 150.0, 3.0), Leg(3000.0, 150.0))
    _, legs = laps(line.length_mm, 3, 260.0)
    lap = float(pull("oval", line, *legs, start=0.0).path_mm[-1]) / 3
    once = pull("once", line, *laps(line.length_mm, 1, 260.0)[1], start=0.0)
    pull("here", shed, start=1000.0)
    pull("there", shed, start=1000.0 + HO_VAN.wheelbase_mm, turned=True)
    write(laid(specimen.imu, [*FACES, (1.0, 1.0, 1.0), (-1.0, -1.0, 1.0)], rng, rate_hz=RATE_HZ, name="sides"))
    write(on_table(specimen.imu, 5, rng, rate_hz=RATE_HZ, name="table"))
    write(left_alone(specimen.imu, 120.0, rng, rate_hz=RATE_HZ, name="alone"))
    write(spin_recording(HO_VAN, specimen.wheel, *flicked(60.0, 200.0, rng), rng))
    write(spin_recording(HO_VAN, specimen.wheel, *twisted(5.0, 200.0, rng), rng, name="dry"))
    (folder / "van.wagon.toml").write_bytes(write_wagon(HO_VAN))
    return Yard(folder, specimen, line, once, tuple(tapes), lap)
