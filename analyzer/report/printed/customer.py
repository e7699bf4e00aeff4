"""The first page on paper: for the customer, in plain words, to be signed."""

from collections.abc import Iterator, Sequence

from reportlab.pdfgen.canvas import Canvas
from reportlab.platypus import Flowable

from analyzer.paper.blocks import Drawing, gap, led_text, swatch, table, text, together, words_at
from analyzer.paper.fonts import SANS, printable, width_pt
from analyzer.paper.styles import CELL, CELL_BOLD, INK, LABEL, LEAD, MM, SMALL, SOFT, SUBHEADING, TEXT, TITLE
from analyzer.report.customer import CustomerGroup, CustomerPage, CustomerRow
from analyzer.report.page import Page
from analyzer.report.printed.shapes import mark_block

SWATCH_MM = (20.0, 7.0)
TICK_MM, FIELD_MM = 3.0, 9.8  # side of a box to tick; height of a line to write on
SIGN_PT = 7.2


def customer_blocks(page: Page, width_mm: float) -> Iterator[Flowable]:
    """Lay out the page for the customer.

    Parameters
    ----------
    page : Page
    width_mm : float
        Between the margins.
    """
    mine = page.for_customer
    yield text("Test boards: for the customer", LABEL)
    yield text(page.title, TITLE)
    if page.customer:
        yield text(f"for {page.customer}", TEXT)
    yield text(mine.heading, SUBHEADING)
    if mine.name:
        yield text(mine.name, LEAD)
    yield text(mine.says, TEXT)
    for group in mine.groups:
        yield from _group(group, width_mm)
    if mine.groups:
        yield text("In each pair of colours the test boards are on the left, the agreed colour on the right.", SMALL)
    for term in mine.terms:
        yield led_text(term.lead, term.says, CELL)
        yield gap(0.5)
    yield from _approvals(mine)
    yield together([text("Signature", SUBHEADING), _covers(mine.covers, width_mm), *_lines(mine.signers, width_mm)])


def _group(group: CustomerGroup, width_mm: float) -> Iterator[Flowable]:
    name, colour, mark = 0.23 * width_mm, 0.33 * width_mm, 31.0
    rest = width_mm - SWATCH_MM[0] - 3 - name - colour - mark
    yield text(group.heading, SUBHEADING)
    yield table(
        [
            ("", SWATCH_MM[0] + 3, "left"),
            ("the wood prepared with", name, "bold"),
            ("colour", colour, "left"),
            ("surface", rest, "left"),
            ("", mark, "left"),
        ],
        [_row(row) for row in group.rows],
        more=[("VALIGN", (0, 1), (-1, -1), "MIDDLE")],
    )


def _row(row: CustomerRow) -> list[Flowable]:
    halves = [half for half in (row.swatches, row.target) if half]
    colours: Flowable = swatch(halves, *SWATCH_MM) if halves else text("", CELL)
    return [colours, text(row.name, CELL_BOLD), text(row.colour, CELL), text(row.surface, CELL), mark_block(row.mark)]


def _approvals(mine: CustomerPage) -> Iterator[Flowable]:
    if mine.approvals:
        yield text("Approved so far", SUBHEADING)
    for approval in mine.approvals:
        scope = f" {approval.scope}." if approval.scope else ""
        changed = "; ".join(approval.changed)
        since = f"Changed since: {changed}." if changed else "Nothing that it rests on has changed since."
        yield led_text(approval.zone, f"{approval.says}.{scope} {since}", CELL)
        yield gap(0.5)


def _covers(covers: Sequence[str], width_mm: float) -> Drawing:
    """Boxes to tick: what a signature is for."""

    def draw(canvas: Canvas) -> None:
        x = _say(canvas, "It covers", 0.0) + 4
        for covered in covers:
            canvas.setLineWidth(0.3)
            canvas.rect(x, 1.0, TICK_MM, TICK_MM, stroke=1, fill=0)
            x = _say(canvas, covered, x + TICK_MM + 1.6) + 5
        x = _say(canvas, "on board and zone", x) + 2
        canvas.line(x, 4.4, width_mm, 4.4)

    return Drawing(width_mm, 5.0, draw)


def _say(canvas: Canvas, words: str, x: float) -> float:
    """Write words and give where they end."""
    canvas.setFillColor(INK)
    words_at(canvas, words, x, 3.7, font=SANS, size_pt=CELL.fontSize)
    return x + width_pt(printable(words), SANS, CELL.fontSize) / MM


def _lines(signers: Sequence[str], width_mm: float) -> Iterator[Drawing]:
    for signer in signers:
        yield _line(signer, width_mm)


def _line(signer: str, width_mm: float) -> Drawing:
    shares = (0.38, 0.2, 0.42)
    between = 5.0

    def draw(canvas: Canvas) -> None:
        x = 0.0
        for share, words in zip(shares, (f"{signer}: name", "date", "signature"), strict=True):
            wide = share * (width_mm - between * (len(shares) - 1))
            canvas.setLineWidth(0.2)
            canvas.line(x, FIELD_MM - 3.6, x + wide, FIELD_MM - 3.6)
            canvas.setFillColor(SOFT)
            words_at(canvas, words, x, FIELD_MM - 0.8, font=SANS, size_pt=SIGN_PT)
            x += wide + between

    return Drawing(width_mm, FIELD_MM + 0.8, draw)
