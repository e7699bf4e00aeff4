"""What is a drawing made of, and how does it get onto a page of paper or of the browser?

The same shapes serve both. Lengths are in millimetres of the drawing: x to the right, y down from its upper left
corner.
"""

from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from typing import Final, Literal
from xml.sax.saxutils import escape

from reportlab.lib.colors import HexColor
from reportlab.pdfgen.canvas import Canvas

from analyzer.paper.blocks import words_at
from analyzer.paper.fonts import SANS, SANS_BOLD
from analyzer.plan.fitting import ASCENT, LINE_HEIGHT, MM_PER_POINT, SetText

INK: Final = "#1e1e1c"
SOFT: Final = "#595957"
FAINT: Final = "#f2f2f0"
GRAIN: Final = "#d9d9d6"
HAIRLINE_MM: Final = 0.15

Align = Literal["left", "middle", "right"]


@dataclass(frozen=True, slots=True)
class Line:
    """A straight line."""

    x1: float
    y1: float
    x2: float
    y2: float
    weight_mm: float = 0.25
    colour: str = INK
    is_dashed: bool = False


@dataclass(frozen=True, slots=True)
class Box:
    """A rectangle with its sides along the axes; "" for no fill or no outline."""

    x: float
    y: float
    width: float
    height: float
    fill: str = ""
    stroke: str = INK
    weight_mm: float = 0.25
    is_dashed: bool = False


@dataclass(frozen=True, slots=True)
class Words:
    """One line of words, their baseline at y."""

    x: float
    y: float
    text: str
    size_pt: float
    align: Align = "left"
    is_bold: bool = False
    colour: str = INK


@dataclass(frozen=True, slots=True)
class Outline:
    """Loops filled black by the even-odd rule: a QR code without seams between its modules."""

    loops: tuple[tuple[tuple[float, float], ...], ...]


Shape = Line | Box | Words | Outline


def lines_of(text: SetText, x: float, top: float, align: Align = "left", colour: str = INK) -> list[Words]:
    """Set fitted lines below each other from `top` down."""
    step = text.size_pt * LINE_HEIGHT * MM_PER_POINT
    first = top + text.size_pt * (ASCENT + (LINE_HEIGHT - 1) / 2) * MM_PER_POINT
    return [
        Words(x, first + k * step, line, text.size_pt, align, text.is_bold, colour) for k, line in enumerate(text.lines)
    ]


def draw(shapes: Iterable[Shape], canvas: Canvas) -> None:
    """Draw on the canvas of a `paper.blocks.Drawing`."""
    for shape in shapes:
        match shape:
            case Line():
                _pen(canvas, shape.colour, shape.weight_mm, is_dashed=shape.is_dashed)
                canvas.line(shape.x1, shape.y1, shape.x2, shape.y2)
            case Box():
                _pen(canvas, shape.stroke or INK, shape.weight_mm, is_dashed=shape.is_dashed)
                canvas.setFillColor(HexColor(shape.fill or INK))
                canvas.rect(
                    shape.x,
                    shape.y,
                    shape.width,
                    shape.height,
                    stroke=int(bool(shape.stroke)),
                    fill=int(bool(shape.fill)),
                )
            case Words():
                canvas.setFillColor(HexColor(shape.colour))
                font = SANS_BOLD if shape.is_bold else SANS
                words_at(canvas, shape.text, shape.x, shape.y, font=font, size_pt=shape.size_pt, align=shape.align)
            case Outline():
                _fill(canvas, shape.loops)


def svg(shapes: Iterable[Shape], width: float, height: float, about: str) -> str:
    """The drawing as an SVG element, as wide as its place on the page.

    Parameters
    ----------
    shapes : iterable of Shape
    width, height : float
        Of the drawing, mm.
    about : str
        What it shows, for those who cannot see it.
    """
    inside = "\n".join(_element(shape) for shape in shapes)
    return (
        f'<svg class="drawing" viewBox="0 0 {width:.2f} {height:.2f}" role="img" aria-label="{_attribute(about)}">\n'
        f"{inside}\n</svg>"
    )


def _pen(canvas: Canvas, colour: str, weight_mm: float, *, is_dashed: bool) -> None:
    canvas.setStrokeColor(HexColor(colour))
    canvas.setLineWidth(weight_mm)
    canvas.setDash([1.2, 0.9] if is_dashed else [])


def _fill(canvas: Canvas, loops: Sequence[Sequence[tuple[float, float]]]) -> None:
    canvas.setFillColor(HexColor("#000000"))
    path = canvas.beginPath()
    for (x, y), *others in loops:
        path.moveTo(x, y)
        for corner in others:
            path.lineTo(*corner)
        path.close()
    canvas.drawPath(path, stroke=0, fill=1, fillMode=0)  # even-odd: loops inside loops are holes


def _element(shape: Shape) -> str:
    match shape:
        case Line():
            return (
                f'<line x1="{shape.x1:.2f}" y1="{shape.y1:.2f}" x2="{shape.x2:.2f}" y2="{shape.y2:.2f}" '
                f'stroke="{shape.colour}" stroke-width="{shape.weight_mm}"{_dash(is_dashed=shape.is_dashed)}/>'
            )
        case Box():
            return (
                f'<rect x="{shape.x:.2f}" y="{shape.y:.2f}" width="{shape.width:.2f}" height="{shape.height:.2f}" '
                f'fill="{shape.fill or "none"}" stroke="{shape.stroke or "none"}" '
                f'stroke-width="{shape.weight_mm}"{_dash(is_dashed=shape.is_dashed)}/>'
            )
        case Words():
            anchor = {"left": "start", "middle": "middle", "right": "end"}[shape.align]
            weight = ' font-weight="700"' if shape.is_bold else ""
            return (
                f'<text x="{shape.x:.2f}" y="{shape.y:.2f}" font-size="{shape.size_pt * MM_PER_POINT:.2f}" '
                f'text-anchor="{anchor}" fill="{shape.colour}"{weight}>{escape(shape.text)}</text>'
            )
        case Outline():
            path = "".join("M" + "L".join(f"{x:.3f} {y:.3f}" for x, y in loop) + "Z" for loop in shape.loops)
            return f'<path d="{path}" fill="#000" fill-rule="evenodd"/>'


def _dash(*, is_dashed: bool) -> str:
    return ' stroke-dasharray="1.2 0.9"' if is_dashed else ""


def _attribute(text: str) -> str:
    return escape(text, {'"': "&quot;"})
