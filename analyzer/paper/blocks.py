"""The blocks that printed pages are made of: text, tables, swatches, pictures, cautions, rows to tick, drawings.

All words pass `printable` here, and none is read as markup. Lengths are in millimetres; a block that is wider than the
page is the caller's mistake, a long word or a tall cell is not: it is broken.
"""

from collections.abc import Callable, Sequence
from typing import Any, Final, Literal
from xml.sax.saxutils import escape

import numpy as np
from numpy.typing import ArrayLike
from reportlab.lib.colors import Color, HexColor
from reportlab.lib.enums import TA_RIGHT
from reportlab.lib.styles import ParagraphStyle
from reportlab.pdfgen.canvas import Canvas
from reportlab.platypus import CondPageBreak, Flowable, KeepTogether, Paragraph, Spacer, Table
from reportlab.platypus.flowables import HRFlowable

from analyzer.paper.fonts import SANS, load_fonts, printable, width_pt
from analyzer.paper.images import draw_image, image
from analyzer.paper.styles import (
    CELL,
    CELL_BOLD,
    CELL_HEAD,
    CELL_HEAD_RIGHT,
    CELL_RIGHT,
    INK,
    LINE,
    MAT,
    MM,
    SMALL,
    STRONG,
    TEXT,
)
from calibration.colorspace import Lab_to_sRGB_codes

Align = Literal["left", "right", "bold"]  # bold: a row's name, left
Cell = str | Flowable | Sequence[Flowable]
Column = tuple[str, float, Align]  # heading, width in mm, how its cells stand

CELL_STYLES: Final[dict[Align, tuple[ParagraphStyle, ParagraphStyle]]] = {
    "left": (CELL_HEAD, CELL),
    "right": (CELL_HEAD_RIGHT, CELL_RIGHT),
    "bold": (CELL_HEAD, CELL_BOLD),
}
PADDING_PT, BETWEEN_PT = 2.6, 5.0  # of cells: above and below; to the right
CHIP: Final = "\u25a0"
CELL_FONT: Final = ("FONTNAME", (0, 0), (-1, -1), SANS)  # reportlab's own choice is not embedded, and named in the file


def text(words: str, style: ParagraphStyle = TEXT) -> Paragraph:
    """A paragraph; what looks like markup is printed as it stands."""
    load_fonts()
    return Paragraph(escape(printable(words)), style)


def chip_text(colours: Sequence[str], words: str, style: ParagraphStyle = CELL) -> Paragraph:
    """A paragraph that begins with a small square of each colour ("#rrggbb")."""
    load_fonts()
    chips = "".join(f'<font color="{colour}">{CHIP}</font>' for colour in colours)
    return Paragraph(f"{chips} {escape(printable(words))}" if chips else escape(printable(words)), style)


def led_text(lead: str, words: str, style: ParagraphStyle = TEXT) -> Paragraph:
    """A paragraph that begins with bold words."""
    load_fonts()
    return Paragraph(f"<b>{escape(printable(lead))}</b> {escape(printable(words))}", style)


def heading(words: str, style: ParagraphStyle, least_mm: float) -> list[Flowable]:
    """A heading over a long table: on the next page where there is less room than `least_mm` below it.

    A style that keeps with what follows would take the whole table to the next page instead.
    """
    free = ParagraphStyle(style.name, parent=style, keepWithNext=0)
    return [CondPageBreak(least_mm * MM), text(words, free)]


def bullets(lines: Sequence[str], style: ParagraphStyle = TEXT) -> list[Flowable]:
    """A list with dots."""
    hung = ParagraphStyle(f"{style.name}-dot", parent=style, leftIndent=10, bulletIndent=1)
    load_fonts()
    return [Paragraph(escape(printable(line)), hung, bulletText="•") for line in lines]


def gap(height_mm: float) -> Spacer:
    """Empty room."""
    return Spacer(1, height_mm * MM)


def rule(thickness_pt: float = 0.6, colour: Color = LINE) -> HRFlowable:
    """A line across the column."""
    return HRFlowable(width="100%", thickness=thickness_pt, color=colour, spaceBefore=3, spaceAfter=5)


def together(blocks: Sequence[Flowable]) -> KeepTogether:
    """Blocks that stay on one page, where a page holds them."""
    return KeepTogether(list(blocks))


