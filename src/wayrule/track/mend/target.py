"""The smooth target line: least total work within what may be lifted, lowered and slewed.

Legend: d = B x - e work at the places of a grid, left rail, right rail and slew [mm].

Minimise sum |d| ds subject to -lower <= d <= lift and to what joins the parts: a linear programme (the sum of absolute
values as in Barrodale and Roberts 1973, from memory; solved by HiGHS through scipy). Least absolute values pass through
the middle of what is good and leave it alone; the work gathers where the track is out. A limit that cannot be kept is
left by the least that does it, at twenty times the price, and told.
"""

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Final

import numpy as np
from scipy import sparse
from scipy.optimize import linprog

from wayrule.errors import UndeterminedError
from wayrule.model import Baseboard, Element, Fault, MendLimits, Stations
from wayrule.model.arrays import Array
from wayrule.track.mend.chain import Chain, plan_chain, profile_chain
from wayrule.track.mend.pieces import SOFT_WHEELBASES, plan_parts, profile_parts, reach

GRID_PER_WHEELBASE: Final = 4
BEYOND_PRICE: Final = 20.0
BOARD_GAUGES: Final = 10.0
"""Raising the end of a board by 1 mm costs as much as raising one rail by 1 mm over so many gauges; our choice."""

LOWER_BOARD: Final = 1.5
"""Lowering a board costs so much more than raising it: what stands on its legs is packed up, not cut down."""

LONG_ROWS: Final = 20_000
SHIFT_WHEELBASES: Final = 0.15
"""Joints between straights, arcs and transitions may move by so much (10 mm in HO): a survey does not know them better
beside a fault."""

BLIND_WHEELBASES: Final = 0.6
"""So near a joint between boards a wagon on two axles shows a step as a slope: nothing is asked of the rails there
before the boards are set and the line is measured again."""


@dataclass(frozen=True, slots=True, eq=False)
class Target:
    """A solved target; `work` gives it anywhere.

    boards   (m, 3) start, end, left over right [mm]
    beyond   (chainage, by how much [mm], "left" | "right" | "slew") where a limit could not be kept
    """

    plan: Chain | None
    profile: Chain | None
    cant_at: Array
    seen_cant: tuple[Array, Array] | None
    x: Array
    boards: Array
    named: tuple[Baseboard, ...]
    beyond: tuple[tuple[float, float, str], ...]

    @property
    def elements(self) -> tuple[Element, ...]:
        """The target as elements of plan and profile."""
        split = self.plan.unknowns if self.plan else 0
        plan = self.plan.elements(self.x[:split]) if self.plan else ()
        return plan + (self.profile.elements(self.x[split:]) if self.profile else ())

    def work(self, s_mm: Array) -> dict[str, Array]:
        """Lift of the left and right rail and slew at chainages, (n,) each, boards not yet taken off; NaN unknown."""
        system = _rows(self.plan, self.profile, self.cant_at, self.seen_cant, s_mm)
        known = {name: b @ self.x[: b.shape[1]] - e for name, (b, e) in system.items()}
        return {name: known.get(name, np.full(len(s_mm), np.nan)) for name in ("left", "right", "slew")}

    def board_lift(self, s_mm: Array) -> tuple[Array, Array]:
        """How far set boards raise the left and right rail, (n,) each."""
        lift = _board_columns(self.named, s_mm)
        return lift[0] @ self.boards.ravel(), lift[1] @ self.boards.ravel()


def target(
    stations: Stations,
    elements: Sequence[Element],
    faults: Sequence[Fault],
    limits: MendLimits,
    boards: Sequence[Baseboard] = (),
) -> Target:
    """The line of least work.

    Parameters
    ----------
    stations, elements, faults : of one survey
    limits : what may be done
    boards : may be raised as wholes before any rail is

    Raises
    ------
    UndeterminedError   a survey that has neither plan nor heights to mend
    """
    plan = plan_chain(stations, plan_parts(stations, elements, faults))
    profile = profile_chain(stations, profile_parts(stations, elements, boards))
    if plan is None and profile is None:
        raise UndeterminedError(
            expected="a survey with a plan or heights, and the pieces that they are made of",
            came="neither",
            where="mend",
            next_step="survey the line with a gyro and an accelerometer in the wagon",
        )
    start, stop = reach(stations)
    s = np.linspace(start, stop, max(8, round((stop - start) / (stations.wheelbase_mm / GRID_PER_WHEELBASE)) + 1))
    if stations.closed:
        s = s[:-1]
    cant_at, seen_cant = _cant_of(stations, plan or profile)
    rows = _rows(plan, profile, cant_at, seen_cant, s)
    bend = 8.0 * limits.leave_mm / (SOFT_WHEELBASES * stations.wheelbase_mm) ** 2
    spans = [c.bounds(bend, SHIFT_WHEELBASES * stations.wheelbase_mm) for c in (plan, profile) if c]
    free = np.full(len(cant_at), np.inf)
    reachable = np.stack([np.concatenate([*(v[i] for v in spans), free * (2 * i - 1)]) for i in (0, 1)], axis=-1)
    joined = _joined(plan, profile, len(cant_at))
    x, moves, beyond = _solve(stations, s, rows, (joined, reachable), limits, tuple(boards))
    return Target(plan, profile, cant_at, seen_cant, x, moves, tuple(boards), beyond)


