"""How are values with their intervals, and colours as seen from the target, drawn on paper?

As vectors, from the same places as on the page (`charts.py`, `colour_plots.py`): they stay sharp at any size, and no
library has to turn one kind of drawing into another.
"""

from typing import Final

from reportlab.lib.colors import HexColor
from reportlab.pdfgen.canvas import Canvas
from reportlab.platypus import Flowable

from analyzer.paper.blocks import Drawing, text, words_at
from analyzer.paper.fonts import SANS, SANS_BOLD, fitted, printable, width_pt
from analyzer.paper.styles import CELL, INK, LINE, MM, SOFT, WHITE
from analyzer.report.charts import Chart, ChartRow
from analyzer.report.colour_plots import ColourPlot, KeyRow, Spot
from analyzer.report.printed.shapes import TONES, draw_mark, mark_block, paled, path_of

NAME_PT, AXIS_PT, TITLE_PT = 7.6, 6.8, 8.2
TITLE_MM, LIMIT_MM, ROW_MM, NAME_MM, AXIS_MM = 5.0, 4.2, 9.2, 4.2, 5.0
END_MM: Final = 2.5  # room to the right of the axis for half a mark
HATCH_MM: Final = 1.6
HATCH: Final = HexColor("#dcdcd9")
OUT: Final = HexColor("#e9e9e6")
NET: Final = HexColor("#d9d9d6")
FRAME, MARGIN = 340.0, 25.0  # of a colour picture, in the units of the page's drawing
PALE, PALE_NUMBER = 0.4, 0.6  # how strong a mark is that lies inside the ring in this picture only


def chart_drawing(chart: Chart, width_mm: float) -> Drawing:
    """Values of one kind on one axis.

    Parameters
    ----------
    chart : Chart
        Places in per cent of the axis.
    width_mm : float
    """
    limit_mm = LIMIT_MM if chart.limit_at else 0.0
    height = TITLE_MM + limit_mm + ROW_MM * len(chart.rows) + AXIS_MM
    axis_mm = width_mm - END_MM

    def draw(canvas: Canvas) -> None:
        canvas.setFillColor(INK)
        words_at(canvas, chart.title, 0, 3.2, font=SANS_BOLD, size_pt=TITLE_PT)
        after = width_pt(printable(chart.title), SANS_BOLD, TITLE_PT) / MM + 1.5
        canvas.setFillColor(SOFT)
        words_at(canvas, f"({chart.unit})", after, 3.2, font=SANS, size_pt=NAME_PT)
        limit = None if chart.limit_at is None else float(chart.limit_at) / 100 * axis_mm
        if limit is not None:
            canvas.setFillColor(INK)
            _middle_words(canvas, f"limit {chart.limit}", limit, TITLE_MM + 3.0, axis_mm)
        for i, row in enumerate(chart.rows):
            _row(canvas, row, TITLE_MM + limit_mm + i * ROW_MM, axis_mm, limit, named=chart.several)
        canvas.setFillColor(SOFT)
        for at, label in chart.ticks:
            x = float(at) / 100 * axis_mm
            words_at(canvas, label, x, height - 1.6, font=SANS, size_pt=AXIS_PT, align="middle" if x else "left")

    return Drawing(width_mm, height, draw)


def _middle_words(canvas: Canvas, words: str, x: float, y: float, width_mm: float) -> None:
    half = width_pt(printable(words), SANS_BOLD, AXIS_PT) / MM / 2
    held = min(max(x, half), width_mm - half)
    words_at(canvas, words, held, y, font=SANS_BOLD, size_pt=AXIS_PT, align="middle")


def _row(canvas: Canvas, row: ChartRow, top: float, axis_mm: float, limit: float | None, *, named: bool) -> None:
    name = f"{row.name}, {row.detail}" if row.detail and named else row.name
    value_mm = width_pt(printable(row.text), SANS, NAME_PT) / MM
    canvas.setFillColor(INK)
    line = fitted(printable(name), SANS, NAME_PT, (axis_mm - value_mm - 3) * MM)
    words_at(canvas, line, 0, top + 3.3, font=SANS, size_pt=NAME_PT)
    canvas.setFillColor(SOFT)
    words_at(canvas, row.text, axis_mm, top + 3.3, font=SANS, size_pt=NAME_PT, align="right")
    above, below = top + NAME_MM, top + ROW_MM
    if limit is not None:
        _hatched(canvas, limit, above, axis_mm - limit, below - above)
        canvas.setStrokeColor(INK)
        canvas.setLineWidth(0.35)
        canvas.setDash(1.2, 0.8)
        canvas.line(limit, above, limit, below)
        canvas.setDash()
    canvas.setStrokeColor(LINE)
    canvas.setLineWidth(0.18)
    canvas.line(0, below, axis_mm, below)
    _interval(canvas, row, (above + below) / 2, axis_mm)


