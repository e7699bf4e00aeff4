"""How does a plan get onto paper, for the bench?"""

from collections.abc import Iterator, Sequence
from functools import partial

from reportlab.pdfgen.canvas import Canvas
from reportlab.platypus import Flowable

from analyzer.paper.blocks import Drawing, bullets, caution, checklist, gap, led_text, table, text, together
from analyzer.paper.document import content_width_pt, make_pdf
from analyzer.paper.styles import CELL, HEADING, LABEL, MM, SMALL, STRONG, SUBHEADING, TITLE
from analyzer.plan.page import BatchBlock, BoardBlock, Page, page_of
from analyzer.plan.plan import Plan
from analyzer.plan.shapes import draw


def plan_pdf(plan: Plan) -> bytes:
    """The page of a plan as a PDF, on the paper that the plan names.

    Returns
    -------
    bytes
        The same for the same plan.
    """
    page = page_of(plan)
    width_mm = content_width_pt(plan.paper) / MM
    return make_pdf(list(_story(plan, page, width_mm)), paper=plan.paper, title=f"Trial plan: {plan.job}")


def _story(plan: Plan, page: Page, width_mm: float) -> Iterator[Flowable]:
    yield text("Trial plan", LABEL)
    yield text(page.title, TITLE)
    if page.customer:
        yield text(f"for {page.customer}", STRONG)
    yield from bullets(page.facts)
    yield from _boards(page, width_mm)
    yield text("What so many boards can show", HEADING)
    for line in page.shows:
        yield text(line)
    yield table(
        [("boards of each wood", 36, "right"), ("smallest difference of blotch seen, L*", 62, "right")],
        page.shows_table,
    )
    if page.steps:
        yield from _schedule(page, width_mm)
    if page.trial_amounts or page.amounts:
        yield from _amounts(page)
    yield from _questions(plan)
    yield text("The parts", HEADING)
    yield table([("part", 45, "bold"), ("wood", 50, "left"), ("kind", 30, "left"), ("area", 28, "right")], page.parts)
    yield text("Step panels", HEADING)
    yield text(
        "On one strip of the wood each step is taped off before the next: bare, treated, stained, sealed, topcoated. "
        "Make one at least for the treatment that is chosen; labels.pdf has a label for each."
    )
    yield table(
        [("panel", 14, "bold"), ("wood", 34, "left"), ("what goes on", width_mm - 48, "left")],
        [(panel.id, panel.species, panel.recipe) for panel in plan.step_panels],
    )
    yield text("Cautions", HEADING)
    for one in plan.cautions:
        yield caution(one.title, one.text, "; ".join(one.sources))
    yield text(plan.closing, STRONG)
    if plan.words:
        yield text("Words", HEADING)
        yield table([("", 34, "bold"), ("", width_mm - 34, "left")], [(word.word, word.meaning) for word in plan.words])


def _boards(page: Page, width_mm: float) -> Iterator[Flowable]:
    yield text("The boards", HEADING)
    for warning in page.warnings:
        yield led_text("Mind:", warning)
    yield from bullets(page.marking)
    for board in page.boards:
        yield together(list(_board(board, width_mm)))


def _board(board: BoardBlock, width_mm: float) -> Iterator[Flowable]:
    yield text(board.heading, SUBHEADING)
    drawing = board.drawing
    yield text(f"{board.note} Drawn at 1 : {1 / drawing.scale:.1f} when printed at 100 %.", SMALL)
    yield Drawing(drawing.width_mm, drawing.height_mm, partial(_draw, board=board))
    yield table(
        [
            ("from the left end", 40, "left"),
            ("zone", 40, "bold"),
            ("what goes on, in this order", width_mm - 80, "left"),
        ],
        board.rows,
    )
    yield gap(3)


def _draw(canvas: Canvas, *, board: BoardBlock) -> None:
    draw(board.drawing.shapes, canvas)


def _schedule(page: Page, width_mm: float) -> Iterator[Flowable]:
    yield text("Schedule", HEADING)
    for item in page.advice:
        yield led_text("Warning:" if item.severity == "warning" else "Mind:", item.text)
        yield text(item.source, SMALL)
    yield checklist([(step.when, step.title, " ".join(step.lines)) for step in page.steps], width_mm)
    for line in page.schedule_notes:
        yield text(line, SMALL)


def _amounts(page: Page) -> Iterator[Flowable]:
    yield text("Amounts", HEADING)
    for heading, batches in (("For the test boards", page.trial_amounts), ("For the piece", page.amounts)):
        if batches:
            yield text(heading, SUBHEADING)
            yield from _batches(batches)
    for line in page.amount_notes:
        yield text(line, SMALL)


def _batches(batches: Sequence[BatchBlock]) -> Iterator[Flowable]:
    for batch in batches:
        yield together([led_text(batch.heading, ""), *bullets(batch.lines, CELL), text(batch.source, SMALL)])


def _questions(plan: Plan) -> Iterator[Flowable]:
    if not plan.schedule or not plan.schedule.questions:
        return
    yield text("To be tested, not believed", HEADING)
    yield text("The trade contradicts itself on these. Your own boards can tell.")
    for question in plan.schedule.questions:
        yield together(
            [
                led_text(question.question, ""),
                text(f"Some say: {question.one_view} Others: {question.other_view}"),
                text(question.how_to_test),
                text(question.source, SMALL),
            ]
        )
