"""How are the marks of verdicts drawn on paper?  The shapes of templates/shapes.svg, and paths of its pictures."""

import re
from collections.abc import Callable, Iterator
from typing import Final

from reportlab.lib.colors import Color
from reportlab.pdfgen.canvas import Canvas
from reportlab.pdfgen.pathobject import PDFPathObject

from analyzer.paper.blocks import Drawing, words_at
from analyzer.paper.fonts import SANS_BOLD, printable, width_pt
from analyzer.paper.styles import BAD, GOOD, MM, OPEN, SOFT, WHITE
from analyzer.report.marks import Mark, Shape, Tone

TONES: Final[dict[Tone, Color]] = {"good": GOOD, "bad": BAD, "open": OPEN, "plain": SOFT}
UNITS: Final = 16.0  # the shapes' own width and height
STEP: Final = re.compile(r"([MLHVZ])([^MLHVZ]*)")


def draw_mark(canvas: Canvas, mark: Mark, x: float, y: float, size: float, strength: float = 1.0) -> None:
    """Draw a mark's shape with its middle at (x, y), in the units of a `Drawing` (y runs down).

    `strength` below 1 mixes its colour with white.
    """
    canvas.saveState()
    canvas.translate(x - size / 2, y - size / 2)
    canvas.scale(size / UNITS, size / UNITS)
    colour = paled(TONES[mark.tone], strength)
    canvas.setFillColor(colour)
    canvas.setStrokeColor(colour)
    canvas.setLineWidth(1.6)
    _SHAPES[mark.shape](canvas, colour)
    canvas.restoreState()


def paled(colour: Color, strength: float) -> Color:
    """The colour, mixed with white; 1 leaves it as it is."""
    return Color(*(1 - strength * (1 - part) for part in (colour.red, colour.green, colour.blue)))


def mark_block(mark: Mark, size_pt: float = 8.5) -> Drawing:
    """A mark's shape and its word, for a cell of a table."""
    shape_mm = 3.4
    wide = shape_mm + 1.2 + width_pt(printable(mark.word), SANS_BOLD, size_pt) / MM

    def draw(canvas: Canvas) -> None:
        draw_mark(canvas, mark, shape_mm / 2, 2.0, shape_mm)
        canvas.setFillColor(TONES[mark.tone])
        words_at(canvas, mark.word, shape_mm + 1.2, 3.1, font=SANS_BOLD, size_pt=size_pt)

    return Drawing(wide, 4.2, draw)


def path_of(canvas: Canvas, d: str) -> PDFPathObject:
    """A path of the page's pictures: absolute moves and lines, horizontals, verticals and closings."""
    path = canvas.beginPath()
    x = y = 0.0
    for command, numbers in _steps(d):
        if command == "Z":
            path.close()
        elif command == "H":
            x = numbers[0]
            path.lineTo(x, y)
        elif command == "V":
            y = numbers[0]
            path.lineTo(x, y)
        else:
            x, y = numbers
            (path.moveTo if command == "M" else path.lineTo)(x, y)
    return path


def _steps(d: str) -> Iterator[tuple[str, list[float]]]:
    for command, numbers in STEP.findall(d):
        yield command, [float(number) for number in numbers.split()]


def _disc(canvas: Canvas, _: Color) -> None:
    canvas.circle(8, 8, 7.5, stroke=0, fill=1)
    _strokes(canvas, "M4.4 8.4L6.8 10.9L11.6 5.4", WHITE, 1.9)


def _square(canvas: Canvas, _: Color) -> None:
    canvas.rect(1, 1, 14, 14, stroke=0, fill=1)
    _strokes(canvas, "M4.8 4.8L11.2 11.2M11.2 4.8L4.8 11.2", WHITE, 1.9)


def _diamond(canvas: Canvas, colour: Color) -> None:
    canvas.setFillColor(WHITE)
    canvas.drawPath(path_of(canvas, "M8 0.9L15.1 8L8 15.1L0.9 8Z"), stroke=1, fill=1)
    canvas.setLineWidth(1.4)
    hook = canvas.beginPath()
    hook.moveTo(6.1, 6.6)
    hook.curveTo(6.1, 4.1, 10, 4.2, 10, 6.5)
    hook.curveTo(10, 8, 8, 8, 8, 9.5)
    canvas.drawPath(hook, stroke=1, fill=0)
    canvas.setFillColor(colour)
    canvas.circle(8, 11.4, 0.95, stroke=0, fill=1)


def _ring(canvas: Canvas, _: Color) -> None:
    canvas.setFillColor(WHITE)
    canvas.circle(8, 8, 6.6, stroke=1, fill=1)
    canvas.line(5, 8, 11, 8)


def _triangle(canvas: Canvas, colour: Color) -> None:
    canvas.setFillColor(WHITE)
    canvas.drawPath(path_of(canvas, "M8 1.4L15.2 14.4L0.8 14.4Z"), stroke=1, fill=1)
    canvas.line(8, 6, 8, 10)
    canvas.setFillColor(colour)
    canvas.circle(8, 12.2, 0.95, stroke=0, fill=1)


def _strokes(canvas: Canvas, d: str, colour: Color, width: float) -> None:
    canvas.setStrokeColor(colour)
    canvas.setLineWidth(width)
    canvas.drawPath(path_of(canvas, d), stroke=1, fill=0)


_SHAPES: Final[dict[Shape, Callable[[Canvas, Color], None]]] = {
    "disc": _disc,
    "square": _square,
    "diamond": _diamond,
    "ring": _ring,
    "triangle": _triangle,
}
