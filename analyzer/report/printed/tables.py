"""On paper: what each treatment does, doses, the recipe; and the appendix's tables of differences, zones and photos."""

from collections.abc import Iterable, Iterator, Sequence
from itertools import groupby
from typing import Final

from reportlab.lib.styles import ParagraphStyle
from reportlab.platypus import Flowable

from analyzer.paper.blocks import (
    Align,
    Cell,
    Column,
    Picture,
    bullets,
    caution,
    chip_text,
    gap,
    heading,
    led_text,
    table,
    text,
    together,
)
from analyzer.paper.styles import (
    CELL,
    CELL_HEAD,
    CELL_HEAD_RIGHT,
    CELL_SMALL,
    CELL_SMALL_BOLD,
    CELL_SMALL_RIGHT,
    HEADING,
    SMALL,
    STRONG,
    SUBHEADING,
    TEXT,
)
from analyzer.report.content import Content
from analyzer.report.looks import LookTable
from analyzer.report.page import Page
from analyzer.report.printed.shapes import mark_block
from analyzer.report.tables import DifferenceRow, PhotoRow, ZoneRow

SMALL_CELLS: Final[dict[Align, tuple[ParagraphStyle, ParagraphStyle]]] = {
    "left": (CELL_HEAD, CELL_SMALL),
    "right": (CELL_HEAD_RIGHT, CELL_SMALL_RIGHT),
    "bold": (CELL_HEAD, CELL_SMALL_BOLD),
}
LOOKS_ABREAST: Final = 8  # figures in one table; more go into another below it
OVERLAY_MM: Final = 85.0
LEAST_MM: Final = 45.0  # of room below a heading over a long table: it begins there, and goes on on the next page


def small_table(columns: Sequence[Column], rows: Sequence[Sequence[Cell]], width_mm: float) -> Flowable:
    """A table in fine print, its columns stretched or pressed to the width."""
    natural = sum(width for _, width, _ in columns)
    fitted = [(name, width * width_mm / natural, align) for name, width, align in columns]
    return table(fitted, rows, styles=SMALL_CELLS)


def finding_blocks(page: Page, width_mm: float) -> Iterator[Flowable]:
    """Lay out what each treatment does, the doses, and the recipe in full."""
    if page.effects:
        yield text("What each treatment does, against its own board's control", HEADING)
    for group in page.effects:
        heads: list[Column] = [("treatment", 34, "bold"), ("change of blotch, L*", 22, "right")]
        heads += [("of the control's", 32, "right"), ("by chance", 13, "right"), ("ΔE00", 17, "right")]
        heads += [(name, 17, "right") for name in ("ΔL*", "Δa*", "Δb*")]
        heads += [("by chance", 13, "right")]
        rows: list[list[Cell]] = [
            [row.name, row.blotch, row.ratio, row.blotch_chance, row.de00, *row.parts, row.colour_chance]
            for row in group.rows
        ]
        yield together([text(group.heading, SUBHEADING), small_table(heads, rows, width_mm)])
        for row in group.rows:
            yield led_text(row.name, f"({row.detail}): {row.says}", CELL)
    if page.effects:
        yield gap(1)
        yield text(page.prose.effects, SMALL)
    yield from _doses(page, width_mm)
    yield from _recipes(page, width_mm)


def _doses(page: Page, width_mm: float) -> Iterator[Flowable]:
    if page.doses:
        yield text("How much of it", HEADING)
    heads: list[Column] = [("dose", 40, "bold"), ("boards", 20, "left")]
    heads += [("ΔE00 to the target", 28, "right"), ("colour", 24, "left")]
    heads += [("blotch, L*", 24, "right"), ("evenness", 24, "left")]
    for block in page.doses:
        yield text(block.heading, SUBHEADING)
        yield text(block.says, TEXT)
        rows = [[row.dose, row.boards, row.de00, row.colour, row.blotch, row.evenness] for row in block.rows]
        yield small_table(heads, rows, width_mm)
    if page.doses:
        yield text(page.prose.doses, SMALL)


