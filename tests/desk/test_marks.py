"""Marks dropped while recording: labels on the map, and control points once their place is stated."""

import numpy as np
import pytest

from wayrule.desk.recording import record
from wayrule.desk.surveying import survey


@pytest.fixture(scope="module")
def log(tmp_path_factory):
    """The make-believe wagon's lap with its two marks, as a raw log."""
    return record("sim:@laps=1@speed=max", tmp_path_factory.mktemp("marks") / "lap").path


def test_a_mark_of_a_recording_is_a_label_and_with_its_place_stated_a_control_point(log, world, tmp_path):
    free = survey(f"{log}@laps=1", world.wagon)
    assert [mark.name for _, mark in free.marks] == ["Vale bridge", "Signal box"]
    page = free.page()
    assert page.count("Vale bridge") >= 2, "in the table of marks and on the plan"
    at = np.array([s_mm for s_mm, _ in free.marks])
    x, y = (np.interp(at, free.stations.s_mm, column) for column in (free.stations.x_mm, free.stations.y_mm))
    stated = np.column_stack([300.0 - y, 500.0 + x])  # the same two places on another map: turned by 90 deg, and moved
    control = tmp_path / "control.csv"
    rows = [f"{m.name},{px:.3f},{py:.3f},,,0.5,," for (_, m), (px, py) in zip(free.marks, stated, strict=True)]
    control.write_text("at,x_mm,y_mm,z_mm,heading_rad,sd_mm,z_sd_mm,heading_sd_rad\n" + "\n".join(rows) + "\n")
    tied = survey(f"{log}@laps=1", world.wagon, control=control)
    at = np.array([s_mm for s_mm, _ in tied.marks])
    found = np.column_stack([np.interp(at, tied.stations.s_mm, c) for c in (tied.stations.x_mm, tied.stations.y_mm)])
    assert np.abs(found - stated).max() < 2.0  # mm; stated to 0.5 mm
