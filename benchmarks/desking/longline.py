"""A long line as a survey folder: 60 m with a station each 5 mm, without the hour that surveying it would take."""

import json
from pathlib import Path

import numpy as np

from wayrule.formats.tables import write_elements, write_faults, write_stations
from wayrule.model import Stations

LENGTH_MM, STEP_MM = 60_000.0, 5.0


def write_long_line(folder: Path) -> int:
    """Write the folder; returns the number of stations. A wavy line with noise as a survey has it, seed fixed."""
    s = np.arange(0.0, LENGTH_MM, STEP_MM)
    rng = np.random.default_rng(60)
    curvature = 1.5e-3 * np.sin(2 * np.pi * s / 9000.0) + 2e-5 * rng.standard_normal(len(s))
    heading = np.cumsum(curvature) * STEP_MM
    columns = {
        "s_mm": s, "heading_rad": heading, "curvature_1_mm": curvature,
        "x_mm": np.cumsum(np.cos(heading)) * STEP_MM, "y_mm": np.cumsum(np.sin(heading)) * STEP_MM,
        "z_mm": 40 * np.sin(2 * np.pi * s / 30_000.0), "gradient": 0.01 * np.cos(2 * np.pi * s / 30_000.0),
        "cant_mm": 0.5 * np.sin(2 * np.pi * s / 9000.0) + 0.02 * rng.standard_normal(len(s)),
    }  # fmt: skip
    sigmas = {"x_sd_mm": 0.5, "y_sd_mm": 0.5, "z_sd_mm": 0.3, "heading_sd_rad": 1e-3, "curvature_sd_1_mm": 2e-5}
    sigmas |= {"gradient_sd": 2e-4, "cant_sd_mm": 0.03}
    line = Stations(
        **columns, **{name: np.full(len(s), sd) for name, sd in sigmas.items()}, passes=np.full(len(s), 3),
        closed=False, length_mm=LENGTH_MM, gauge_mm=16.5, wheelbase_mm=65.0,
    )  # fmt: skip
    folder.mkdir(parents=True)
    wagon = {"name": "inspection van 7", "scale": "HO", "ratio": 87.0, "gauge_mm": 16.5, "wheelbase_mm": 65.0}
    content = {"version": "0", "wagon": wagon, "line": {"closed": False, "length_mm": LENGTH_MM}}
    (folder / "survey.json").write_text(json.dumps(content), encoding="utf-8")
    (folder / "stations.csv").write_bytes(write_stations(line))
    (folder / "elements.csv").write_bytes(write_elements(()))
    (folder / "faults.csv").write_bytes(write_faults(()))
    return len(s)