def _recipes(page: Page, width_mm: float) -> Iterator[Flowable]:
    if page.recipes.blocks:
        yield text("The recipe in full", HEADING)
    for recipe in page.recipes.blocks:
        facts = [[name, value] for name, value in recipe.facts]
        half = (len(facts) + 1) // 2  # two columns of facts, read down the first
        paired = [[*facts[i], *(facts[half + i] if half + i < len(facts) else ["", ""])] for i in range(half)]
        name_mm, value_mm = 0.18 * width_mm, 0.32 * width_mm
        columns: list[Column] = [("", name_mm, "left"), ("", value_mm, "bold")] * 2
        block: list[Flowable] = [led_text(recipe.name, f"· {recipe.zones}", CELL), table(columns, paired)]
        if recipe.missing:
            block.append(led_text("Not recorded here:", f"{', '.join(recipe.missing)}.", SMALL))
        yield together([*block, gap(2)])
    if page.recipes.missing:
        yield led_text("Not recorded of any zone:", f"{', '.join(page.recipes.missing)}.", CELL)
        yield gap(1)
    if page.recipes.blocks:
        yield text(page.prose.recipes, SMALL)


def appendix_blocks(content: Content, width_mm: float) -> Iterator[Flowable]:
    """Lay out the appendix: method, uncertainty, numbers, photos and findings, cautions."""
    page = content.page
    yield text("Appendix", HEADING)
    yield text("How this was measured", SUBHEADING)
    for paragraph in page.prose.measured:
        yield text(paragraph, CELL)
        yield gap(1)
    yield text("What this report cannot tell", SUBHEADING)
    yield from bullets(page.prose.cannot_tell, CELL)
    yield from _uncertainty(page, width_mm)
    yield from _differences(page, width_mm)
    yield from _zones(page, width_mm)
    yield from _looks(page.looks, page, width_mm)
    yield from _photos(content, width_mm)
    yield text("Take care", HEADING)
    for item in page.cautions:
        named = f"Named in this job: {'; '.join(item.named)}. " if item.named else ""
        yield caution(item.title, item.text, f"{named}Source: {'; '.join(item.sources)}.")
    yield text(page.closing, STRONG)
    same = "The same numbers stand in results.json and zones.csv beside this file."
    yield text(f"{page.tool.name} {page.tool.version}. {same}", SMALL)


def _uncertainty(page: Page, width_mm: float) -> Iterator[Flowable]:
    groups = [group for group in page.groups if group.sources.rows]
    if groups:
        yield text("Where the ± of the colour difference comes from", HEADING)
    for group in groups:
        heads: list[Column] = [("treatment", 50, "bold")]
        heads += [(name, 18, "right") for name in (*group.sources.names, "together")]
        rows = [[row.name, *row.parts, row.total] for row in group.sources.rows]
        yield together([text(group.heading, SUBHEADING), small_table(heads, rows, width_mm)])
    if groups:
        yield text(page.prose.sources, SMALL)
    if page.repeats:
        yield text(page.repeats, SMALL)


def _differences(page: Page, width_mm: float) -> Iterator[Flowable]:
    if page.against_control or page.other_differences or page.matrices:
        yield text("Differences between zones", HEADING)
    if page.against_control:
        yield text("Against the untreated control of the same board, in one photo", STRONG)
        yield text(page.prose.certain, SMALL)
        yield from _difference_tables(page.against_control, width_mm)
    if page.other_differences:
        yield text("Other differences" if page.against_control else "All differences", STRONG)
        yield text(page.prose.others, SMALL)
        yield from _difference_tables(page.other_differences, width_mm)
    if page.against_control or page.other_differences:
        yield text(page.prose.grades, SMALL)
    for matrix in page.matrices:
        heads: list[Column] = [("ΔE00", 30, "bold")]
        heads += [(zone, 15, "right") for zone in matrix.zones[:-1]]
        rows = [[zone, *row[:-1]] for zone, row in zip(matrix.zones[1:], matrix.rows[1:], strict=True)]
        yield text(f"All zones against all, {matrix.heading}", STRONG)
        yield small_table(heads, rows, width_mm)
    if page.matrices:
        yield text(page.prose.matrix, SMALL)