def _cant_of(stations: Stations, chain: Chain | None) -> tuple[Array, tuple[Array, Array] | None]:
    """Places between which the target's cant runs straight (m,), and the surveyed cant (s, cant)."""
    known = np.isfinite(stations.cant_mm)
    if known.sum() < 3 or chain is None:
        return np.empty(0), None
    start, stop = reach(stations)
    at = [start]
    for part in chain.parts:
        if part.b < stop - stations.wheelbase_mm and part.b - at[-1] > stations.wheelbase_mm:
            at.append(part.b)
    s, cant = stations.s_mm[known], stations.cant_mm[known]
    if stations.closed:
        s, cant = np.append(s, stop), np.append(cant, cant[0])
    return np.array([*at, stop]), (s, cant)


def _rows(
    plan: Chain | None, profile: Chain | None, cant_at: Array, seen_cant: tuple[Array, Array] | None, s_mm: Array
) -> dict[str, tuple[sparse.csr_array, Array]]:
    """Kind of work -> (B, e) over all unknowns: plan, profile, cant."""
    n = len(s_mm)
    sizes = (plan.unknowns if plan else 0, profile.unknowns if profile else 0, len(cant_at))

    def wide(part: sparse.csr_array, before: int, after: int) -> sparse.csr_array:
        blocks = [sparse.csr_array((n, before)), part, sparse.csr_array((n, after))]
        return sparse.csr_array(sparse.hstack([b for b in blocks if b.shape[1]]))

    out: dict[str, tuple[sparse.csr_array, Array]] = {}
    if plan:
        b, e = plan.rows(s_mm)
        out["slew"] = wide(b, 0, sizes[1] + sizes[2]), e
    if profile:
        b, e = profile.rows(s_mm)
        middle = wide(b, sizes[0], sizes[2])
        if seen_cant is None:
            out["left"] = out["right"] = middle, e
        else:
            half = wide(_hats(cant_at, s_mm) * 0.5, sizes[0] + sizes[1], 0)
            cant = 0.5 * np.interp(s_mm, *seen_cant)
            out["left"] = sparse.csr_array(middle + half), e + cant
            out["right"] = sparse.csr_array(middle - half), e - cant
    return out


def _hats(at: Array, s_mm: Array) -> sparse.csr_array:
    """(n, m) weights of straight lines between places."""
    i = np.clip(np.searchsorted(at, s_mm, side="right") - 1, 0, len(at) - 2)
    v = (s_mm - at[i]) / (at[i + 1] - at[i])
    rows = np.arange(len(s_mm))
    entries = (np.concatenate([1 - v, v]), (np.tile(rows, 2), np.concatenate([i, i + 1])))
    return sparse.csr_array(entries, shape=(len(s_mm), len(at)))


def _joined(plan: Chain | None, profile: Chain | None, cants: int) -> tuple[sparse.csr_array, Array]:
    """What holds over all unknowns; the cant of a ring ends as it began."""
    blocks, right, closed = [], [], False
    for chain in (plan, profile):
        if chain:
            closed = chain.closed
            a, b = chain.joined()
            blocks.append(a)
            right.append(b)
    if cants:
        ring = sparse.csr_array(([1.0, -1.0], ([0, 0], [0, cants - 1])), shape=(1, cants))
        blocks.append(ring if closed else sparse.csr_array((0, cants)))
        right.append(np.zeros(int(closed)))
    return sparse.csr_array(sparse.block_diag(blocks)), np.concatenate(right)


def _board_columns(boards: Sequence[Baseboard], s_mm: Array) -> tuple[sparse.csr_array, sparse.csr_array]:
    """(n, 3 m) lift of the left and of the right rail by start, end and left side of each board."""
    out = []
    for side in (0.5, -0.5):
        columns = np.zeros((len(s_mm), 3 * len(boards)))
        for k, board in enumerate(boards):
            on = (s_mm >= board.s0_mm) & (s_mm <= board.s1_mm)
            v = (s_mm[on] - board.s0_mm) / (board.s1_mm - board.s0_mm)
            columns[on, 3 * k : 3 * k + 3] = np.stack([1 - v, v, np.full(len(v), side)], axis=-1)
        out.append(sparse.csr_array(columns))
    return out[0], out[1]


