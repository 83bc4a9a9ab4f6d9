"""`demo`: a made-up railway is built and run, recorded, surveyed from its files, and compared with its truth."""

import math
from dataclasses import dataclass, replace
from pathlib import Path

import numpy as np

from wayrule import store
from wayrule.desk.opening import PathName
from wayrule.desk.scene import TAPE_SD_MM, Scene, heather_vale
from wayrule.desk.steps import Step, silent
from wayrule.desk.surveying import SurveyResult, survey
from wayrule.formats.recordingwriter import write_recording
from wayrule.formats.wagonwriter import write_wagon
from wayrule.model import Stations
from wayrule.report.numbers import significant
from wayrule.report.tables import Table
from wayrule.sim import SurveyErrors, errors

WAGON_FILE = "inspection-van-7.wagon.toml"


@dataclass(frozen=True, slots=True)
class Compared:
    """One quantity of the survey against the truth.

    rms          of the error, in `unit`
    inside_one, inside_two   share of stations whose true error lies inside one and two claimed sigmas [%]
    """

    quantity: str
    rms: float
    unit: str
    inside_one: float
    inside_two: float


@dataclass(frozen=True, slots=True)
class DemoResult:
    """What the demo found, and where it lies."""

    survey: SurveyResult
    compared: tuple[Compared, ...]
    folder: Path
    report: Path


def demo(out: PathName = "heather-vale", *, seed: int = 7, step: Step = silent) -> DemoResult:
    """Build, run, record, survey and compare.

    Parameters
    ----------
    out : folder for recordings, wagon file, truth and the survey
    seed : of the railway, the wagon and its noise; the same seed gives the same result

    Returns
    -------
    DemoResult
    """
    folder = Path(out)
    with step("building the Heather Vale figure-eight and pulling the wagon round it"):
        scene = heather_vale(seed)
    with step(f"writing recordings, wagon file and truth to {folder}"):
        paths = write_scene(scene, folder)
    found = survey(
        [f"{paths[name]}@laps={count}" for name, count in scene.laps.items()],
        paths["wagon"],
        turned=[paths[name] for name in scene.turned],
        tapes=[f"lap:{scene.tape_mm:.0f}:{TAPE_SD_MM:.0f}"],
        title=f"{scene.railway.name}, Heather Vale",
        step=step,
    )
    with step("comparing with the truth, drawing, writing"):
        first = next(iter(scene.runs.values()))[1]
        compared = compare(errors(scene.railway, first, found.stations, elements=found.elements, faults=found.faults))
        shown = replace(found, extra=(truth_table(compared),), truth=true_stations(scene, found.stations))
        shown.save(folder / "survey")
    return DemoResult(shown, compared, folder, folder / "survey" / "report.html")


def write_scene(scene: Scene, folder: Path) -> dict[str, Path]:
    """Write what a user would have (recordings, wagon file) and what nobody has (the truth); role or run -> path."""
    paths = {name: folder / f"{name}.csv" for name in scene.runs} | {"wagon": folder / WAGON_FILE}
    for name, (recording, _) in scene.runs.items():
        store.write_bytes(paths[name], write_recording(recording))
    store.write_bytes(paths["wagon"], write_wagon(scene.wagon))
    store.write_bytes(folder / "truth.csv", truth_csv(scene))
    return paths


def truth_csv(scene: Scene, step_mm: float = 10.0) -> bytes:
    """The true line as CSV, in the columns of `stations.csv` that have a truth."""
    line = scene.railway
    s = np.arange(0.0, line.length_mm, step_mm)
    x, y = line.xy(s)
    columns = {
        "s_mm": s, "x_mm": x, "y_mm": y, "z_mm": line.z(s), "heading_rad": line.heading(s),
        "curvature_1_mm": line.curvature(s), "gradient": line.gradient(s), "cant_mm": line.cant(s),
    }  # fmt: skip
    rows = zip(*columns.values(), strict=True)
    return "\n".join([",".join(columns), *(",".join(f"{v:.9g}" for v in row) for row in rows), ""]).encode()


def true_stations(scene: Scene, surveyed: Stations) -> Stations:
    """The true line at the survey's stations and in its frame: means over one wheelbase, as a survey claims them.

    Monday starts at the railway's chainage 0 and runs along it, so both chainages differ by a factor only.
    """
    line, window = scene.railway, surveyed.wheelbase_mm
    s = surveyed.s_mm * line.length_mm / surveyed.length_mm
    x, y = line.xy(s)
    true, found = x + 1j * y, surveyed.x_mm + 1j * surveyed.y_mm
    turn = np.exp(1j * np.angle(np.vdot(true - true.mean(), found - found.mean())))
    plan = found.mean() + turn * (true - true.mean())
    return replace(
        surveyed,
        x_mm=plan.real.copy(),
        y_mm=plan.imag.copy(),
        z_mm=line.z(s) - np.mean(line.z(s)) + np.mean(surveyed.z_mm),
        heading_rad=line.heading(s) + float(np.angle(turn)),
        curvature_1_mm=line.mean_curvature(s, window),
        gradient=line.mean_gradient(s, window),
        cant_mm=line.mean_cant(s, window),
    )


def compare(found: SurveyErrors) -> tuple[Compared, ...]:
    """Errors and the shares inside the claimed sigmas, quantity by quantity."""

    def row(quantity: str, rms: float, unit: str, *keys: str) -> Compared:
        ratios = np.abs(np.concatenate([found.normalised[key] for key in keys]))
        return Compared(quantity, rms, unit, *(float(100 * np.mean(ratios <= k)) for k in (1, 2)))

    return (
        row("plan", found.plan_rms_mm, "mm", "x", "y"),
        row("height", found.height_rms_mm, "mm", "z"),
        row("curvature", 1e3 * found.curvature_rms_1_mm, "1/m", "curvature"),
        row("gradient", 1e3 * found.gradient_rms, "per mille", "gradient"),
        row("cant, after its mean", found.cant_rms_mm, "mm", "cant"),
    )


def truth_table(compared: tuple[Compared, ...]) -> Table:
    """The comparison as a table of the report."""
    rows = tuple(
        (c.quantity, f"{significant(c.rms, 2)} {c.unit}", f"{c.inside_one:.0f} %", f"{c.inside_two:.0f} %")
        for c in compared
        if math.isfinite(c.rms)
    )
    return Table(
        "truth",
        "Against the truth, which only a made-up railway has.",
        ("Quantity", "Error, rms", "Inside one sigma", "Inside two"),
        (False, True, True, True),
        rows,
        note="Errors along one line are correlated: on a single line the shares scatter about 68 % and 95 %.",
        empty="Nothing could be compared.",
    )
