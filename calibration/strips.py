"""Where does everything lie on a printed edge strip?  The one layout that is drawn, found and read.

Every strip is ruled into cells of 40 mm, counted from the zero arrow; each cell holds one square marker between two
plain white fields. The number in a marker tells the strip and the cell, so a photo alone tells where each of its
corners lies, however long the strip was printed.

Strip millimetres: x from the zero arrow, to the right; y from the cut edge that touches the board, down. The top strip
therefore lies at negative y, the bottom strip at positive y, and a strip that is laid without error has the board's own
coordinates: those of the top strip as they are, those of the bottom strip moved down by the board's width.

All sizes here are chosen; none is taken from another chart.
"""

from dataclasses import dataclass
from enum import StrEnum
from typing import Final

import numpy as np

# Of OpenCV's dictionaries of 6 x 6 bits the one whose markers differ most: by 12 bits, whichever way they are turned.
DICTIONARY: Final = "DICT_ARUCO_MIP_36h12"
MODULES: Final = 8  # of a marker's side: six bits and the black border on either side

PITCH_MM: Final = 40.0
MARKER_MM: Final = 12.8  # a module is 1.6 mm: 6.4 pixels at 4 px/mm
MARKER_FROM_MM: Final = 12.4  # distance of its near side from the board's edge
QUIET_MM: Final = 2.4  # white around a marker: a module and a half
HEIGHT_MM: Final = 28.0

RULE_MM: Final = (0.8, 10.0)  # the rule lies between these distances from the board's edge
FIELD_MM: Final = (10.8, 24.2)  # the white fields likewise
TEXT_MM: Final = (24.6, 27.4)  # the words likewise
FIELD_RIM_MM: Final = 0.6  # of a white field, left out beside cut edges and joints

CELLS_PER_SECTION: Final = 6
SECTION_MM: Final = CELLS_PER_SECTION * PITCH_MM
ZERO_MM: Final = 12.0  # from the left cut edge to the zero arrow, and at most from the board's end to the right one

CELLS: Final = 100  # that have a number of their own, on either strip
MIN_LENGTH_MM: Final = 60.0  # two markers on each strip
MAX_LENGTH_MM: Final = 3000.0

Rectangle = tuple[float, float, float, float]  # left, top, right, bottom, strip mm
Point = tuple[float, float]


class Side(StrEnum):
    """The strip along the board's top edge, and that along its bottom edge."""

    TOP = "top"
    BOTTOM = "bottom"

    @property
    def away(self) -> int:
        """Direction of y away from the board."""
        return -1 if self is Side.TOP else 1


@dataclass(frozen=True, slots=True)
class Section:
    """A piece of a strip, printed and cut as one; the next one is laid against its right end."""

    side: Side
    index: int  # from 0, left to right
    left_mm: float  # cut edges, x
    right_mm: float

    @property
    def cells(self) -> range:
        """Cells whose markers are printed on it."""
        first = self.index * CELLS_PER_SECTION
        fitting = int((self.right_mm - QUIET_MM - MARKER_MM / 2 - PITCH_MM / 2) // PITCH_MM) + 1
        return range(first, min(first + CELLS_PER_SECTION, max(first, fitting)))


def sections(side: Side, length_mm: float) -> tuple[Section, ...]:
    """The sections of a strip for a board.

    Parameters
    ----------
    side : Side
    length_mm : float
        Length of the board.

    Raises
    ------
    ValueError
        If the board is shorter or longer than strips are made for, or its length is no number.
    """
    if not MIN_LENGTH_MM <= length_mm <= MAX_LENGTH_MM:
        raise ValueError(f"strips are made for boards of {MIN_LENGTH_MM:g} to {MAX_LENGTH_MM:g} mm, not {length_mm:g}")
    first_marker_ends = (PITCH_MM + MARKER_MM) / 2 + QUIET_MM
    count = max(1, int(np.ceil((length_mm + ZERO_MM - first_marker_ends) / SECTION_MM)))
    lefts = [-ZERO_MM, *(k * SECTION_MM for k in range(1, count))]
    # The last one is printed a little longer than the others rather than leave an end piece without any marker.
    rights = [*lefts[1:], min(length_mm, count * SECTION_MM) + ZERO_MM]
    return tuple(Section(side, k, left, right) for k, (left, right) in enumerate(zip(lefts, rights, strict=True)))


def sections_beside(side: Side, length_mm: float) -> tuple[Section, ...]:
    """The sections that lie beside a board of any length, mm: those for the nearest length that strips are made for.

    Beside a board shorter than `MIN_LENGTH_MM` the shortest strip reaches beyond its right end.
    """
    return sections(side, min(max(length_mm, MIN_LENGTH_MM), MAX_LENGTH_MM))


def marker_id(side: Side, cell: int) -> int:
    """Number of the marker in a cell, 0 to 2 * `CELLS` - 1."""
    if not 0 <= cell < CELLS:
        raise ValueError(f"there is no cell {cell}; they are counted from 0 to {CELLS - 1}")
    return cell if side is Side.TOP else CELLS + cell


def marker_place(number: int) -> tuple[Side, int] | None:
    """Strip and cell of a marker; None if no strip has this number."""
    if not 0 <= number < 2 * CELLS:
        return None
    return (Side.TOP, number) if number < CELLS else (Side.BOTTOM, number - CELLS)


def section_of(cell: int) -> int:
    """Index of the section on which a cell is printed.

    The last section of a strip may end a little later than its sixth cell, but no marker fits there.
    """
    return cell // CELLS_PER_SECTION


def marker_box_mm(side: Side, cell: int) -> Rectangle:
    """The black square of a marker."""
    middle = (cell + 0.5) * PITCH_MM
    return _box(side, middle - MARKER_MM / 2, middle + MARKER_MM / 2, (MARKER_FROM_MM, MARKER_FROM_MM + MARKER_MM))


def marker_corners_mm(number: int) -> tuple[Point, Point, Point, Point]:
    """Corners of a marker: top-left, top-right, bottom-right, bottom-left as printed.

    Raises
    ------
    ValueError
        If no strip has this number.
    """
    place = marker_place(number)
    if place is None:
        raise ValueError(f"no strip has a marker {number}")
    left, top, right, bottom = marker_box_mm(*place)
    return (left, top), (right, top), (right, bottom), (left, bottom)


def white_fields_mm(side: Side, cell: int) -> tuple[Rectangle, ...]:
    """The plain white fields of a cell: left and right of its marker, and before the first also left of the arrow."""
    start, end = cell * PITCH_MM, (cell + 1) * PITCH_MM
    middle = (start + end) / 2
    clear = MARKER_MM / 2 + QUIET_MM
    fields = [
        _box(side, start + FIELD_RIM_MM, middle - clear, FIELD_MM),
        _box(side, middle + clear, end - FIELD_RIM_MM, FIELD_MM),
    ]
    if cell == 0:
        fields.insert(0, _box(side, -ZERO_MM + FIELD_RIM_MM, -FIELD_RIM_MM, FIELD_MM))
    return tuple(fields)


def _box(side: Side, left: float, right: float, distances: tuple[float, float]) -> Rectangle:
    """Between two distances from the board's edge, as a rectangle of strip mm."""
    first, last = sorted(side.away * distance for distance in distances)
    return left, first, right, last