def table(
    columns: Sequence[Column],
    rows: Sequence[Sequence[Cell]],
    *,
    styles: dict[Align, tuple[ParagraphStyle, ParagraphStyle]] | None = None,
    more: Sequence[tuple[Any, ...]] = (),
) -> Table:
    """A quiet table: a thin line below each row, its head again on every page.

    Parameters
    ----------
    columns : sequence of (heading, width in mm, alignment)
        Without any heading no head is drawn.
    rows : sequence of sequences
        Words, a block, or several blocks a cell.
    styles : dict, optional
        Styles of head and cells by alignment, for a finer print; `CELL_STYLES` unless given.
    more : sequence of tuples
        Table commands of reportlab, after ours; row 0 is the head, where there is one.
    """
    load_fonts()
    by_align = styles or CELL_STYLES
    has_head = any(heading for heading, _, _ in columns)
    head: list[list[str | Flowable | list[Flowable]]] = (
        [[text(heading, by_align[align][0]) for heading, _, align in columns]] if has_head else []
    )
    body = [
        [_cell(cell, by_align[align][1], width * MM) for cell, (_, width, align) in zip(row, columns, strict=True)]
        for row in rows
    ]
    commands: list[tuple[Any, ...]] = [
        CELL_FONT,
        ("LEFTPADDING", (0, 0), (-1, -1), 0),
        ("RIGHTPADDING", (0, 0), (-1, -1), BETWEEN_PT),
        ("RIGHTPADDING", (-1, 0), (-1, -1), 0),
        ("TOPPADDING", (0, 0), (-1, -1), PADDING_PT),
        ("BOTTOMPADDING", (0, 0), (-1, -1), PADDING_PT),
        ("VALIGN", (0, 0), (-1, -1), "TOP"),
        ("LINEBELOW", (0, 0), (-1, -1), 0.5, LINE),
        *([("VALIGN", (0, 0), (-1, 0), "BOTTOM")] if has_head else []),
        *(command for i, (_, _, align) in enumerate(columns) for command in _bare_cells(i, by_align[align][1])),
        *more,
    ]
    return _LeftTable(
        head + body,
        colWidths=[width * MM for _, width, _ in columns],
        repeatRows=1 if has_head and body else 0,
        splitInRow=1,  # a cell taller than a page would else stop the whole document
        style=commands,
        spaceAfter=4,
    )


def _bare_cells(column: int, style: ParagraphStyle) -> list[tuple[Any, ...]]:
    """Set cells without a paragraph as the paragraphs beside them are set."""
    whole = (column, 0), (column, -1)
    align = "RIGHT" if style.alignment == TA_RIGHT else "LEFT"
    return [
        ("FONT", *whole, style.fontName, style.fontSize, style.leading),
        ("TEXTCOLOR", *whole, style.textColor),
        ("ALIGN", *whole, align),
    ]


class _LeftTable(Table):
    """A table at the left margin; its parts on later pages, too, which reportlab would set in the middle."""

    def __init__(self, *args: Any, **options: Any) -> None:  # noqa: ANN401 - reportlab's own, handed through
        super().__init__(*args, **{**options, "hAlign": "LEFT"})


def _cell(cell: Cell, style: ParagraphStyle, width_pt_: float) -> str | Flowable | list[Flowable]:
    """Lay out one cell: words that fit on a line go without a paragraph, which takes ten times as long."""
    if isinstance(cell, str):
        line = printable(cell)
        fits = width_pt(line, style.fontName, style.fontSize) <= width_pt_ - BETWEEN_PT
        return line if fits else text(cell, style)
    return cell if isinstance(cell, Flowable) else list(cell)


def Lab_colour(Lab: ArrayLike) -> Color:
    """CIELAB (D50, 2 degree) as a colour of the file, sRGB. A guide for the eye: a print is no standard."""
    red, green, blue = (int(code) for code in Lab_to_sRGB_codes(np.asarray(Lab, dtype=np.float64)))
    return Color(red / 255, green / 255, blue / 255)


def swatch(halves: Sequence[Sequence[Color | str]], width_mm: float, height_mm: float) -> Flowable:
    """Colours side by side on middle gray, as in a viewing booth.

    Parameters
    ----------
    halves : sequence of sequences
        Side by side: one column each, its colours one below the other ("#rrggbb", or from `Lab_colour`).
    width_mm, height_mm : float
        Of the whole, the gray rim included.
    """

    def draw(canvas: Canvas) -> None:
        rim = min(1.6, 0.12 * height_mm)
        canvas.setFillColor(MAT)
        canvas.rect(0, 0, width_mm, height_mm, stroke=0, fill=1)
        wide = (width_mm - 2 * rim) / max(1, len(halves))
        for i, colours in enumerate(halves):
            tall = (height_mm - 2 * rim) / max(1, len(colours))
            for k, colour in enumerate(colours):
                canvas.setFillColor(HexColor(colour) if isinstance(colour, str) else colour)
                canvas.rect(rim + i * wide, rim + k * tall, wide, tall, stroke=0, fill=1)

    return Drawing(width_mm, height_mm, draw)


