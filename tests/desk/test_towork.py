"""Everything to work from, by name; what cannot be made is said."""

import io
from dataclasses import replace

import pypdf
import pytest
import trimesh

from tests.wagon.wagons import HO
from wayrule.desk.towork import to_work_from
from wayrule.errors import UsageError
from wayrule.model import Board
from wayrule.sim.wagons import HO_COACH
from wayrule.wagon.jig import Fit


def test_a_full_file_gives_everything():
    done = to_work_from(HO, "Letter", Fit(clearance_mm=0.25))
    stem = "heather-vale-inspection-van-7"
    assert {f"{stem}-sheet-letter.pdf", f"{stem}-filing-jig-print-two.stl", f"{stem}-sensor-spacer.stl",
            f"{stem}-parts.3mf"} <= set(done.files)  # fmt: skip
    pages = pypdf.PdfReader(io.BytesIO(done.files[f"{stem}-sheet-letter.pdf"])).pages
    assert sum(name.endswith(".svg") for name in done.files) == len(pages)
    bodies = trimesh.load(io.BytesIO(done.files[f"{stem}-parts.3mf"]), file_type="3mf").dump()
    assert len(bodies) == 3
    assert all(body.is_watertight for body in bodies)
    assert list(done.steps) == ["filing jig", "sensor spacer"]
    assert done.without == ()


def test_what_cannot_be_made_is_said_and_the_rest_is_made():
    done = to_work_from(replace(HO_COACH, name="???", board=Board()))
    assert [line.split(":")[0] for line in done.without] == ["filing jig", "sensor spacer"]
    assert {name.rsplit(".", 1)[1] for name in done.files} == {"pdf", "svg"}
    assert "wagon-sheet-a4.pdf" in done.files


def test_another_paper_is_refused():
    with pytest.raises(UsageError, match="A4 or Letter, came 'A3'"):
        to_work_from(HO, "A3")
