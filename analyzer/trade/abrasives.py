"""How coarse is this paper?  A grade means nothing without its scale.  Source: `shared/trade_abrasives.csv`."""

import re
from dataclasses import dataclass
from itertools import pairwise
from typing import Final, Literal

from analyzer.trade.origin import Origin
from analyzer.trade.table_file import Cells, Layout, read_table

Scale = Literal["P", "CAMI"]
SCALES: Final[tuple[Scale, ...]] = ("P", "CAMI")
_KEYS = ("p", "cami")
LAYOUT = Layout("trade_abrasives.csv", ("scale", "grade", "size_um", "use", "source"), ("scale", "grade", "size_um"))

SEVERAL_GRADES = (
    1.75  # coarser to finer, in grain size: from 120 over 150 to 180 is 1.52, over two is 1.84 (by the table)
)
_WRITTEN = re.compile(r"\s*(P|CAMI|ANSI)?\s*[#-]?\s*(\d{2,4})\s*(?:grit)?\s*", re.IGNORECASE)


@dataclass(frozen=True, slots=True)
class Abrasive:
    """One grade of coated abrasive."""

    scale: Scale
    grade: int
    size_um: float  # mean size of its grain
    use: str
    source: str
    origin: Origin

    @property
    def written(self) -> str:
        """With its scale: "P180", "CAMI 320"."""
        return f"P{self.grade}" if self.scale == "P" else f"CAMI {self.grade}"


def all_abrasives() -> tuple[Abrasive, ...]:
    """All grades of both scales, the shop's own in place.

    Raises
    ------
    TradeTableError
        If the shop's table does not hold.
    """
    return read_table(LAYOUT, _parse, lambda row: (row.scale, row.grade))


def find_abrasive(written: str, scale: Scale = "P") -> Abrasive | None:
    """Find a grade as written: "180", "P320", "CAMI 400"; None if there is no such grade.

    Parameters
    ----------
    written : str
    scale : {"P", "CAMI"}
        Of a bare number.

    Raises
    ------
    TradeTableError
        If the shop's table does not hold.
    """
    found = _WRITTEN.fullmatch(written)
    if found is None:
        return None
    letters = (found[1] or scale).upper()
    wanted = ("P" if letters == "P" else "CAMI", int(found[2]))
    return next((row for row in all_abrasives() if (row.scale, row.grade) == wanted), None)


def nearest_on(scale: Scale, abrasive: Abrasive) -> Abrasive:
    """The grade of a scale that is nearest in grain size: a CAMI 400 is a P800."""
    there = [row for row in all_abrasives() if row.scale == scale]
    return min(there, key=lambda row: abs(row.size_um - abrasive.size_um))


def wide_steps(sequence: tuple[Abrasive, ...]) -> tuple[tuple[Abrasive, Abrasive], ...]:
    """Neighbours in a sanding sequence with more than one grade between, or that get coarser: scratches stay.

    At most one grade may be skipped (common practice, no source).
    """
    pairs = pairwise(sequence)
    return tuple((coarse, fine) for coarse, fine in pairs if not 1 <= coarse.size_um / fine.size_um <= SEVERAL_GRADES)


def _parse(cells: Cells) -> Abrasive:
    scale = "P" if cells.choice("scale", _KEYS) == "p" else "CAMI"
    return Abrasive(
        scale="P" if scale == "P" else "CAMI",
        grade=round(cells.required_number("grade", 12, 10_000)),
        size_um=cells.required_number("size_um", 0.1, 5000),
        use=cells.text("use"),
        source=cells.source(),
        origin=cells.origin,
    )
