"""How do the printed pages look?  Colours and styles of text, those of the report page on screen."""

from typing import Any, Final

from reportlab.lib.colors import Color, HexColor
from reportlab.lib.enums import TA_RIGHT
from reportlab.lib.styles import ParagraphStyle

from analyzer.paper.fonts import SANS, SANS_BOLD, SERIF_BOLD

MM: Final = 72 / 25.4  # points

# Neutral all round: a tinted page would tint the judgement of swatches. Colour only where it is data or a verdict.
INK: Final = HexColor("#1e1e1c")
SOFT: Final = HexColor("#595957")
LINE: Final = HexColor("#d3d3d0")
FAINT: Final = HexColor("#f2f2f0")
MAT: Final = HexColor("#777777")  # middle gray, on which swatches lie as in a viewing booth
GOOD: Final = HexColor("#0a5367")
BAD: Final = HexColor("#8c3a06")
OPEN: Final = HexColor("#4a4a48")
WHITE: Final = HexColor("#ffffff")


def _style(
    name: str,
    size_pt: float,
    leading_pt: float,
    *,
    font: str = SANS,
    colour: Color = INK,
    **more: Any,  # noqa: ANN401 - reportlab's own, of many types
) -> ParagraphStyle:
    return ParagraphStyle(
        name,
        fontName=font,
        bulletFontName=SANS,
        fontSize=size_pt,
        leading=leading_pt,
        textColor=colour,
        spaceShrinkage=0,
        **more,
    )


TITLE: Final = _style("title", 21, 25, font=SERIF_BOLD, spaceAfter=2)
HEADING: Final = _style("heading", 13.5, 17, font=SERIF_BOLD, spaceBefore=14, spaceAfter=5, keepWithNext=1)
SUBHEADING: Final = _style("subheading", 9, 12, font=SANS_BOLD, spaceBefore=8, spaceAfter=3, keepWithNext=1)
LEAD: Final = _style("lead", 14, 19, font=SERIF_BOLD, spaceAfter=5)  # the one sentence of a page
TEXT: Final = _style("text", 9, 13, spaceAfter=4)
STRONG: Final = _style("strong", 9, 13, font=SANS_BOLD, spaceAfter=4)
SMALL: Final = _style("small", 7.5, 10.5, colour=SOFT, spaceAfter=3)
LABEL: Final = _style("label", 7.5, 10, colour=SOFT)  # what kind of page, above its title
CELL: Final = _style("cell", 8, 10.5)
CELL_BOLD: Final = _style("cell-bold", 8, 10.5, font=SANS_BOLD)
CELL_RIGHT: Final = _style("cell-right", 8, 10.5, alignment=TA_RIGHT)
CELL_HEAD: Final = _style("cell-head", 7.5, 9.5, colour=SOFT)
CELL_HEAD_RIGHT: Final = _style("cell-head-right", 7.5, 9.5, colour=SOFT, alignment=TA_RIGHT)
CELL_SMALL: Final = _style("cell-small", 6.8, 9)
CELL_SMALL_BOLD: Final = _style("cell-small-bold", 6.8, 9, font=SANS_BOLD)
CELL_SMALL_RIGHT: Final = _style("cell-small-right", 6.8, 9, alignment=TA_RIGHT)
