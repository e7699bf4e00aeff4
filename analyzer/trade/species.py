"""Which wood is this, and how does it take stain?  Source: the rows of `shared/trade_species.csv`."""

from dataclasses import dataclass
from typing import Final, Literal

from analyzer.trade.lookup import Found, find
from analyzer.trade.origin import Origin
from analyzer.trade.table_file import Cells, Layout, read_table

Growth = Literal[
    "", "gradual", "abrupt", "gradual or abrupt", "diffuse-porous", "semi-ring-porous", "ring-porous"
]  # how a year's wood goes over from early to late
GROWTHS: Final[tuple[Growth, ...]] = (
    *("", "gradual", "abrupt", "gradual or abrupt"),
    *("diffuse-porous", "semi-ring-porous", "ring-porous"),
)
BLOTCH_WORDS = ("even", "mild, or figure", "prone to blotch", "blotches severely")

LAYOUT = Layout(
    "trade_species.csv",
    (
        *("name", "aliases", "specific_gravity", "shrink_tangential_percent", "shrink_radial_percent", "growth"),
        *("paint_class", "heartwood", "pores", "blotch", "blotch_why", "blotch_source", "source"),
    ),
    ("name",),
)

# What may stand beside a wood's name without making it another wood ("Brazilian cherry" is no cherry).
BESIDE: Final = frozenset(
    """
    solid veneer veneered plywood ply wood lumber board timber hardwood softwood quartersawn quarter sawn cut rift
    riftsawn plain plainsawn flat flatsawn rotary sliced sapwood heartwood sap heart select clear grade figured
    knotty rustic reclaimed old new kiln dried air prime common edge grain vertical vg core glued up laminated
    """.split()  # noqa: SIM905 - a list of eighty short words in quotes is harder to read
)


@dataclass(frozen=True, slots=True)
class Species:
    """One wood, or several that are alike. None: the table does not say."""

    name: str
    aliases: tuple[str, ...]
    specific_gravity: float | None  # at 12 % moisture
    shrink_tangential_percent: tuple[float, float] | None  # from green to oven-dry: least and most of the row's woods
    shrink_radial_percent: tuple[float, float] | None
    growth: Growth
    paint_class: int | None  # 1 keeps paint best, 3 worst; says nothing of stain
    heartwood: str
    pores: str
    blotch: int | None  # 0 even, 1 mild or figure, 2 prone, 3 severe
    blotch_why: tuple[str, ...]
    blotch_source: str
    source: str
    origin: Origin

    @property
    def blotch_words(self) -> str:
        """Proneness in words; empty when not told."""
        return "" if self.blotch is None else BLOTCH_WORDS[self.blotch]


def all_species() -> tuple[Species, ...]:
    """All woods, the shop's own in place.

    Raises
    ------
    TradeTableError
        If the shop's table does not hold.
    """
    return read_table(LAYOUT, _parse, _key)


def find_species(asked: str) -> Found[Species]:
    """Find a wood by the finisher's words: "Hard maple", "maple, hard", "sugar maples", "quartersawn white oak".

    Raises
    ------
    TradeTableError
        If the shop's table does not hold.
    """
    return find(asked, all_species(), lambda row: (row.name, *row.aliases), may_stand_beside=BESIDE)


def _key(row: Species) -> str:
    return row.name.casefold()


def _parse(cells: Cells) -> Species:
    blotch = cells.number("blotch", 0, 3)
    paint = cells.number("paint_class", 1, 3)
    return Species(
        name=cells.text("name", required=True),
        aliases=cells.many("aliases"),
        specific_gravity=cells.number("specific_gravity", 0.1, 1.5),
        shrink_tangential_percent=cells.span("shrink_tangential_percent", 0, 20),
        shrink_radial_percent=cells.span("shrink_radial_percent", 0, 20),
        growth=cells.choice("growth", GROWTHS),
        paint_class=None if paint is None else round(paint),
        heartwood=cells.text("heartwood"),
        pores=cells.text("pores"),
        blotch=None if blotch is None else round(blotch),
        blotch_why=cells.many("blotch_why"),
        blotch_source=cells.text("blotch_source"),
        source=cells.source(),
        origin=cells.origin,
    )
