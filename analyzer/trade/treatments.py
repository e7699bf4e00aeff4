"""What is this pre-treatment, how strong, how long to wait?  Source: the rows of `shared/trade_treatments.csv`."""

from dataclasses import dataclass
from typing import Final, Literal

from analyzer.trade.lookup import Found, find
from analyzer.trade.origin import Origin
from analyzer.trade.table_file import Cells, Layout, read_table

TreatmentKind = Literal["none", "washcoat", "size", "conditioner", "oil", "stain", "colour", "sanding"]
StainWhen = Literal["dry", "wet", "wet or dry", "none"]  # none: no stain follows, or it is the stain
Base = Literal["", "none", "oil", "water", "alcohol", "solvent"]  # what it is thinned with; "": not told

KINDS: Final[tuple[TreatmentKind, ...]] = (
    *("none", "washcoat", "size", "conditioner"),
    *("oil", "stain", "colour", "sanding"),
)
WHENS: Final[tuple[StainWhen, ...]] = ("dry", "wet", "wet or dry", "none")
BASES: Final[tuple[Base, ...]] = ("", "none", "oil", "water", "alcohol", "solvent")

LAYOUT = Layout(
    "trade_treatments.csv",
    (
        *("id", "name", "keywords", "kind", "make_up", "base", "solids_low_percent", "solids_high_percent"),
        *("can_solids_low_percent", "can_solids_high_percent", "stain_when", "wait_low_h", "wait_high_h", "scuff"),
        *("effect", "avoid", "avoid_bases", "source"),
    ),
    ("id", "name", "kind", "stain_when"),
)
_LONGEST_H = 10_000  # chosen: over a year is a slipped digit


@dataclass(frozen=True, slots=True)
class Treatment:
    """One kind of pre-treatment. Per cents are by volume; None: the table does not say."""

    id: str
    name: str
    keywords: tuple[str, ...]
    kind: TreatmentKind
    make_up: str
    base: Base
    solids_percent: tuple[float | None, float | None]  # as it goes on
    can_solids_percent: tuple[float | None, float | None]  # of what it is made from
    stain_when: StainWhen
    wait_h: tuple[float | None, float | None]  # from putting it on to staining; no upper end: none is known
    scuff: str  # grit, or "if rough"; empty: none
    effect: str
    avoid: str
    avoid_bases: tuple[Base, ...]  # of stains that do not go over it
    source: str
    origin: Origin


def all_treatments() -> tuple[Treatment, ...]:
    """All pre-treatments, the shop's own in place.

    Raises
    ------
    TradeTableError
        If the shop's table does not hold.
    """
    return read_table(LAYOUT, _parse, lambda row: row.id)


def find_treatment(asked: str) -> Found[Treatment]:
    """Find a pre-treatment by the finisher's words: "Shellac washcoat, 5 %", "glue size", "stain conditioner".

    Raises
    ------
    TradeTableError
        If the shop's table does not hold.
    """
    return find(asked, all_treatments(), lambda row: (row.name, row.id, *row.keywords))


def _parse(cells: Cells) -> Treatment:
    return Treatment(
        id=cells.text("id", required=True),
        name=cells.text("name", required=True),
        keywords=cells.many("keywords"),
        kind=cells.choice("kind", KINDS),
        make_up=cells.text("make_up"),
        base=cells.choice("base", BASES),
        solids_percent=cells.ends("solids_low_percent", "solids_high_percent", 0, 100),
        can_solids_percent=cells.ends("can_solids_low_percent", "can_solids_high_percent", 0, 100),
        stain_when=cells.choice("stain_when", WHENS),
        wait_h=cells.ends("wait_low_h", "wait_high_h", 0, _LONGEST_H),
        scuff=cells.text("scuff"),
        effect=cells.text("effect"),
        avoid=cells.text("avoid"),
        avoid_bases=cells.choices("avoid_bases", BASES[1:]),
        source=cells.source(),
        origin=cells.origin,
    )
