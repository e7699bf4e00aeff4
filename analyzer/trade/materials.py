"""What kind of stain, sealer or topcoat is this?  Source: the rows of `shared/trade_materials.csv`."""

from dataclasses import dataclass
from typing import Final, Literal

from analyzer.trade.lookup import Found, find
from analyzer.trade.origin import Origin
from analyzer.trade.table_file import Cells, Layout, read_table
from analyzer.trade.treatments import BASES, Base

Role = Literal["stain", "sealer", "topcoat"]
ROLES: Final[tuple[Role, ...]] = ("stain", "sealer", "topcoat")

LAYOUT = Layout(
    "trade_materials.csv",
    ("id", "name", "keywords", "role", "base", "between_coats", "source"),
    ("id", "name", "role", "base"),
)


@dataclass(frozen=True, slots=True)
class Material:
    """One kind of stain, sealer or topcoat."""

    id: str
    name: str
    keywords: tuple[str, ...]
    role: Role
    base: Base  # what it is thinned with
    between_coats: str  # how it is scuffed before the next coat; empty: it is not
    source: str
    origin: Origin


def all_materials() -> tuple[Material, ...]:
    """All kinds, the shop's own in place.

    Raises
    ------
    TradeTableError
        If the shop's table does not hold.
    """
    return read_table(LAYOUT, _parse, lambda row: row.id)


def find_material(asked: str, role: Role) -> Found[Material]:
    """Find a kind by the finisher's words: "walnut oil stain", "two coats of satin lacquer", "water-based poly".

    A topcoat may serve as sealer; what is no sealer of its own is looked up among the topcoats.

    Raises
    ------
    TradeTableError
        If the shop's table does not hold.
    """
    found = find(asked, [row for row in all_materials() if row.role == role], lambda row: (row.name, *row.keywords))
    if found.row is None and role == "sealer":
        as_topcoat = find_material(asked, "topcoat")
        return as_topcoat if as_topcoat.row else found
    return found


def _parse(cells: Cells) -> Material:
    return Material(
        id=cells.text("id", required=True),
        name=cells.text("name", required=True),
        keywords=cells.many("keywords"),
        role=cells.choice("role", ROLES),
        base=cells.choice("base", BASES),
        between_coats=cells.text("between_coats"),
        source=cells.source(),
        origin=cells.origin,
    )
