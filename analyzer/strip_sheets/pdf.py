"""How do the strips get onto paper?  A vector PDF in which a millimetre is a millimetre."""

import io
from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from functools import cache
from pathlib import Path

import numpy as np
import reportlab
from numpy.typing import NDArray
from reportlab.pdfbase import pdfmetrics
from reportlab.pdfbase.ttfonts import TTFont
from reportlab.pdfgen.canvas import Canvas

from analyzer.strip_sheets.artwork import Box, Marker, Shape, Text, Triangle, artwork, outline_mm
from calibration.strips import HEIGHT_MM, SECTION_MM, ZERO_MM, Point, Section, Side, sections

POINT_MM = 25.4 / 72
PAPERS_MM = {"a4": (297.0, 210.0), "letter": (279.4, 215.9)}  # ISO 216; ANSI/ASME Y14.1 size A; both lying
FONTS = {False: "Vera", True: "VeraBd"}  # come with reportlab, may be embedded and are: printers substitute others
CAPITAL_EM = 0.729  # height of Vera's capitals and digits

STRIPS_PER_SHEET = 4
WIDEST_MM = SECTION_MM + 2 * ZERO_MM
TITLE_MIDDLE_MM, FIRST_STRIP_MM, STEP_MM = 12.0, 21.0, HEIGHT_MM + 8.5
BAR_MM, BAR_BELOW_MM, HOW_TO_BELOW_MM, LINE_MM = 100.0, 9.0, 16.0, 4.9
CUT_LINE_MM, CUT_MARK_MM = 0.1, 3.0

HOW_TO = """\
1  Print on matt white paper at 100 % (not “fit to page”): the bar above must be 100 mm long. Cut along the thin lines.
2  Lay the board face up, its grain from left to right: TOP along its top edge, BOTTOM along its bottom edge, \
rule against the wood, parts end to end.
3  Put both zero arrows at the board’s left end. Raise the strips to the height of the board’s face on scraps of the \
same stock, and keep them flat.
4  Keep fingers, tape and shadows off the markers and the white fields. Lay the gray card beside the board. \
Photograph from straight above, all in frame."""


@dataclass(frozen=True, slots=True)
class Sheet:
    """One page: strips from the top down."""

    sections: tuple[Section, ...]


def sheets(length_mm: float) -> tuple[Sheet, ...]:
    """Which sections share a page: top and bottom of one part always do."""
    pairs = zip(sections(Side.TOP, length_mm), sections(Side.BOTTOM, length_mm), strict=True)
    ordered = [section for pair in pairs for section in pair]
    return tuple(
        Sheet(tuple(ordered[first : first + STRIPS_PER_SHEET])) for first in range(0, len(ordered), STRIPS_PER_SHEET)
    )


def strips_pdf(length_mm: float, paper: str) -> bytes:
    """The strips for a board as a PDF.

    Parameters
    ----------
    length_mm : float
        Length of the board.
    paper : str
        A key of `PAPERS_MM`.

    Returns
    -------
    bytes
        The same for the same board: no time of day is stamped in.

    Raises
    ------
    ValueError
        If no strips are made for such a board.
    """
    width, height = PAPERS_MM[paper]
    all_sheets = sheets(length_mm)
    count = len(sections(Side.TOP, length_mm))
    content = io.BytesIO()
    _load_fonts()
    canvas = Canvas(content, pagesize=(width / POINT_MM, height / POINT_MM), pageCompression=1, invariant=1)
    canvas.setTitle(f"Edge strips for a board of {length_mm:g} mm")
    canvas.setCreator("Evenboard")
    canvas.setViewerPreference("PrintScaling", "None")  # print dialogues then start at 100 %
    for number, sheet in enumerate(all_sheets, start=1):
        page = _Page(canvas, width, height)
        page.title(f"Edge strips for a board of {length_mm:g} mm", f"sheet {number} of {len(all_sheets)}")
        for place, section in enumerate(sheet.sections):
            page.strip(section, count, FIRST_STRIP_MM + place * STEP_MM)
        page.foot(FIRST_STRIP_MM + (len(sheet.sections) - 1) * STEP_MM + HEIGHT_MM)
        canvas.showPage()
    canvas.save()
    return content.getvalue()


def font_file(*, bold: bool) -> Path:
    """The font in which the words are set."""
    return Path(reportlab.__file__).parent / "fonts" / f"{FONTS[bold]}.ttf"


@cache
def _load_fonts() -> None:
    for bold, name in FONTS.items():
        pdfmetrics.registerFont(TTFont(name, str(font_file(bold=bold))))