class Drawing(Flowable):
    """A vector drawing in millimetres: x to the right, y down from its upper left corner.

    `draw(canvas)` gets a canvas that is scaled so; text set on it has to be turned upright: use `words_at`.
    """

    def __init__(self, width_mm: float, height_mm: float, draw: Callable[[Canvas], None]) -> None:
        super().__init__()
        self.width, self.height = width_mm * MM, height_mm * MM
        self._draw = draw

    def wrap(self, *_: float) -> tuple[float, float]:
        """Say its size, which no room changes."""
        return self.width, self.height

    def draw(self) -> None:
        """Draw it where the page has room for it."""
        canvas = self.canv
        canvas.saveState()
        canvas.translate(0, self.height)
        canvas.scale(MM, -MM)
        canvas.setLineWidth(0.2)
        canvas.setStrokeColor(INK)
        canvas.setFillColor(INK)
        self._draw(canvas)
        canvas.restoreState()


def words_at(
    canvas: Canvas,
    words: str,
    x_mm: float,
    y_mm: float,
    *,
    font: str,
    size_pt: float,
    align: Literal["left", "middle", "right"] = "left",
) -> None:
    """Set a line of words on a `Drawing`, their baseline at (x, y)."""
    canvas.saveState()
    canvas.translate(x_mm, y_mm)
    canvas.scale(1 / MM, -1 / MM)
    canvas.setFont(font, size_pt)
    line = printable(words)
    if align == "left":
        canvas.drawString(0, 0, line)
    elif align == "right":
        canvas.drawRightString(0, 0, line)
    else:
        canvas.drawCentredString(0, 0, line)
    canvas.restoreState()


class Picture(Flowable):
    """A JPEG or PNG picture at a width, byte for byte as it was: no sharpness is lost (see `images.py`)."""

    def __init__(self, data: bytes, width_mm: float) -> None:
        super().__init__()
        self._image = image(data)
        self.width = width_mm * MM
        self.height = self.width * self._image.height_px / self._image.width_px

    def wrap(self, *_: float) -> tuple[float, float]:
        """Say its size, which no room changes."""
        return self.width, self.height

    def draw(self) -> None:
        """Draw it where the page has room for it."""
        draw_image(self.canv, self._image, (0, 0, self.width, self.height))


def caution(title: str, words: str, source: str = "") -> Flowable:
    """Say what can hurt, in a box with a triangle, and who says so.

    Parameters
    ----------
    title, words : str
    source : str
        In small print below; "" leaves it out.
    """
    inside: list[Flowable] = [text(title, STRONG), text(words)]
    if source:
        inside.append(text(source, SMALL))
    box = Table(
        [[Drawing(4.2, 4.2, _triangle), inside]],
        colWidths=[8 * MM, None],
        splitInRow=1,
        spaceBefore=3,
        spaceAfter=5,
        style=[
            CELL_FONT,
            ("BOX", (0, 0), (-1, -1), 0.8, INK),
            ("VALIGN", (0, 0), (-1, -1), "TOP"),
            ("LEFTPADDING", (0, 0), (0, 0), 6),
            ("LEFTPADDING", (1, 0), (1, 0), 0),
            ("RIGHTPADDING", (0, 0), (-1, -1), 6),
            ("TOPPADDING", (0, 0), (-1, -1), 5),
            ("BOTTOMPADDING", (0, 0), (-1, -1), 3),
        ],
    )
    return KeepTogether([box])


def checklist(rows: Sequence[tuple[str, str, str]], width_mm: float, when_mm: float = 34.0) -> Table:
    """Rows to tick: an empty box, when, what to do, and small words below it.

    Parameters
    ----------
    rows : sequence of (when, what, detail)
        `detail` may be "".
    width_mm : float
        Of the whole.
    when_mm : float
        Of the column of times; 0 leaves it out.
    """
    lines: list[list[Cell]] = []
    for when, what, detail in rows:
        said = [text(what, CELL_BOLD), *([text(detail, CELL)] if detail else [])]
        lines.append([[Drawing(3.2, 3.2, _box)], *([when] if when_mm else []), said])
    times: list[Column] = [("", when_mm, "left")] if when_mm else []
    return table([("", 6.0, "left"), *times, ("", width_mm - 6.0 - when_mm, "left")], lines)


def _box(canvas: Canvas) -> None:
    canvas.setLineWidth(0.3)
    canvas.rect(0.15, 0.15, 2.9, 2.9, stroke=1, fill=0)


def _triangle(canvas: Canvas) -> None:
    canvas.setLineWidth(0.4)
    path = canvas.beginPath()
    path.moveTo(2.1, 0.4)
    path.lineTo(4.0, 3.9)
    path.lineTo(0.2, 3.9)
    path.close()
    canvas.drawPath(path, stroke=1, fill=0)
    canvas.line(2.1, 1.6, 2.1, 2.7)
    canvas.circle(2.1, 3.3, 0.22, stroke=0, fill=1)
