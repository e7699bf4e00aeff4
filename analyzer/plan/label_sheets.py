"""How do labels get onto sheets?  Edge to edge in a grid, with lines to cut along, on A4 or Letter at exact size."""

import itertools
from collections.abc import Sequence
from functools import partial
from typing import Final

from reportlab.pdfgen.canvas import Canvas

from analyzer.paper.blocks import Drawing, words_at
from analyzer.paper.document import MARGIN_MM, PaperName, content_height_pt, content_width_pt, make_pdf
from analyzer.paper.fonts import SANS
from analyzer.paper.styles import MM
from analyzer.plan.labels import Kind, Label
from analyzer.plan.shapes import SOFT, Line, draw

ROOM_MM: Final = (174.0, 240.0)  # of the grid: within the margins of A4 and of Letter
HEAD_MM: Final = 4.2  # of the line of words above it
MARK_MM: Final = 4.0  # by which a line to cut along goes on beyond the grid
WORDS: Final[dict[Kind, str]] = {
    "board": "For the backs of the boards",
    "zone": "For the backs of the boards, behind each zone",
    "step panel": "For step panels: below each step, taped off in turn",
}


def label_sheets(labels: Sequence[Label]) -> list[list[Label]]:
    """Share labels out over sheets, each sheet of one kind, in their order."""
    sheets: list[list[Label]] = []
    for _, alike in itertools.groupby(labels, key=lambda label: label.kind):
        of_kind = list(alike)
        columns, rows = grid(of_kind[0])
        sheets += [of_kind[k : k + columns * rows] for k in range(0, len(of_kind), columns * rows)]
    return sheets


def grid(label: Label) -> tuple[int, int]:
    """How many labels of this size stand beside and below one another."""
    width, height = label.size_mm
    return int(ROOM_MM[0] // width), int(ROOM_MM[1] // height)


def place(label: Label, number: int) -> tuple[float, float]:
    """Where the label of a number, from 0, has its upper left corner on its sheet's grid, mm."""
    columns, _ = grid(label)
    row, column = divmod(number, columns)
    return column * label.size_mm[0], HEAD_MM + row * label.size_mm[1]


def labels_pdf(labels: Sequence[Label], *, paper: PaperName, job: str, inches: bool) -> bytes:
    """Sheets of labels.

    Parameters
    ----------
    labels : sequence of Label
    paper : {"a4", "letter"}
    job : str
        Named at the foot of each sheet.
    inches : bool
        Say the size of the labels in inches too.

    Returns
    -------
    bytes
        A PDF, the same for the same labels.
    """
    width_mm = content_width_pt(paper) / MM
    left = (width_mm - ROOM_MM[0]) / 2
    height_mm = min(HEAD_MM + ROOM_MM[1], content_height_pt(paper) / MM - 0.05)
    story = [
        Drawing(width_mm, height_mm, partial(_sheet, sheet=sheet, left=left, inches=inches))
        for sheet in label_sheets(labels)
    ]
    return make_pdf(story, paper=paper, title=f"Labels: {job}")


def _sheet(canvas: Canvas, sheet: Sequence[Label], left: float, *, inches: bool) -> None:
    """One sheet: a line of words, the labels, the lines to cut along."""
    width, height = sheet[0].size_mm
    size = f"{width:g} × {height:g} mm"
    if inches:
        size += f" ({width / 25.4:.2f} × {height / 25.4:.2f} in)"
    words = f"{WORDS[sheet[0].kind]}. {size}: print at 100 %, cut along the lines."
    words_at(canvas, words, left, HEAD_MM - 1.6, font=SANS, size_pt=7.5)
    for number, label in enumerate(sheet):
        x, y = place(label, number)
        canvas.saveState()
        canvas.translate(left + x, y)
        draw(label.shapes, canvas)
        canvas.restoreState()
    canvas.saveState()
    canvas.translate(left, 0)
    draw(cut_lines(sheet), canvas)
    canvas.restoreState()


def cut_lines(sheet: Sequence[Label]) -> list[Line]:
    """Lines between and around the labels, running on beyond the grid, where a straightedge is laid."""
    width, height = sheet[0].size_mm
    columns, _ = grid(sheet[0])
    rows = -(-len(sheet) // columns)
    columns = min(columns, len(sheet))
    right, bottom = columns * width, HEAD_MM + rows * height
    mark = min(MARK_MM, MARGIN_MM / 2)
    across = [HEAD_MM + k * height for k in range(rows + 1)]
    down = [k * width for k in range(columns + 1)]
    return [
        *(Line(-mark, y, right + mark, y, 0.1, SOFT) for y in across),
        *(Line(x, HEAD_MM - 1.0, x, bottom + 2.0, 0.1, SOFT) for x in down),
    ]