def _interval(canvas: Canvas, row: ChartRow, y: float, axis_mm: float) -> None:
    if row.at is None:
        return
    canvas.setStrokeColor(INK)
    canvas.setLineWidth(0.5)
    if row.low is None or row.width is None:
        canvas.setStrokeColor(SOFT)
        canvas.setDash(0.4, 0.8)
        canvas.line(0, y, axis_mm, y)
        canvas.setDash()
    else:
        left = float(row.low) / 100 * axis_mm
        right = left + float(row.width) / 100 * axis_mm
        canvas.line(left, y, right, y)
        canvas.setLineWidth(0.35)
        for end in (left, right):
            canvas.line(end, y - 1.1, end, y + 1.1)
    draw_mark(canvas, row.mark, float(row.at) / 100 * axis_mm, y, 3.4)


def _hatched(canvas: Canvas, x: float, y: float, width: float, height: float) -> None:
    if width <= 0:
        return
    canvas.saveState()
    clip = canvas.beginPath()
    clip.rect(x, y, width, height)
    canvas.clipPath(clip, stroke=0, fill=0)
    canvas.setStrokeColor(HATCH)
    canvas.setLineWidth(0.18)
    lines = canvas.beginPath()
    for k in range(int((width + height) / HATCH_MM) + 1):
        lines.moveTo(x + k * HATCH_MM, y)
        lines.lineTo(x + k * HATCH_MM - height, y + height)
    canvas.drawPath(lines, stroke=1, fill=0)
    canvas.restoreState()


def plot_drawing(plot: ColourPlot, width_mm: float) -> Drawing:
    """One picture of CIELAB as seen from the target, with its title above."""
    title_mm = 4.6

    def draw(canvas: Canvas) -> None:
        canvas.setFillColor(INK)
        words_at(canvas, plot.title, 0, 3.0, font=SANS, size_pt=NAME_PT)
        after = width_pt(printable(plot.title), SANS, NAME_PT) / MM + 1.2
        canvas.setFillColor(SOFT)
        said = fitted(f"({plot.unit}; squares of {plot.net_step})", SANS, AXIS_PT, (width_mm - after) * MM)
        words_at(canvas, said, after, 3.0, font=SANS, size_pt=AXIS_PT)
        canvas.translate(0, title_mm)
        canvas.scale(width_mm / FRAME, width_mm / FRAME)
        _sides(canvas, plot, width_mm / FRAME)
        canvas.translate(MARGIN, MARGIN)
        _inside(canvas, plot, width_mm / FRAME)

    return Drawing(width_mm, title_mm + width_mm, draw)


def _sides(canvas: Canvas, plot: ColourPlot, mm_per_unit: float) -> None:
    far, inner, thick = FRAME - MARGIN, FRAME - 2 * MARGIN, 9.0
    for side, box in (
        (plot.top, (MARGIN, MARGIN - thick, inner, thick)),
        (plot.bottom, (MARGIN, far, inner, thick)),
        (plot.left, (MARGIN - thick, MARGIN, thick, inner)),
        (plot.right, (far, MARGIN, thick, inner)),
    ):
        canvas.setFillColor(HexColor(side.colour))
        canvas.rect(*box, stroke=0, fill=1)
    canvas.setFillColor(INK)
    middle = FRAME / 2
    for words, x, y, turned in (
        (f"↑ {plot.top.word}", middle, 12.0, 0),
        (f"↓ {plot.bottom.word}", middle, FRAME - 3, 0),
        (f"↑ {plot.left.word}", 12.0, middle, -90),
        (f"↑ {plot.right.word}", FRAME - 12.0, middle, 90),
    ):
        canvas.saveState()
        canvas.translate(x, y)
        canvas.rotate(turned)
        _words(canvas, words, 0, 0, mm_per_unit, SANS, NAME_PT)
        canvas.restoreState()


