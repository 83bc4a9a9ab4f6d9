"""Whether board and cell go into the body, and how."""

from dataclasses import dataclass
from itertools import permutations

from wayrule.model import Wagon

Triple = tuple[float, float, float]
AXES = ("end to end", "side by side", "one above the other")


@dataclass(frozen=True, slots=True)
class Room:
    """The best way to put them in.

    fits        whether both go in
    how         in words
    spare_mm    left over along length, width and height; the axis that is short is below 0
    """

    fits: bool
    how: str
    spare_mm: Triple
    text: str


def room(wagon: Wagon) -> Room | None:
    """Board flat (turned by a quarter or not), cell any way round; None where inside_mm or both sizes are not stated.

    Notes
    -----
    Two boxes with parallel edges that do not overlap lie apart along one of the three axes, so that trying the three
    axes and all quarter turns is exact for boxes with parallel edges; a cell put in askew is not tried.

    Examples
    --------
    >>> from wayrule.model import Board, Body, Cell, Wheel
    >>> van = Wagon("van", "HO", 87.0, 16.5, 65.0, Wheel(10.5), body=Body(inside_mm=(80.0, 26.0, 24.0)),
    ...             board=Board((42.0, 18.0, 5.0)), cell=Cell(size_mm=(30.0, 16.0, 5.0)))
    >>> room(van).how
    'end to end'
    """
    inside, board, cell = wagon.body.inside_mm, wagon.board.size_mm, wagon.cell.size_mm
    if inside is None or (board is None and cell is None):
        return None
    ways = list(_ways(board, cell))
    spares = [(tuple(i - n for i, n in zip(inside, need, strict=True)), how) for need, how in ways]
    spare, how = max(spares, key=lambda item: min(item[0]))
    x, y, z = spare
    fits = min(spare) >= 0
    things = " and ".join(n for n, s in (("board", board), ("cell", cell)) if s is not None)
    placed = f" {how}" if how else ""
    clear = f"{inside[0]:g} x {inside[1]:g} x {inside[2]:g} mm inside"
    if fits:
        verb = "fit" if board and cell else "fits"
        text = f"{things.capitalize()} {verb}{placed} in {clear}, with {x:.1f}, {y:.1f} and {z:.1f} mm to spare."
    else:
        short = ", ".join(
            f"{-s:.1f} mm of {n}" for s, n in zip(spare, ("length", "width", "height"), strict=True) if s < 0
        )
        text = f"{things.capitalize()} do not go into {clear}: even{placed or ' at best'} {short} are missing."
    return Room(fits, how, (x, y, z), text)


def _ways(board: Triple | None, cell: Triple | None) -> list[tuple[Triple, str]]:
    """Sizes of all arrangements."""
    boards = {board, (board[1], board[0], board[2])} if board else set()
    cells: set[Triple] = {(a, b, c) for a, b, c in permutations(cell)} if cell else set()
    if not boards or not cells:
        return [(size, "") for size in sorted(boards or cells)]
    found = []
    for b in sorted(boards):
        for c in sorted(cells):
            for axis, how in enumerate(AXES):
                x, y, z = (b[k] + c[k] if k == axis else max(b[k], c[k]) for k in range(3))
                found.append(((x, y, z), how))
    return found
