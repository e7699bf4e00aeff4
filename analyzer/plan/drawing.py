"""How does a planned board look, so that it can be marked from the drawing?

To scale: the board seen from its face, the grain from left to right, each edge of a zone with its distance from the
left end, and within each zone what the measures will see.
"""

from dataclasses import dataclass
from typing import Final

from analyzer.paper.fonts import SANS, width_pt
from analyzer.plan.fitting import MM_PER_POINT, set_text
from analyzer.plan.layout import PlannedBoard, PlannedZone, Units, said
from analyzer.plan.shapes import FAINT, GRAIN, SOFT, Box, Line, Shape, Words, lines_of

WIDTH_MM: Final = 170.0  # of a drawing: a page of A4 or Letter holds it
LEFT_MM, RIGHT_MM, TOP_MM = 16.0, 9.0, 6.0  # room for words beside and above the board
TALLEST_MM: Final = 80.0  # of the board on paper
RULER_PT: Final = 7.0
STUB: Final = 0.12  # of what is left over at the right end that is drawn, as a share of the zones
_TICK_MM, _ROW_MM, _APART_MM = 2.0, 3.4, 1.5  # of the ruler: ticks, rows of figures, room between figures
_GRAIN_MM: Final = 2.4  # between grain lines


@dataclass(frozen=True, slots=True)
class BoardDrawing:
    """A drawing in millimetres of paper."""

    width_mm: float
    height_mm: float
    scale: float  # paper over wood: 0.3 is 1 : 3.3
    shapes: tuple[Shape, ...]


def draw_board(board: PlannedBoard, units: Units) -> BoardDrawing:
    """Draw a board to scale.

    Parameters
    ----------
    board : PlannedBoard
    units : "mm" or "in"
        In which distances are written: millimetres, or inches with fractions.

    Returns
    -------
    BoardDrawing
    """
    used_mm = board.zones[-1].end_mm
    shown_mm = min(board.length_mm, used_mm * (1 + STUB))
    scale = min((WIDTH_MM - LEFT_MM - RIGHT_MM) / shown_mm, TALLEST_MM / board.width_mm)
    length, height = shown_mm * scale, board.width_mm * scale
    shapes: list[Shape] = [Box(LEFT_MM, TOP_MM, length, height, fill="#ffffff", stroke="")]
    shapes += _grain(length, height)
    for zone in board.zones:
        shapes += _zone(zone, board, scale)
    shapes.append(Box(LEFT_MM, TOP_MM, length, height, weight_mm=0.5))
    if shown_mm < board.length_mm:
        shapes += _left_over(used_mm * scale, length, height)
    shapes += _heading(length)
    shapes += _width(board, height, units)
    ruler, rows = _ruler(board, scale, TOP_MM + height, units)
    shapes += ruler
    bottom = TOP_MM + height + _TICK_MM + rows * _ROW_MM + 1.2
    return BoardDrawing(WIDTH_MM, bottom, scale, tuple(shapes))


def _left_over(used: float, length: float, height: float) -> list[Shape]:
    """At the right: the board goes on, and is cut off in the drawing."""
    x, end = LEFT_MM + used, LEFT_MM + length
    text = set_text("left over", max(end - x - 1.5, 4.0), most_lines=2, sizes_pt=(7.0, 6.0, 5.0))
    teeth = 9
    step = height / teeth
    return [
        Line(end, TOP_MM, end, TOP_MM + height, 1.0, "#ffffff"),
        *(
            Line(end + (k % 2) * 1.2 - 0.6, TOP_MM + k * step, end + ((k + 1) % 2) * 1.2 - 0.6, TOP_MM + (k + 1) * step)
            for k in range(teeth)
        ),
        Box(
            x + 0.6, TOP_MM + height / 2 - text.height_mm / 2 - 0.4, end - x - 1.4, text.height_mm + 0.8, "#ffffff", ""
        ),
        *lines_of(text, (x + end) / 2, TOP_MM + height / 2 - text.height_mm / 2, "middle", SOFT),
    ]


def _grain(length: float, height: float) -> list[Shape]:
    """Lines along the grain: which way the board lies."""
    count = int(height / _GRAIN_MM)
    return [
        Line(LEFT_MM, TOP_MM + y, LEFT_MM + length, TOP_MM + y, 0.12, GRAIN)
        for y in ((k + 0.5) * height / count for k in range(count))
    ]


