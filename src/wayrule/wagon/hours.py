"""How long the cell feeds the board."""

from dataclasses import dataclass
from typing import Final

from wayrule.errors import UndeterminedError
from wayrule.model import Wagon

USABLE: Final = 0.8
"""Share of the printed capacity to count on where the file does not say: age, cold, cut-off; common practice, no
source."""

CAPACITY_SD: Final = 0.10
"""Relative sd of a small cell's printed capacity and of a mean current; common practice, no source."""

DROPOUT_V: Final = 0.15
"""What a linear regulator needs above its output [V]; common practice for low-drop regulators, no source."""


@dataclass(frozen=True, slots=True)
class RunningTime:
    """Hours on one charge, with sigma, and the current drawn from the cell [mA]."""

    hours: float
    hours_sd: float
    cell_ma: float
    text: str


def running_time(wagon: Wagon) -> RunningTime:
    """Capacity times usable share over the current at the cell.

    Raises
    ------
    UndeterminedError   naming the keys that are not stated, or when a linear regulator cannot give the board's voltage

    Notes
    -----
    With a converter of efficiency eta the power is kept: I_cell = I_board U_board / (eta U_cell). Without one a linear
    regulator passes the board's current, and the surplus voltage becomes heat. sigma: capacity and current 10 % each.

    Examples
    --------
    >>> from wayrule.model import Board, Cell, Wheel
    >>> van = Wagon("van", "HO", 87.0, 16.5, 65.0, Wheel(10.5), board=Board(current_ma=32.0, volts=3.3),
    ...             cell=Cell("lithium_polymer", capacity_mah=180.0, volts=3.7, usable=0.8))
    >>> running_time(van).text
    'The cell of 180 mAh runs the board for 4.5 ± 0.6 h (32 mA from the cell, 80 % of its capacity counted on).'
    """
    board, cell = wagon.board, wagon.cell
    keys = {"board.current_ma": board.current_ma, "cell.capacity_mah": cell.capacity_mah}
    if cell.converter_efficiency is not None:
        keys |= {"board.volts": board.volts, "cell.volts": cell.volts}
    missing = [key for key, value in keys.items() if value is None]
    if missing or board.current_ma is None or cell.capacity_mah is None:
        raise UndeterminedError(
            expected="what the board draws and what the cell holds",
            came=f"nothing for {', '.join(missing)}",
            where="running time",
            next_step="add them under [board] and [cell]",
        )
    usable = USABLE if cell.usable is None else cell.usable
    current = _cell_ma(wagon, board.current_ma)
    hours = cell.capacity_mah * usable / current
    sd = hours * CAPACITY_SD * 2**0.5
    text = (
        f"The cell of {cell.capacity_mah:g} mAh runs the board for {hours:.1f} ± {sd:.1f} h ({current:.0f} mA from the "
        f"cell, {usable:.0%} of its capacity counted on)."
    ).replace("%", " %")
    return RunningTime(hours, sd, current, text)


def _cell_ma(wagon: Wagon, board_ma: float) -> float:
    board, cell = wagon.board, wagon.cell
    if cell.converter_efficiency is not None and board.volts is not None and cell.volts is not None:
        return board_ma * board.volts / (cell.converter_efficiency * cell.volts)
    if board.volts is not None and cell.volts is not None and cell.volts < board.volts + DROPOUT_V:
        raise UndeterminedError(
            expected=f"a cell of at least {board.volts + DROPOUT_V:g} V for a linear regulator to {board.volts:g} V",
            came=f"{cell.volts:g} V",
            where="running time",
            next_step="use a step-up converter and state cell.converter_efficiency, or another cell",
        )
    return board_ma