def _inside(canvas: Canvas, plot: ColourPlot, mm_per_unit: float) -> None:
    size, middle = float(plot.size), float(plot.middle)
    canvas.saveState()
    clip = canvas.beginPath()
    clip.rect(0, 0, size, size)
    canvas.clipPath(clip, stroke=0, fill=0)
    canvas.setFillColor(OUT)
    canvas.rect(0, 0, size, size, stroke=0, fill=1)
    canvas.setStrokeColor(INK)
    canvas.setLineWidth(3)
    canvas.setDash(6, 4)
    for d in plot.tolerance:
        canvas.drawPath(path_of(canvas, d), stroke=1, fill=0)
    canvas.setDash()
    canvas.setFillColor(WHITE)
    for d in plot.tolerance:
        canvas.drawPath(path_of(canvas, d), stroke=0, fill=1)
    canvas.setStrokeColor(NET)
    canvas.setLineWidth(0.7)
    canvas.drawPath(path_of(canvas, plot.net), stroke=1, fill=0)
    canvas.setStrokeColor(INK)
    canvas.setLineWidth(1.6)
    cross = f"M{middle - 9} {middle}H{middle + 9}M{middle} {middle - 9}V{middle + 9}"
    canvas.drawPath(path_of(canvas, plot.target or cross), stroke=1, fill=0)
    for spot in plot.spots:
        _zones(canvas, spot)
    for spot in plot.spots:
        _spot(canvas, spot, float(plot.mark_size))
    for spot in plot.spots:
        canvas.setFillColor(paled(INK, PALE_NUMBER if spot.is_pale else 1.0))
        x, y = (float(place) for place in spot.label)
        _words(canvas, str(spot.number), x, y + 4.5, mm_per_unit, SANS_BOLD, 7.4)
    canvas.restoreState()


def _zones(canvas: Canvas, spot: Spot) -> None:
    """Draw how sure a treatment is, and its zones on single boards."""
    colour = paled(TONES[spot.mark.tone], PALE if spot.is_pale else 1.0)
    canvas.setStrokeColor(colour)
    canvas.setFillColor(colour)
    if spot.ring:
        canvas.saveState()
        canvas.setFillAlpha(0.09)
        canvas.setLineWidth(1.3)
        canvas.drawPath(path_of(canvas, spot.ring), stroke=1, fill=1)
        canvas.restoreState()
    canvas.setLineWidth(1)
    x, y = float(spot.x), float(spot.y)
    for dot in spot.dots:
        canvas.line(x, y, float(dot.x), float(dot.y))
    for dot in spot.dots:
        canvas.circle(float(dot.x), float(dot.y), 2.4, stroke=0, fill=1)


def _spot(canvas: Canvas, spot: Spot, mark_size: float) -> None:
    x, y = float(spot.x), float(spot.y)
    colour = paled(TONES[spot.mark.tone], PALE if spot.is_pale else 1.0)
    canvas.setStrokeColor(colour)
    canvas.setFillColor(colour)
    canvas.setLineWidth(1)
    if spot.leads:
        canvas.line(x, y, *(float(place) for place in spot.label))
    if spot.arrow_deg is not None:
        canvas.saveState()
        canvas.translate(x, y)
        canvas.rotate(float(spot.arrow_deg))
        canvas.drawPath(path_of(canvas, "M8 -4L13 0L8 4Z"), stroke=0, fill=1)
        canvas.restoreState()
    draw_mark(canvas, spot.mark, x, y, mark_size, PALE if spot.is_pale else 1.0)


def _words(canvas: Canvas, words: str, x: float, y: float, mm_per_unit: float, font: str, size_pt: float) -> None:
    canvas.saveState()
    canvas.translate(x, y)
    canvas.scale(1 / mm_per_unit, 1 / mm_per_unit)
    words_at(canvas, words, 0, 0, font=font, size_pt=size_pt, align="middle")
    canvas.restoreState()


def key_row(row: KeyRow) -> list[Flowable]:
    """What a number in the pictures stands for: cells of a table."""
    name = f"{row.name}, {row.detail}" if row.detail else row.name
    return [text(str(row.number), CELL), mark_block(row.mark, NAME_PT), text(name, CELL)]
