"""How far does it go, how thick does it lie, how long does it take?  Source: `shared/trade_coverage.csv`."""

from dataclasses import dataclass
from typing import Final, Literal

from analyzer.trade.origin import Origin
from analyzer.trade.table_file import Cells, Layout, read_table
from analyzer.trade.treatments import BASES, Base
from analyzer.trade.units import FT2_PER_GALLON_IN_M2_PER_L, UM_PER_MIL, US_PINT_L

Quantity = Literal[
    "spread", "wet_film", "dry_film_total", "solids", "transfer_efficiency", "waste", "retain",
    "recoat", "dry", "coats", "dwell", "use", "cure",
]  # fmt: skip
QUANTITIES: Final[tuple[Quantity, ...]] = (
    *("spread", "wet_film", "dry_film_total", "solids", "transfer_efficiency", "waste", "retain"),
    *("recoat", "dry", "coats", "dwell", "use", "cure"),
)
# A table keeps the unit of its source; what is read is in the unit beside the quantity, on the right.
_UNITS: Final[dict[Quantity, dict[str, float]]] = {
    "spread": {"ft2/gal": FT2_PER_GALLON_IN_M2_PER_L, "m2/l": 1.0},  # m²/L
    "wet_film": {"mil": UM_PER_MIL, "um": 1.0},  # µm
    "dry_film_total": {"mil": UM_PER_MIL, "um": 1.0},  # µm
    "solids": {"percent by volume": 1.0},
    "transfer_efficiency": {"percent": 1.0},
    "waste": {"percent": 1.0},
    "retain": {"pint": US_PINT_L, "l": 1.0},  # L
    "recoat": {"min": 1 / 60, "h": 1.0, "d": 24.0},  # h
    "dry": {"min": 1 / 60, "h": 1.0, "d": 24.0},  # h
    "coats": {"coats": 1.0},
    "dwell": {"min": 1.0, "h": 60.0},  # min
    "use": {"h": 1.0, "d": 24.0},  # h
    "cure": {"h": 1.0, "d": 24.0},  # h
}

LAYOUT = Layout(
    "trade_coverage.csv",
    ("quantity", "material", "method", "before", "low", "high", "unit", "note", "source"),
    ("quantity", "material", "low", "high", "unit"),
)


@dataclass(frozen=True, slots=True)
class Coverage:
    """One figure as a range, in the unit of its quantity: m²/L, µm, per cent, L, h, min, coats."""

    quantity: Quantity
    material: str  # an id of materials.py, "stain", "treatment", "topcoat", or "any"
    method: str  # empty: however it is put on
    before: Base  # of what follows; "": whatever follows
    low: float
    high: float
    note: str
    source: str
    origin: Origin


def all_coverage() -> tuple[Coverage, ...]:
    """All figures, the shop's own in place.

    Raises
    ------
    TradeTableError
        If the shop's table does not hold.
    """
    return read_table(LAYOUT, _parse, lambda row: (row.quantity, row.material, row.method, row.before))


def find_coverage(quantity: Quantity, *materials: str, method: str = "", before: Base = "") -> Coverage | None:
    """Find a figure: the most particular row that holds.

    Parameters
    ----------
    quantity : str
    *materials : str
        Ids of materials.py, or "stain", "treatment", "topcoat": the first that has a row counts; "any" comes last by
        itself.
    method : str
        "wiped", "brushed", "sprayed", "hvlp", …; a row for this method comes before one for any.
    before : str
        The base of the coat that follows; a row for it comes before one for any.

    Returns
    -------
    Coverage or None
        None: no table has it.

    Raises
    ------
    TradeTableError
        If the shop's table does not hold.
    """
    by_key = {(row.material, row.method, row.before): row for row in all_coverage() if row.quantity == quantity}
    for material in (*materials, "any"):
        for key in ((material, method, before), (material, "", before), (material, method, ""), (material, "", "")):
            if key in by_key:
                return by_key[key]
    return None


def _parse(cells: Cells) -> Coverage:
    quantity = cells.choice("quantity", QUANTITIES)
    unit = _UNITS[quantity][cells.choice("unit", tuple(_UNITS[quantity]))]
    low, high = cells.required_number("low", 0, 1e6), cells.required_number("high", 0, 1e6)
    cells.ends("low", "high", 0, 1e6)
    return Coverage(
        quantity=quantity,
        material=cells.text("material", required=True),
        method=cells.text("method").lower(),
        before=cells.choice("before", BASES),
        low=low * unit,
        high=high * unit,
        note=cells.text("note"),
        source=cells.source(),
        origin=cells.origin,
    )
