"""What can hurt where tools meet rails; it does not replace local codes or a person trained for the work."""

from typing import Final

from wayrule.model import MendPlan

POWER: Final = (
    "Power off, and the plug out of the wall, before any tool touches the rails: a screwdriver across two rails welds, "
    "and a supply that is only switched off can come back. Take the stock off the stretch first."
)
OUTDOORS: Final = (
    "Outdoors: supplies, cables and sockets by the local code, behind a residual-current device, and installed by "
    "who is licensed for it; no work on live track in the wet."
)
TOOLS: Final = (
    "Safety glasses where rail is cut, filed or sprung; ventilate where you solder or glue, and wash your hands after "
    "work on lead or old solder."
)
BOARDS: Final = (
    "Boards are set by two people, one at each end, with nothing on the board that can slide; prop it before a leg is "
    "loosened, and keep fingers out of the joint."
)
DEFER: Final = "Local codes and licensed practice go before this sheet."


def cautions(plan: MendPlan) -> tuple[str, ...]:
    """What stands above the work, the most dangerous first."""
    return (POWER, OUTDOORS, *((BOARDS,) if plan.boards else ()), TOOLS, DEFER)