def _solve(
    stations: Stations,
    s: Array,
    rows: dict[str, tuple[sparse.csr_array, Array]],
    design: tuple[tuple[sparse.csr_array, Array], Array],
    limits: MendLimits,
    boards: tuple[Baseboard, ...],
) -> tuple[Array, Array, tuple[tuple[float, float, str], ...]]:
    """Unknowns, board moves and what lies beyond the limits, of the linear programme."""
    ds = float(s[1] - s[0])
    fixed = np.zeros(len(s), dtype=bool)
    for low_mm, high_mm in limits.fixed:
        fixed |= (s >= low_mm - 0.5 * ds) & (s <= high_mm + 0.5 * ds)
    heard = np.ones(len(s), dtype=bool)
    for one in boards:
        for joint in (one.s0_mm, one.s1_mm):
            heard &= abs(s - joint) > BLIND_WHEELBASES * stations.wheelbase_mm
    lifts = dict(zip(("left", "right"), _board_columns(boards, s), strict=True))
    blocks, right, up, down = [], [], [], []
    for name, (b, e) in rows.items():
        rail = name in lifts
        keep = heard if rail else np.ones(len(s), dtype=bool)
        raised = lifts[name] if rail else sparse.csr_array((len(s), 3 * len(boards)))
        blocks.append(sparse.csr_array(sparse.hstack([b, -raised]) if boards else b)[keep])
        right.append(e[keep])
        top, low = (limits.lift_mm, limits.lower_mm) if rail else (limits.slew_mm, limits.slew_mm)
        up.append(np.where(fixed, 0.0, top)[keep])
        down.append(np.where(fixed, 0.0, low)[keep])
    places = np.concatenate([s[heard] if name in lifts else s for name in rows])
    names = np.concatenate([[name] * int(heard.sum() if name in lifts else len(s)) for name in rows])
    found = _programme(
        sparse.vstack(blocks), np.concatenate(right), *design, np.concatenate(up), np.concatenate(down), ds,
        len(boards), BOARD_GAUGES * stations.gauge_mm,
    )  # fmt: skip
    x, moves, over = found
    beyond = tuple((float(p), float(o), str(n)) for p, o, n in zip(places, over, names, strict=True) if abs(o) > 0.01)
    return x, moves, beyond


def _programme(
    b: sparse.csr_array,
    e: Array,
    joined: tuple[sparse.csr_array, Array],
    reachable: Array,
    up: Array,
    down: Array,
    ds: float,
    boards: int,
    board_price: float,
) -> tuple[Array, Array, Array]:
    """min ds sum(p + q + 20 o) + boards: B x - p + q - o+ + o- = e, 0 <= p <= up, 0 <= q <= down."""
    n, width = len(e), b.shape[1]
    m = 3 * boards
    one = sparse.eye_array(n, format="csr")
    # a board's three amounts are differences of two that are not below 0, so that each way has its price
    parts = [b, -b[:, width - m :], -one, one, -one, one] if m else [b, -one, one, -one, one]
    first = sparse.hstack(parts)
    hold = sparse.hstack([joined[0], sparse.csr_array((joined[0].shape[0], first.shape[1] - joined[0].shape[1]))])
    free = width - m
    raising, lowering = np.tile([1.0, 1.0, 1.0], boards), np.tile([LOWER_BOARD, LOWER_BOARD, 1.0], boards)
    cost = np.concatenate(
        [
            np.zeros(free),
            board_price * raising,
            board_price * lowering,
            np.full(2 * n, ds),
            np.full(2 * n, BEYOND_PRICE * ds),
        ]
    )
    least = np.concatenate([np.full(free, -np.inf), np.zeros(2 * m + 4 * n)])
    most = np.concatenate([np.full(free + 2 * m, np.inf), up, down, np.full(2 * n, np.inf)])
    # the simplex method gives up on a few of a hundred rings; on long lines its time grows faster than the line
    for method in ("highs-ipm", "highs") if n > LONG_ROWS else ("highs", "highs-ipm"):
        done = linprog(
            cost,
            A_eq=sparse.csr_array(sparse.vstack([first, hold])),
            b_eq=np.concatenate([e, joined[1]]),
            bounds=np.concatenate([reachable, np.stack([least, most], axis=-1)[free:]]),
            method=method,  # type: ignore[call-overload]
        )
        if done.x is not None:
            break
    if done.x is None:
        raise UndeterminedError(
            expected="a target line through the pieces of the survey",
            came=str(done.message),
            where="mend",
            next_step="survey the line again; its pieces do not join",
        )
    x = np.asarray(done.x)
    moves = (x[free : free + m] - x[free + m : free + 2 * m]).reshape(boards, 3)
    over = x[-2 * n : -n] - x[-n:]
    return x[:free], moves, over
