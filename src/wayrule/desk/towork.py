"""Everything to work from, for one wagon: the sheet, the jig, the spacer, as files by name."""

import re
from dataclasses import dataclass

from wayrule.errors import WayruleError
from wayrule.model import Solid, Wagon, Worksheet
from wayrule.model.worksheet import DEFER
from wayrule.report.solids import stl_bytes, threemf_bytes
from wayrule.report.worksheet import worksheet_pdf, worksheet_svg
from wayrule.wagon.flats import PAPER_MM
from wayrule.wagon.jig import Fit, filing_jig
from wayrule.wagon.spacer import sensor_spacer
from wayrule.wagon.worksheet import worksheet


@dataclass(frozen=True, slots=True)
class ToWorkFrom:
    """What there is to print.

    files     name -> bytes
    sheet     what the sheet says, for a face to show
    steps     how to use what was printed, part by part
    without   which part is not there and why, one line each
    """

    files: dict[str, bytes]
    sheet: Worksheet
    steps: dict[str, tuple[str, ...]]
    without: tuple[str, ...]


def to_work_from(wagon: Wagon, paper: str = "A4", fit: Fit | None = None, paper_mm: float = PAPER_MM) -> ToWorkFrom:
    """The sheet as PDF and SVG, jig and spacer as STL and together as 3MF (two halves of the jig, one spacer),
    and how to use what was printed as text.

    Parameters
    ----------
    paper      "A4" or "Letter"
    fit        clearances of the printer, and tools
    paper_mm   thickness of the paper [mm]

    Raises
    ------
    WayruleError   another paper; a flat outside the axle. A part that the file does not say enough for stands under
                   `without` instead

    Examples
    --------
    >>> from wayrule.model import Axle, Magnets, Wheel
    >>> discs = Magnets("disc_pair", diameter_mm=4.0, thickness_mm=1.0, flat_radius_mm=0.7, grade="N42")
    >>> van = Wagon("Van 7", "HO", 87.0, 16.5, 65.0, Wheel(10.5), magnets=discs, axle=Axle(2.0))
    >>> done = to_work_from(van)
    >>> sorted(name for name in done.files if not name.endswith("svg"))
    ['van-7-filing-jig-print-two.stl', 'van-7-parts-how-to-use.txt', 'van-7-parts.3mf', 'van-7-sheet-a4.pdf']
    >>> [line.split(":")[0] for line in done.without]
    ['sensor spacer']
    """
    fit = fit or Fit()
    sheet = worksheet(wagon, paper_mm)
    stem = stem_of(wagon)
    files = {f"{stem}-sheet-{paper.lower()}.pdf": worksheet_pdf(sheet, paper)}
    for number, page in enumerate(worksheet_svg(sheet, paper), 1):
        files[f"{stem}-sheet-{paper.lower()}-{number}.svg"] = page.encode()
    solids: list[Solid] = []
    steps: dict[str, tuple[str, ...]] = {}
    without: list[str] = []
    try:
        jig = filing_jig(wagon, fit)
    except WayruleError as error:
        without.append(str(error))
    else:
        files[f"{stem}-filing-jig-print-two.stl"] = stl_bytes(jig.solid)
        solids += [jig.solid, jig.solid]
        steps["filing jig"] = jig.steps
    try:
        spacer = sensor_spacer(wagon, fit.clearance_mm)
    except WayruleError as error:
        without.append(str(error))
    else:
        files[f"{stem}-sensor-spacer.stl"] = stl_bytes(spacer.solid)
        solids.append(spacer.solid)
        steps["sensor spacer"] = spacer.steps
    if solids:
        files[f"{stem}-parts.3mf"] = threemf_bytes(*solids)
        files[f"{stem}-parts-how-to-use.txt"] = _how_to_use(wagon, steps).encode()
    return ToWorkFrom(files, sheet, steps, tuple(without))


def stem_of(wagon: Wagon) -> str:
    """How the files of a wagon begin.

    >>> from wayrule.model import Wheel
    >>> stem_of(Wagon("Van 7 (grey)", "HO", 87.0, 16.5, 65.0, Wheel(10.5)))
    'van-7-grey'
    """
    return re.sub(r"[^a-z0-9]+", "-", wagon.name.lower()).strip("-") or "wagon"


def _how_to_use(wagon: Wagon, steps: dict[str, tuple[str, ...]]) -> str:
    """The steps of each part, numbered; who goes before them."""
    lines = [wagon.name]
    for part, sentences in steps.items():
        lines += ["", f"{part[:1].upper()}{part[1:]}", *(f"{n}. {sentence}" for n, sentence in enumerate(sentences, 1))]
    return "\n".join((*lines, "", DEFER, ""))