def _zone(zone: PlannedZone, board: PlannedBoard, scale: float) -> list[Shape]:
    """One zone: its outline, what is measured of it, its name and treatment on white."""
    x, width = LEFT_MM + zone.start_mm * scale, (zone.end_mm - zone.start_mm) * scale
    height, margin = board.width_mm * scale, board.margin_mm * scale
    is_control = zone.treatment == "none"
    shapes: list[Shape] = [Box(x, TOP_MM, width, height, fill=FAINT if is_control else "", weight_mm=0.35)]
    inside = Box(x + margin, TOP_MM + margin, width - 2 * margin, height - 2 * margin, "", SOFT, 0.2, is_dashed=True)
    room = max(width - 2 * margin - 2.4, 4.0)
    lines = max(1, min(3, int((height - 2 * margin) / 2 / 3.2)))  # a line of name or treatment takes 3.2 mm at most
    name = set_text(zone.id, room, most_lines=lines, sizes_pt=(9.0, 8.0, 7.0, 6.0, 5.0), is_bold=True)
    said_of = "control, nothing" if is_control else zone.treatment
    told = set_text(said_of, room, most_lines=lines, sizes_pt=(7.0, 6.0, 5.0))
    tall = name.height_mm + told.height_mm
    wide = max(name.width_mm, told.width_mm) + 1.6
    middle, top = x + width / 2, TOP_MM + (height - tall) / 2
    shapes += [inside, Box(middle - wide / 2, top - 0.6, wide, tall + 1.2, fill="#ffffff", stroke="")]
    shapes += lines_of(name, middle, top, "middle")
    return shapes + list(lines_of(told, middle, top + name.height_mm, "middle", SOFT))


def _heading(length: float) -> list[Shape]:
    """Above the board: where its left end is, and which way the grain runs."""
    y, end = TOP_MM - 2.0, LEFT_MM + length
    arrow = y - 0.9
    return [
        Words(LEFT_MM, y, "left end", RULER_PT, colour=SOFT),
        Words(end - 8, y, "grain", RULER_PT, "right", colour=SOFT),
        Line(end - 7, arrow, end, arrow, 0.25, SOFT),
        Line(end - 1.4, arrow - 0.8, end, arrow, 0.25, SOFT),
        Line(end - 1.4, arrow + 0.8, end, arrow, 0.25, SOFT),
    ]


def _width(board: PlannedBoard, height: float, units: Units) -> list[Shape]:
    """At the left: the board's width."""
    x, bottom = LEFT_MM - 3.0, TOP_MM + height
    text = set_text(said(board.width_mm, units), LEFT_MM - 4.5, most_lines=2, sizes_pt=(RULER_PT, 6.0, 5.0))
    return [
        Line(x, TOP_MM, x, bottom, 0.2, SOFT),
        Line(x - 1, TOP_MM, x + 1, TOP_MM, 0.2, SOFT),
        Line(x - 1, bottom, x + 1, bottom, 0.2, SOFT),
        *lines_of(text, x - 1.2, TOP_MM + height / 2 - text.height_mm / 2, "right"),
    ]


def _ruler(board: PlannedBoard, scale: float, y: float, units: Units) -> tuple[list[Shape], int]:
    """Below the board: distances from its left end; in a second row where they would touch."""
    edges = [board.zones[0].start_mm, *(zone.end_mm for zone in board.zones)]
    ends: list[float] = []  # right end of the last figure in each row
    shapes: list[Shape] = []
    for edge in edges:
        x, figure = LEFT_MM + edge * scale, said(edge, units)
        half = width_pt(figure, SANS, RULER_PT) * MM_PER_POINT / 2
        row = next((k for k, end in enumerate(ends) if x - half > end + _APART_MM), len(ends))
        ends[row:] = [x + half, *ends[row + 1 :]]
        low = y + _TICK_MM + row * _ROW_MM
        shapes += [
            Line(x, y, x, low, 0.3),
            Words(x, low + 2.6, figure, RULER_PT, "middle"),
        ]
    return shapes, len(ends)
