"""Elements and faults end to end: what the survey of a simulated line found, missed and made up."""

from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from typing import Final

from scipy.stats import poisson

from benchmarks.adjusting.judged import Outcome
from benchmarks.row import Row, at_least, at_most
from benchmarks.surveying.promised import stated
from wayrule.model import Fault
from wayrule.sim import ImuQuality, Matching, Railway
from wayrule.sim.matching import match_faults
from wayrule.sim.register import fault_on_railway, lay
from wayrule.track.faults import detect

DEFECTS: Final = {"HO": 6, "N": 6, "G": 12}
"""How many are planted on a line by scale: every kind once or twice, 14 gauges and more apart."""

ASKED: Final = ("kink", "dip", "twist")
"""Kinds whose finding is promised, at sizes from 1.2 deg; 0.6, 0.35, 3 mm; 0.8, 0.45, 3.5 mm (HO, N, G)."""

FAULT_RECALL: Final = 0.95
FAULT_PRECISION: Final = 0.9
PLACE_MM: Final = 15.0
ELEMENT_SHARE: Final = 0.9

CHANCE: Final = 0.01
"""A count of false alarms that would come less often than this by chance breaks the promised rate."""


@dataclass(frozen=True, slots=True)
class Counts:
    """Sums of matchings: how many are there, were claimed, are both."""

    wanted: int
    claimed: int
    found: int

    @classmethod
    def of(cls, matchings: Sequence[Matching]) -> "Counts":
        """Of many lines together."""
        return cls(*(sum(getattr(m, what) for m in matchings) for what in ("wanted", "claimed", "found")))

    @property
    def recall(self) -> float:
        """Found of those that are there; NaN where none is."""
        return self.found / self.wanted if self.wanted else float("nan")

    @property
    def precision(self) -> float:
        """There of those that were claimed; NaN where none was."""
        return self.found / self.claimed if self.claimed else float("nan")


def element_rows(quality: ImuQuality, outcomes: Sequence[Outcome]) -> Iterator[Row]:
    """Recall and precision of elements of plan and profile, over all lines and seeds without defects."""
    for plane in ("plan", "profile"):
        counts = Counts.of([getattr(o.as_claimed, f"{plane}_elements") for o in outcomes])
        what = f"elements of the {plane} over {len(outcomes)} lines without defects, {quality.name} IMU"
        yield share_row(f"{what}: recall", counts.recall, counts.found, counts.wanted, ELEMENT_SHARE)
        yield share_row(f"{what}: precision", counts.precision, counts.found, counts.claimed, ELEMENT_SHARE)


def fault_rows(quality: ImuQuality, faulty: Sequence[Outcome], clean: Sequence[Outcome]) -> Iterator[Row]:
    """Recall of the promised kinds, precision of all claims, place in HO; and false alarms where nothing is planted."""
    what = f"faults over {len(faulty)} lines with defects, {quality.name} IMU"
    kinds = sorted({f.kind for o in faulty for f in o.made.railway.faults})
    of_kind = {kind: Counts.of([of_kinds(o, (kind,)) for o in faulty]) for kind in kinds}
    asked = Counts.of([of_kinds(o, ASKED) for o in faulty])
    every = Counts.of([o.as_claimed.faults for o in faulty])
    yield share_row(f"{what}: recall of kinks, dips and twists", asked.recall, asked.found, asked.wanted, FAULT_RECALL)
    yield share_row(
        f"{what}: precision of all that was claimed", every.precision, every.found, every.claimed, FAULT_PRECISION
    )
    in_ho = [abs(mm) for o in faulty if o.made.case.scale == "HO" for mm in o.as_claimed.faults.place_mm]
    yield at_most(f"{what}: place in HO, at worst of {len(in_ho)}", max(in_ho, default=float("nan")), PLACE_MM, "mm")
    yield stated(f"{what}: recall by kind", {kind: (c.recall, f"of {c.wanted}") for kind, c in of_kind.items()})
    length_m = sum(o.made.railway.length_mm for o in clean) / 1000.0
    alarms = sum(o.as_claimed.faults.claimed for o in clean)
    promised = sum(detect(o.found.stations, o.found.elements).false_alarms for o in clean)
    most = poisson.isf(CHANCE, promised)
    what = f"false alarms over {len(clean)} lines without defects, {length_m:.0f} m, {quality.name} IMU"
    row = at_most(f"{what}: {promised:.2g} promised at most", alarms, most, "")
    yield Row(row.what, row.measured, f"{row.limit} (99 % of counts with that mean)", row.ok)


def share_row(what: str, share: float, part: int, whole: int, limit: float) -> Row:
    """A share that must reach its limit, with its counts."""
    row = at_least(what, share, limit, "")
    return Row(row.what, f"{row.measured} ({part} of {whole})", row.limit, row.ok)


def of_kinds(outcome: Outcome, kinds: Sequence[str]) -> Matching:
    """Faults of these kinds matched as the metrics match all of them."""
    railway, stations = outcome.made.railway, outcome.found.stations
    laid = lay(railway, outcome.made.truths[0], stations)
    claimed = [fault_on_railway(f, laid) for f in outcome.found.faults if f.kind in kinds]
    return match_faults(
        planted(railway, kinds),
        claimed,
        within_mm=stations.wheelbase_mm,
        period_mm=railway.length_mm if railway.closed else None,
    )


def planted(railway: Railway, kinds: Sequence[str]) -> list[Fault]:
    """Planted defects of these kinds."""
    return [f for f in railway.faults if f.kind in kinds]
