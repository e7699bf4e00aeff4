"""Which air and which wood does finishing want?  Source: the rows of `shared/trade_conditions.csv`."""

from dataclasses import dataclass

from analyzer.trade.origin import Origin
from analyzer.trade.table_file import Cells, Layout, read_table
from analyzer.trade.treatments import Base

_BASES = ("any", "oil", "water", "alcohol", "solvent")

LAYOUT = Layout(
    "trade_conditions.csv",
    ("id", "quantity", "low", "high", "unit", "bases", "says", "source"),
    ("id", "quantity", "low", "high", "unit"),
)


@dataclass(frozen=True, slots=True)
class Condition:
    """One limit or pair of limits, in `unit`. None: there is none at that end."""

    id: str
    quantity: str
    low: float | None
    high: float | None
    unit: str
    bases: tuple[str, ...]  # what it holds for; "any": everything
    says: str
    source: str
    origin: Origin

    def holds_for(self, bases: frozenset[Base]) -> bool:
        """Say whether it concerns work with these bases."""
        return "any" in self.bases or not bases.isdisjoint(self.bases)


def all_conditions() -> tuple[Condition, ...]:
    """All limits, the shop's own in place.

    Raises
    ------
    TradeTableError
        If the shop's table does not hold.
    """
    return read_table(LAYOUT, _parse, lambda row: row.id)


def condition(name: str) -> Condition:
    """One limit by its id.

    Raises
    ------
    KeyError
        If there is no such id: a mistake of ours.
    TradeTableError
        If the shop's table does not hold.
    """
    return {row.id: row for row in all_conditions()}[name]


def _parse(cells: Cells) -> Condition:
    low, high = cells.ends("low", "high", -1000, 1000)
    return Condition(
        id=cells.text("id", required=True),
        quantity=cells.text("quantity", required=True),
        low=low,
        high=high,
        unit=cells.text("unit", required=True),
        bases=cells.choices("bases", _BASES) or ("any",),
        says=cells.text("says"),
        source=cells.source(),
        origin=cells.origin,
    )
