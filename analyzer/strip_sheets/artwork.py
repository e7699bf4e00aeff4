"""What is printed on an edge strip?  Black shapes in strip millimetres, for pdf.py and images.py to draw."""

from collections.abc import Iterator
from dataclasses import dataclass
from functools import cache
from typing import Literal

import cv2
import numpy as np
from numpy.typing import NDArray

from calibration.strips import (
    DICTIONARY,
    HEIGHT_MM,
    MODULES,
    PITCH_MM,
    RULE_MM,
    TEXT_MM,
    Point,
    Section,
    Side,
    marker_box_mm,
    marker_id,
)

INCH_MM = 25.4
TICK_MM = 0.14  # width of a line of the rule: thin, so that the paper beside the board stays white
# Ticks by the distance from the board's edge at which they end (mm) or begin (inch); chosen by eye.
MM_TICKS = {10: 4.2, 5: 3.2, 1: 2.3}
NUMBER_MIDDLE, NUMBER_EM = 5.15, 1.9
INCH_FROM = 6.6
INCH_TICKS = {8: 9.9, 4: 8.3, 2: 7.9, 1: 7.5}  # eighths
INCH_NUMBER_MIDDLE, INCH_NUMBER_EM = 9.05, 1.9
ARROW_TIP, ARROW_BASE, ARROW_HALF_WIDTH = 0.8, 5.2, 1.7
ARROW_CLEAR = 2.6  # of the zero arrow, no other ticks or numbers
WORDS_EM = 2.1
END_CLEAR_MM = 1.5  # no number is cut by the end of a section


@dataclass(frozen=True, slots=True)
class Box:
    """A black rectangle."""

    left: float
    top: float
    right: float
    bottom: float


@dataclass(frozen=True, slots=True)
class Triangle:
    """A black triangle."""

    corners: tuple[Point, Point, Point]


@dataclass(frozen=True, slots=True)
class Text:
    """A line of words, centred in height on its capital letters."""

    x: float
    middle_y: float
    words: str
    em_mm: float
    align: Literal["left", "middle", "right"] = "middle"
    bold: bool = False


@dataclass(frozen=True, slots=True, eq=False)
class Marker:
    """A square marker."""

    left: float
    top: float
    side_mm: float
    is_black: NDArray[np.bool_]  # (MODULES, MODULES)


Shape = Box | Triangle | Text | Marker


def artwork(section: Section, count: int) -> list[Shape]:
    """Everything printed on one section of a strip.

    Parameters
    ----------
    section : Section
    count : int
        How many sections the strip has.
    """
    shapes: list[Shape] = [_marker(section.side, cell) for cell in section.cells]
    shapes += _mm_rule(section)
    shapes += _inch_rule(section)
    if section.index == 0:
        shapes += _zero_arrow(section.side)
    shapes += _words(section, count)
    return shapes


def outline_mm(section: Section) -> Box:
    """The section as cut."""
    top = -HEIGHT_MM if section.side is Side.TOP else 0.0
    return Box(section.left_mm, top, section.right_mm, top + HEIGHT_MM)


@cache
def _dictionary() -> cv2.aruco.Dictionary:
    return cv2.aruco.getPredefinedDictionary(getattr(cv2.aruco, DICTIONARY))


def _marker(side: Side, cell: int) -> Marker:
    left, top, right, _ = marker_box_mm(side, cell)
    picture = cv2.aruco.generateImageMarker(_dictionary(), marker_id(side, cell), MODULES)
    return Marker(left, top, right - left, picture == 0)


def _mm_rule(section: Section) -> Iterator[Shape]:
    """Millimetres, from the edge that touches the board."""
    side = section.side
    for x in range(int(np.ceil(section.left_mm)), int(np.floor(section.right_mm)) + 1):
        if x < ARROW_CLEAR or not section.left_mm < x < section.right_mm:
            continue
        step = next(step for step in MM_TICKS if x % step == 0)
        yield _tick(side, x, RULE_MM[0], MM_TICKS[step])
        if step == 10 and _is_clear(section, x, 2.6):
            yield Text(x, side.away * NUMBER_MIDDLE, str(x), NUMBER_EM)


def _inch_rule(section: Section) -> Iterator[Shape]:
    """Eighths of an inch, beside the millimetres."""
    side = section.side
    first = int(np.ceil(max(section.left_mm, ARROW_CLEAR) / (INCH_MM / 8)))
    last = int(np.floor((section.right_mm - TICK_MM) / (INCH_MM / 8)))
    for eighths in range(first, last + 1):
        x = eighths * INCH_MM / 8
        if x <= section.left_mm + TICK_MM:
            continue
        step = next(step for step in INCH_TICKS if eighths % step == 0)
        yield _tick(side, x, INCH_FROM, INCH_TICKS[step])
        if step == 8 and _is_clear(section, x, 3.6):
            yield Text(x + 0.5, side.away * INCH_NUMBER_MIDDLE, f"{eighths // 8} in", INCH_NUMBER_EM, "left")


def _is_clear(section: Section, x: float, reach_mm: float) -> bool:
    return section.left_mm + END_CLEAR_MM < x - reach_mm / 2 and x + reach_mm < section.right_mm - END_CLEAR_MM / 3


def _tick(side: Side, x: float, first: float, last: float) -> Box:
    top, bottom = sorted((side.away * first, side.away * last))
    return Box(x - TICK_MM / 2, top, x + TICK_MM / 2, bottom)


def _zero_arrow(side: Side) -> Iterator[Shape]:
    tip, base = side.away * ARROW_TIP, side.away * ARROW_BASE
    yield Triangle(((0.0, tip), (-ARROW_HALF_WIDTH, base), (ARROW_HALF_WIDTH, base)))
    yield _tick(side, 0, ARROW_BASE - 0.2, RULE_MM[1])
    yield Text(0.9, side.away * INCH_NUMBER_MIDDLE, "0", INCH_NUMBER_EM, "left", bold=True)
    for line, words in enumerate(("left end of", "the board")):
        middle = 2.4 + 2.4 * (line if side is Side.BOTTOM else 1 - line)
        yield Text(-2.2, side.away * middle, words, 1.7, "right")


def _words(section: Section, count: int) -> Iterator[Shape]:
    """Which strip this is, which of its edges goes to the board, and what joins it; between every two markers."""
    side, first, last = section.side, section.cells[0], section.cells[-1] + 1
    y = side.away * (TEXT_MM[0] + TEXT_MM[1]) / 2
    name = side.upper() if count == 1 else f"{side.upper()} {section.index + 1} of {count}"
    if section.index == 0:
        yield Text(section.left_mm + 1.0, y, name, WORDS_EM, "left", bold=True)
    else:
        yield Text(section.left_mm + 0.9, y, f"joins {section.index}", WORDS_EM, "left")
    for boundary in range(first + 1, last):
        if section.index > 0 and boundary == first + 1:
            yield Text(boundary * PITCH_MM, y, name, WORDS_EM, bold=True)
        else:
            yield from _pointed_words(side, boundary * PITCH_MM, y)
    if section.index + 1 < count:
        yield Text(section.right_mm - 0.9, y, f"joins {section.index + 2}", WORDS_EM, "right")


def _pointed_words(side: Side, x: float, y: float) -> Iterator[Shape]:
    yield Text(x, y, "to the board", WORDS_EM)
    for offset in (-9.0, 9.0):
        tip, base = y - side.away * 0.8, y + side.away * 0.8
        yield Triangle(((x + offset, tip), (x + offset - 0.9, base), (x + offset + 0.9, base)))