def _difference_tables(rows: Sequence[DifferenceRow], width_mm: float) -> Iterator[Flowable]:
    heads: list[Column] = [("from", 27, "bold"), ("to", 27, "bold"), ("ΔE00", 18, "right")]
    heads += [("the second is", 34, "left")]
    heads += [(name, 10.5, "right") for name in ("ΔL*", "Δa*", "Δb*", "ΔC*", "ΔH*")]
    heads += [("ΔE*ab", 12, "right")]
    heads += [("gray scale", 11, "right")]
    for taken, alike in groupby(sorted(rows, key=lambda row: row.taken), key=lambda row: row.taken):
        cells: list[list[Cell]] = [
            [
                chip_text(row.a_colour, row.a, CELL_SMALL),
                chip_text(row.b_colour, row.b, CELL_SMALL),
                row.de00,
                row.says,
                *row.parts,
                row.grade,
            ]
            for row in alike
        ]
        yield from heading(taken, SUBHEADING, LEAST_MM)
        yield small_table(heads, cells, width_mm)


def _zones(page: Page, width_mm: float) -> Iterator[Flowable]:
    rows = (*page.zones, *page.other_zones)
    if not rows:
        return
    yield text("All zones", HEADING)
    has_added = any(row.added for row in rows)
    heads: list[Column] = [("zone", 47, "left")]
    heads += [(name, 18, "right") for name in ("L*", "a*", "b*")]
    heads += [("blotch, L*", 19, "right")]
    if has_added:
        heads.append(("added since bare", 19, "right"))
    heads += [("figure, L*", 13, "right"), ("patches", 14, "right"), ("area", 13, "right"), ("left out", 11, "right")]
    for taken, alike in groupby(rows, key=lambda row: row.taken):
        yield from heading(taken, SUBHEADING, LEAST_MM)
        yield small_table(heads, [_zone(row, has_added=has_added) for row in alike], width_mm)
    yield text(page.prose.zones, SMALL)


def _zone(row: ZoneRow, *, has_added: bool) -> list[Cell]:
    added = [row.added or "–"] if has_added else []
    name = [chip_text(row.colour, row.id, CELL_SMALL_BOLD), text(f"{row.treatment}; {row.wood}", CELL_SMALL)]
    return [name, *row.lab, row.blotch, *added, row.figure, row.patch, row.area, row.left_out]


def _looks(looks: LookTable, page: Page, width_mm: float) -> Iterator[Flowable]:
    if not looks.groups:
        return
    yield from heading("How the unevenness looks", HEADING, LEAST_MM)
    yield text(page.prose.looks, SMALL)
    for first in range(0, len(looks.columns), LOOKS_ABREAST):
        part = slice(first, first + LOOKS_ABREAST)
        heads: list[Column] = [("zone", 32, "bold")]
        heads += [(column.heading, 18, "right") for column in looks.columns[part]]
        wide = width_mm * (32 + 18 * len(looks.columns[part])) / (32 + 18 * LOOKS_ABREAST)
        for group in looks.groups:
            yield from heading(group.taken, SUBHEADING, LEAST_MM)
            yield small_table(heads, [[row.zone, *row.values[part]] for row in group.rows], wide)
    yield from _meanings((column.heading, column.means) for column in looks.columns)
    for group in looks.groups:
        for row in group.rows:
            if row.says:
                yield led_text(row.zone, f"({group.taken}) {row.says}.", CELL)


def _meanings(columns: Iterable[tuple[str, str]]) -> Iterator[Flowable]:
    for name, means in columns:
        if means:
            yield led_text(f"{name}:", f"{means}.", SMALL)


def _photos(content: Content, width_mm: float) -> Iterator[Flowable]:
    yield text("The photos and what was found in them", HEADING)
    for photo in content.page.photos:
        yield led_text(photo.file, _about(photo), CELL)
        yield text(f"SHA-256 {photo.sha256}", SMALL)
        rows: list[list[Cell]] = [
            [mark_block(found.mark, 7.6), f"{found.about}{found.message} {found.remedy}"] for found in photo.findings
        ]
        if rows:
            yield table([("", 24.0, "left"), ("", width_mm - 24.0, "left")], rows)
        yield gap(1.5)
    for overlay in content.overlays:
        seen = led_text(overlay.photo, overlay.caption, CELL)
        yield together([Picture(overlay.jpeg, OVERLAY_MM), gap(1), seen, gap(2)])


def _about(photo: PhotoRow) -> str:
    parts = [photo.boards, photo.taken]
    if not photo.usable:
        return f"· {' · '.join([*parts, 'not used'])}"
    parts += [photo.scale, f"placed by {photo.located}", f"light {photo.light}"]
    parts += [f"colour by {photo.colour}"] if photo.colour else []
    parts += [] if photo.findings else ["no findings"]
    return f"· {' · '.join(parts)}"
