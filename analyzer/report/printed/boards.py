"""On paper: each board and its map at one scale, with outlines, names, rulers and the map's colours."""

from collections.abc import Iterator, Sequence
from typing import Final

from reportlab.lib.colors import HexColor
from reportlab.pdfgen.canvas import Canvas
from reportlab.platypus import Flowable, KeepTogether

from analyzer.paper.blocks import Drawing, gap, led_text, text, words_at
from analyzer.paper.fonts import SANS, SANS_BOLD, fitted, printable, width_pt
from analyzer.paper.images import Image, draw_image, image
from analyzer.paper.styles import CELL, HEADING, INK, MM, SMALL, SOFT, WHITE
from analyzer.report.boards import BoardFigure, MapScale, ZoneBox
from analyzer.report.content import Content

RULER_MM, BETWEEN_MM, AXIS_MM = 8.0, 10.0, 5.0
END_MM: Final = 3.0  # for half of the ruler's last number
LABEL_PT, TICK_PT = 6.2, 6.2
BAR_MM: Final = 60.0
HATCH: Final = HexColor("#d6d6d3")
HATCH_MM: Final = 1.5
TALLEST_MM: Final = 95.0  # of one picture: two and their words stay on one page


def board_blocks(content: Content, width_mm: float) -> Iterator[Flowable]:
    """Lay out the boards, between margins `width_mm` apart."""
    if not content.boards:
        return
    for i, board in enumerate(content.boards):
        head = [text("The boards", HEADING), text(content.page.prose.boards, SMALL), _legend(content.scale)]
        yield KeepTogether([*([] if i else head), *_board(board, width_mm)])


def _board(board: BoardFigure, width_mm: float) -> Iterator[Flowable]:
    whole_mm = width_mm - RULER_MM - END_MM
    wide = ((whole_mm - BETWEEN_MM) / 2 if board.beside else whole_mm) * float(board.share)
    ratio = float(board.ratio)
    wide = min(wide, TALLEST_MM * ratio)
    tall = wide / ratio
    pictures = (image(board.board_jpeg), image(board.map_png))

    def draw(canvas: Canvas) -> None:
        for i, picture in enumerate(pictures):
            x = RULER_MM + (i * (wide + BETWEEN_MM) if board.beside else 0)
            y = 0.0 if board.beside else i * (tall + 3.0)
            _view(canvas, board, picture, (x, y, wide, tall), is_map=bool(i))
            _rulers(canvas, board, (x, y, wide, tall), along=board.beside or bool(i))

    high = tall + AXIS_MM if board.beside else 2 * tall + 3.0 + AXIS_MM
    yield gap(2.5)
    yield led_text(board.name, f"· {' · '.join((*board.facts, board.photo))}", CELL)
    yield gap(0.8)
    yield Drawing(width_mm, high, draw)
    if board.before:
        yield text(board.before, SMALL)


def _view(
    canvas: Canvas, board: BoardFigure, picture: Image, box: tuple[float, float, float, float], *, is_map: bool
) -> None:
    x, y, wide, tall = box
    canvas.saveState()
    clip = canvas.beginPath()
    clip.rect(x, y, wide, tall)
    canvas.clipPath(clip, stroke=0, fill=0)
    if is_map:
        _hatched(canvas, box)
    canvas.translate(x, y + tall)
    canvas.scale(1, -1)
    draw_image(canvas, picture, (0, 0, wide, tall))
    canvas.restoreState()
    for zone in board.zones:
        _zone(canvas, zone, box, with_blotch=is_map)
    canvas.setStrokeColor(INK)
    canvas.setLineWidth(0.2)
    canvas.rect(x, y, wide, tall, stroke=1, fill=0)


