"""On paper: the answer, the treatments, and how sure that is."""

from collections.abc import Iterator
from typing import Any

from reportlab.platypus import Flowable, Table

from analyzer.paper.blocks import CELL_FONT, bullets, gap, swatch, table, text, together
from analyzer.paper.styles import CELL, CELL_BOLD, HEADING, LABEL, LEAD, MM, SMALL, STRONG, SUBHEADING, TITLE
from analyzer.report.answer_block import AnswerBlock
from analyzer.report.page import Page, VerdictGroup, VerdictRow
from analyzer.report.printed.charts import chart_drawing, key_row, plot_drawing
from analyzer.report.printed.shapes import mark_block

BETWEEN_MM = 8.0  # two charts or pictures side by side
SWATCH_MM = (22.0, 11.0)
ANSWER_MM, ANSWER_GAP_MM = (40.0, 27.0), 6.0


def verdict_blocks(page: Page, width_mm: float) -> Iterator[Flowable]:
    """Lay out the answer, the treatments, and how sure that is, between margins `width_mm` apart."""
    yield text("Test-board report", LABEL)
    yield text(page.title, TITLE)
    yield from _answer(page.answer, page.facts, width_mm)
    if page.groups:
        yield text("The treatments", HEADING)
    for group in page.groups:
        yield from _treatments(group, width_mm)
    if page.groups:
        yield text(page.prose.treatments, SMALL)
        yield from _lights(page, width_mm)
        yield text("How sure is that?", HEADING)
    for group in page.groups:
        yield from _sure(group, width_mm)
    if page.groups:
        yield text(page.prose.charts, SMALL)
    if any(group.plots for group in page.groups):
        yield text(page.prose.pictures, SMALL)


def _answer(answer: AnswerBlock, facts: tuple[str, ...], width_mm: float) -> Iterator[Flowable]:
    said: list[Flowable] = [text(answer.heading, STRONG), text(answer.name or answer.sentence, LEAD)]
    said += [text(answer.sentence)] if answer.name else []
    said += [text(" · ".join(facts), SMALL)]
    halves = [half for half in (answer.swatches, answer.target) if half]
    if len(halves) == 2:
        beside: list[Flowable] = [swatch(halves, *ANSWER_MM), text("left this treatment, right the target", SMALL)]
        widths = [(width_mm - ANSWER_MM[0] - ANSWER_GAP_MM) * MM, ANSWER_GAP_MM * MM, ANSWER_MM[0] * MM]
        yield _side_by_side([said, [], beside], widths)
    else:
        yield from said
    for heading, lines in (("What is known", answer.known), ("What would settle it", answer.settle)):
        if lines:
            yield text(heading, SUBHEADING)
            yield from bullets(lines)


def _treatments(group: VerdictGroup, width_mm: float) -> Iterator[Flowable]:
    numbers_mm, verdict_mm = 33.0, 31.0
    name_mm = width_mm - SWATCH_MM[0] - 4 - 2 * numbers_mm - verdict_mm
    rows: list[list[str | Flowable | list[Flowable]]] = []
    spans = []
    for row in group.rows:
        first = 1 + len(rows)  # below the head
        spans += [
            ("SPAN", (0, first), (0, first + 1)),
            ("SPAN", (1, first + 1), (-1, first + 1)),
            ("LINEBELOW", (0, first), (-1, first), 0, None),
            ("BOTTOMPADDING", (0, first), (-1, first), 0),
            ("NOSPLIT", (0, first), (-1, first + 1)),
        ]
        rows += [_verdict(row), ["", text(row.advice, CELL), "", "", ""]]
    yield text(group.heading, SUBHEADING)
    yield table(
        [
            ("", SWATCH_MM[0] + 4, "left"),
            ("treatment", name_mm, "left"),
            ("colour difference, ΔE00", numbers_mm, "left"),
            ("blotch, L*", numbers_mm, "left"),
            ("verdict", verdict_mm, "left"),
        ],
        rows,
        more=spans,
    )


def _verdict(row: VerdictRow) -> list[str | Flowable | list[Flowable]]:
    halves = [half for half in (row.swatches, row.target) if half]
    return [
        swatch(halves, *SWATCH_MM) if halves else "",
        [text(row.name, CELL_BOLD), text(row.detail, SMALL)],
        [text(row.colour, CELL), mark_block(row.colour_mark, 7.6)],
        [text(row.blotch, CELL), mark_block(row.evenness_mark, 7.6)],
        mark_block(row.overall_mark, 9),
    ]


def _lights(page: Page, width_mm: float) -> Iterator[Flowable]:
    if not page.lights and not page.one_light_only:
        return
    yield text("In another light", HEADING)
    if not page.lights:
        yield text(page.prose.one_light, SMALL)
        return
    shares = (0.2, 0.15, 0.22, 0.15, 0.28)
    heads = ("treatment", "wood, stage", "ΔE00 to the target, by light", "change with the light", "what that says")
    yield table(
        [
            (head, share * width_mm, "bold" if not i else "left")
            for i, (head, share) in enumerate(zip(heads, shares, strict=True))
        ],
        [
            [row.name, row.taken, [text(light, CELL) for light in row.by_light], row.metamerism, row.says]
            for row in page.lights
        ],
    )
    yield text(page.prose.lights, SMALL)


def _sure(group: VerdictGroup, width_mm: float) -> Iterator[Flowable]:
    half = (width_mm - BETWEEN_MM) / 2
    widths = [(half + BETWEEN_MM) * MM, half * MM]
    charts = _side_by_side([[chart_drawing(chart, half)] for chart in group.charts], widths)
    yield together([text(group.heading, SUBHEADING), charts, gap(3)])
    if group.plots is None:
        return
    pictures = _side_by_side([[plot_drawing(plot, half)] for plot in group.plots.plots], widths)
    keys: list[list[str | Flowable | list[Flowable]]] = [list(key_row(row)) for row in group.plots.key]
    said = []
    if group.plots.has_farther:
        said.append("An arrow: it lies farther out than the picture reaches.")
    if group.plots.has_unknown:
        said.append("A mark without a ring of its own: how sure it is is unknown.")
    key = table([("", 6.0, "bold"), ("", 32.0, "left"), ("", width_mm - 38.0, "left")], keys)
    rule = text("Which way is each off? A match lies inside the dashed ring in both pictures.", STRONG)
    yield together([rule, pictures, gap(2), key, *([text(" ".join(said), SMALL)] if said else [])])


def _side_by_side(cells: list[list[Flowable]], widths_pt: list[float]) -> Table:
    style: list[tuple[Any, ...]] = [CELL_FONT, ("VALIGN", (0, 0), (-1, -1), "TOP")]
    style += [(f"{side}PADDING", (0, 0), (-1, -1), 0) for side in ("LEFT", "RIGHT", "TOP", "BOTTOM")]
    return Table([cells], colWidths=widths_pt, style=style, hAlign="LEFT")