@dataclass(frozen=True, slots=True)
class _Page:
    """One page in millimetres: x from its left, y from its top."""

    canvas: Canvas
    width: float
    height: float

    def title(self, words: str, number: str) -> None:
        left, right = self._margins()
        self._draw(Text(left, TITLE_MIDDLE_MM, words, 4.4, "left", bold=True), (0, 0))
        self._draw(Text(right, TITLE_MIDDLE_MM, number, 3.0, "right"), (0, 0))

    def strip(self, section: Section, count: int, top: float) -> None:
        """Draw a section with its upper cut edge at `top`."""
        cut = outline_mm(section)
        left, _ = self._margins()
        origin = left - cut.left, top - cut.top
        for shape in artwork(section, count):
            self._draw(shape, origin)
        self._cut_lines(Box(left, top, left + cut.right - cut.left, top + HEIGHT_MM))

    def foot(self, below: float) -> None:
        """Draw the check bar and how to lay the strips."""
        left, _ = self._margins()
        y = below + BAR_BELOW_MM
        self._draw(Box(left, y - 0.15, left + BAR_MM, y + 0.15), (0, 0))
        for end in (left, left + BAR_MM):  # the outer sides of the end strokes are 100 mm apart
            inner = 0.3 if end == left else -0.3
            self._draw(Box(min(end, end + inner), y - 2.0, max(end, end + inner), y + 2.0), (0, 0))
        self._draw(Text(left + BAR_MM + 3, y, "100 mm from end to end", 2.9, "left"), (0, 0))
        for line, words in enumerate(HOW_TO.splitlines()):
            self._draw(Text(left, below + HOW_TO_BELOW_MM + line * LINE_MM, words, 2.75, "left"), (0, 0))

    def _margins(self) -> tuple[float, float]:
        return (self.width - WIDEST_MM) / 2, (self.width + WIDEST_MM) / 2

    def _cut_lines(self, cut: Box) -> None:
        """Hairlines along the cuts, running on beyond the corners, where a straightedge is laid."""
        self.canvas.setLineWidth(CUT_LINE_MM / POINT_MM)
        for x in (cut.left, cut.right):
            self.canvas.line(*self._at((x, cut.top - CUT_MARK_MM)), *self._at((x, cut.bottom + CUT_MARK_MM)))
        for y in (cut.top, cut.bottom):
            self.canvas.line(*self._at((cut.left - CUT_MARK_MM, y)), *self._at((cut.right + CUT_MARK_MM, y)))

    def _draw(self, shape: Shape, origin: Point) -> None:
        match shape:
            case Box(left, top, right, bottom):
                self._fill([[(left, top), (right, top), (right, bottom), (left, bottom)]], origin)
            case Triangle(corners):
                self._fill([corners], origin)
            case Marker(left, top, side_mm, is_black):
                module = side_mm / len(is_black)
                loops = outlines(is_black)
                self._fill([[(left + x * module, top + y * module) for x, y in loop] for loop in loops], origin)
            case Text():
                self._write(shape, origin)

    def _fill(self, loops: Iterable[Sequence[Point]], origin: Point) -> None:
        path = self.canvas.beginPath()
        for loop in loops:
            first, *others = [self._at((origin[0] + x, origin[1] + y)) for x, y in loop]
            path.moveTo(*first)
            for point in others:
                path.lineTo(*point)
            path.close()
        self.canvas.drawPath(path, stroke=0, fill=1, fillMode=0)  # even-odd: loops inside loops are holes

    def _write(self, text: Text, origin: Point) -> None:
        self.canvas.setFont(FONTS[text.bold], text.em_mm / POINT_MM)
        at = self._at((origin[0] + text.x, origin[1] + text.middle_y + text.em_mm * CAPITAL_EM / 2))
        draw = {
            "left": self.canvas.drawString,
            "middle": self.canvas.drawCentredString,
            "right": self.canvas.drawRightString,
        }
        draw[text.align](*at, text.words)

    def _at(self, point: Point) -> Point:
        """Points of the PDF, counted from the bottom."""
        return point[0] / POINT_MM, (self.height - point[1]) / POINT_MM


def outlines(is_black: NDArray[np.bool_]) -> list[list[tuple[int, int]]]:
    """Closed outlines (x, y) of the black modules, to be filled by the even-odd rule.

    Squares laid side by side would show white seams wherever a printer or a screen smooths their edges.
    """
    padded = np.pad(is_black, 1)
    onwards: dict[tuple[int, int], list[tuple[int, int]]] = {}
    # black lies to the right of every step
    for y, x in np.argwhere(is_black).tolist():
        neighbours = padded[y, x + 1], padded[y + 1, x + 2], padded[y + 2, x + 1], padded[y + 1, x]
        corners = [(x, y), (x + 1, y), (x + 1, y + 1), (x, y + 1)]
        for side, neighbour in enumerate(neighbours):
            if not neighbour:
                onwards.setdefault(corners[side], []).append(corners[(side + 1) % 4])
    loops = []
    while onwards:
        start = next(iter(onwards))
        loop = [start]
        while True:
            ends = onwards[loop[-1]]
            end = ends.pop()
            if not ends:
                del onwards[loop[-1]]
            if end == start:
                break
            loop.append(end)
        loops.append(loop)
    return loops