def _zone(canvas: Canvas, zone: ZoneBox, box: tuple[float, float, float, float], *, with_blotch: bool) -> None:
    left, top, wide, tall = (float(part) / 100 for part in (zone.left, zone.top, zone.width, zone.height))
    x, y = box[0] + left * box[2], box[1] + top * box[3]
    w, h = wide * box[2], tall * box[3]
    outline = _corners(zone.corners) if zone.corners else [(0.0, 0.0), (1.0, 0.0), (1.0, 1.0), (0.0, 1.0)]
    for colour, thick in ((WHITE, 0.6), (INK, 0.2)):  # black on white: seen on the palest and on the darkest stain
        path = canvas.beginPath()
        for k, (u, v) in enumerate(outline):
            (path.lineTo if k else path.moveTo)(x + u * w, y + v * h)
        path.close()
        canvas.setStrokeColor(colour)
        canvas.setLineWidth(thick)
        canvas.drawPath(path, stroke=1, fill=0)
    blotch = f" {zone.blotch}" if with_blotch and zone.blotch else ""
    name = fitted(printable(zone.id), SANS, LABEL_PT, (w - 1.6) * MM)
    name_mm, blotch_mm = width_pt(name, SANS, LABEL_PT) / MM, width_pt(blotch, SANS_BOLD, LABEL_PT) / MM
    is_beside = name_mm + blotch_mm <= w - 1.6  # else the number stands below the name
    label_mm = name_mm + blotch_mm if is_beside else max(name_mm, blotch_mm)
    canvas.setFillColor(WHITE)
    canvas.rect(x + 0.4, y + 0.4, min(label_mm + 1.0, w - 0.8), 2.9 if is_beside else 5.6, stroke=0, fill=1)
    canvas.setFillColor(INK)
    words_at(canvas, name, x + 0.8, y + 2.6, font=SANS, size_pt=LABEL_PT)
    at = (x + 0.8 + name_mm, y + 2.6) if is_beside else (x + 0.8, y + 5.3)
    words_at(canvas, blotch if is_beside else blotch.strip(), *at, font=SANS_BOLD, size_pt=LABEL_PT)


def _corners(said: str) -> list[tuple[float, float]]:
    """Corners of an irregular zone, as fractions of its box."""
    pairs = (corner.split(",") for corner in said.split())
    return [(float(u) / 100, float(v) / 100) for u, v in pairs]


def _rulers(canvas: Canvas, board: BoardFigure, box: tuple[float, float, float, float], *, along: bool) -> None:
    x, y, wide, tall = box
    canvas.setFillColor(SOFT)
    canvas.setStrokeColor(SOFT)
    canvas.setLineWidth(0.15)
    for at, label in board.y_ticks:
        place = y + float(at) / 100 * tall
        canvas.line(x - 0.9, place, x, place)
        words_at(canvas, label, x - 1.3, place + 0.8, font=SANS, size_pt=TICK_PT, align="right")
    if not along:
        return
    for at, label in board.x_ticks:
        place = x + float(at) / 100 * wide
        canvas.line(place, y + tall, place, y + tall + 0.9)
        words_at(canvas, label, place, y + tall + 3.4, font=SANS, size_pt=TICK_PT, align="middle")
    words_at(canvas, board.units, x - 1.3, y + tall + 3.4, font=SANS, size_pt=TICK_PT, align="right")


def _hatched(canvas: Canvas, box: tuple[float, float, float, float]) -> None:
    x, y, wide, tall = box
    canvas.setStrokeColor(HATCH)
    canvas.setLineWidth(0.2)
    lines = canvas.beginPath()
    for k in range(int((wide + tall) / HATCH_MM) + 1):
        lines.moveTo(x + k * HATCH_MM, y)
        lines.lineTo(x + k * HATCH_MM - tall, y + tall)
    canvas.drawPath(lines, stroke=1, fill=0)


def _legend(scale: MapScale) -> Drawing:
    """The colours of all maps and what they mean."""

    def draw(canvas: Canvas) -> None:
        left = RULER_MM + width_pt("darker ", SANS, TICK_PT) / MM + 1
        canvas.setFillColor(SOFT)
        words_at(canvas, "darker", RULER_MM, 4.6, font=SANS, size_pt=TICK_PT)
        words_at(canvas, "lighter, L*", left + BAR_MM + 2, 4.6, font=SANS, size_pt=TICK_PT)
        _bar(canvas, scale.stops, left)
        canvas.setStrokeColor(SOFT)
        for at, label in scale.ticks:
            place = left + float(at) / 100 * BAR_MM
            canvas.line(place, 5.2, place, 6.0)
            words_at(canvas, label, place, 8.6, font=SANS, size_pt=TICK_PT, align="middle")

    return Drawing(RULER_MM + BAR_MM + 40, 10.0, draw)


def _bar(canvas: Canvas, stops: Sequence[str], left: float) -> None:
    colours = [HexColor(stop) for stop in stops]
    positions = [i / (len(colours) - 1) for i in range(len(colours))]
    canvas.saveState()
    clip = canvas.beginPath()
    clip.rect(left, 2.6, BAR_MM, 2.6)
    canvas.clipPath(clip, stroke=0, fill=0)
    canvas.linearGradient(left, 2.6, left + BAR_MM, 2.6, colours, positions, extend=False)
    canvas.restoreState()
