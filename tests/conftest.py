"""What several tests share: a small made-up world on disk, as a user would have it."""

import numpy as np
import pytest
from hypothesis import settings

from tests.world import World
from wayrule.formats.recordingwriter import write_recording
from wayrule.formats.wagonwriter import write_wagon
from wayrule.sim import GOOD, HO_VAN, RunPlan, RunTruth, laps, oval, simulate

settings.register_profile("fixed", derandomize=True)
settings.load_profile("fixed")  # the same examples everywhere: a red test is a change, not a draw


@pytest.fixture(scope="session")
def world(tmp_path_factory: pytest.TempPathFactory) -> World:
    """The Heather Vale oval of 9.012 m, recorded at 50 Hz; do not write into its folder."""
    folder = tmp_path_factory.mktemp("heather vale")
    rng = np.random.default_rng(3)
    line = oval(rng, length_mm=9012.0)
    plans = {
        "monday": RunPlan(*laps(line.length_mm, 4, 260.0), rate_hz=50.0, marks=((1500.0, "Vale bridge"),)),
        "tuesday": RunPlan(*laps(line.length_mm, 1, 260.0), rate_hz=50.0, turned=True),
    }
    truths: dict[str, RunTruth] = {}
    for name, plan in plans.items():
        specimen = next(iter(truths.values())).specimen if truths else None
        recording, truths[name] = simulate(line, HO_VAN, plan, GOOD, rng, specimen=specimen, name=name)
        (folder / f"{name}.csv").write_bytes(write_recording(recording))
    (folder / "van.wagon.toml").write_bytes(write_wagon(HO_VAN))
    return World(folder, line, truths)
