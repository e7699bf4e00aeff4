"""How does a row of blocks become a PDF?  Paper, margins, running title, page numbers, what the file says of itself.

    story = [text("Trial plan", TITLE), text("Hall bench"), table(…), caution(…)]
    data = make_pdf(story, paper="a4", title="Trial plan: Hall bench")

The same blocks give the same bytes: no time of day is stamped in.
"""

import io
from collections.abc import Callable, Mapping, Sequence
from types import MappingProxyType
from typing import Any, Final, Literal, cast

from reportlab.pdfbase import pdfmetrics
from reportlab.pdfgen.canvas import Canvas
from reportlab.platypus import BaseDocTemplate, Flowable, Frame, PageTemplate, Paragraph

from analyzer.paper.fonts import FILES, MISSING, SANS, fitted, load_fonts, printable, width_pt
from analyzer.paper.styles import LINE, MM, SOFT

PaperName = Literal["a4", "letter"]
PAPERS_MM: Final[Mapping[PaperName, tuple[float, float]]] = MappingProxyType(
    {"a4": (210.0, 297.0), "letter": (215.9, 279.4)}  # ISO 216; ANSI/ASME Y14.1 size A; both standing
)
MARGIN_MM: Final = 18.0  # left and right: room for a ring binder's holes
TOP_MM, BOTTOM_MM, FOOT_MM = 16.0, 19.0, 11.0  # the foot line stands this far above the edge
FOOT_PT: Final = 7.5
GAP_PT: Final = 12.0  # between the parts of the foot
LACKS: Final = f"{MISSING}: a letter that these fonts lack"
CREATOR: Final = "Evenboard"
LANGUAGE: Final = "en"
OUTLINE: Final[Mapping[str, int]] = MappingProxyType({"heading": 0, "subheading": 1})  # style of text to level


def paper_for(units: Literal["mm", "in"]) -> PaperName:
    """Choose the paper that goes with a job's units: Letter with inches, else A4."""
    return "letter" if units == "in" else "a4"


def page_size_pt(paper: PaperName, *, lying: bool = False) -> tuple[float, float]:
    """Width and height of a page in points."""
    width, height = (side * MM for side in PAPERS_MM[paper])
    return (height, width) if lying else (width, height)


def content_width_pt(paper: PaperName, *, lying: bool = False) -> float:
    """Width between the margins in points."""
    return page_size_pt(paper, lying=lying)[0] - 2 * MARGIN_MM * MM


def content_height_pt(paper: PaperName, *, lying: bool = False) -> float:
    """Height between the margins in points: nothing that is kept in one piece may be taller."""
    return page_size_pt(paper, lying=lying)[1] - (TOP_MM + BOTTOM_MM) * MM


def make_pdf(
    story: Sequence[Flowable],
    *,
    paper: PaperName,
    title: str,
    running: str | None = None,
    lying: bool = False,
) -> bytes:
    """Set a row of blocks on numbered pages.

    Parameters
    ----------
    story : sequence of Flowable
        Blocks from `blocks.py`, in order. A block is laid out once: make them anew for another document.
    paper : {"a4", "letter"}
    title : str
        What the file says it is, shown as the window's title.
    running : str, optional
        At the foot of every page, beside "page 3 of 7"; the title, unless given.
    lying : bool
        Landscape.

    Returns
    -------
    bytes
        The PDF, in English, with the fonts that it uses.
    """
    load_fonts()
    size = page_size_pt(paper, lying=lying)
    content = io.BytesIO()
    _Document(content, size, title, running or title).build(list(story), canvasmaker=_Numbered)
    return content.getvalue()


def draw_pdf(pages: Sequence[Callable[[Canvas], None]], *, paper: PaperName, title: str, lying: bool = False) -> bytes:
    """Draw pages freely, without margins or a foot: sheets of labels, things at exact size.

    Parameters
    ----------
    pages : sequence of callables
        Each draws one page on the canvas it is given, in points from the lower left. Text has to pass `printable`.
    paper, title, lying
        As for `make_pdf`.
    """
    load_fonts()
    content = io.BytesIO()
    size = page_size_pt(paper, lying=lying)
    options: dict[str, Any] = {"initialFontName": SANS, "lang": LANGUAGE, "pageCompression": 1, "invariant": 1}
    canvas = Canvas(content, pagesize=size, **options)
    canvas.setTitle(printable(title))
    canvas.setCreator(CREATOR)
    canvas.setViewerPreference("DisplayDocTitle", "true")
    canvas.setViewerPreference("PrintScaling", "None")  # print dialogues then start at 100 %
    for draw in pages:
        draw(canvas)
        canvas.showPage()
    canvas.save()
    return content.getvalue()


class _Numbered(Canvas):
    """Every page calls for a foot, which is drawn last, when the number of pages is known."""

    running = ""
    width_pt = 0.0  # of the content

    def save(self) -> None:
        pages = self.getPageNumber() - 1
        lacks = LACKS if any(_was_used(MISSING, self, font) for font in FILES) else ""
        for page in range(1, pages + 1):
            self.beginForm(_foot_name(page))
            self._draw_foot(f"page {page} of {pages}", lacks)
            self.endForm()
        super().save()

    def _draw_foot(self, number: str, remark: str) -> None:
        left, y = MARGIN_MM * MM, FOOT_MM * MM
        right = left + self.width_pt
        self.setStrokeColor(LINE)
        self.setLineWidth(0.6)
        self.line(left, y + 10, right, y + 10)
        self.setFillColor(SOFT)
        self.setFont(SANS, FOOT_PT)
        taken = 0.0
        for words in (number, remark):
            if words:
                self.drawRightString(right - taken, y, words)
                taken += width_pt(words, SANS, FOOT_PT) + GAP_PT
        self.drawString(left, y, fitted(self.running, SANS, FOOT_PT, self.width_pt - taken))


class _Document(BaseDocTemplate):
    """Pages of one column, whose headings become the outline that a viewer shows beside them."""

    def __init__(self, content: io.BytesIO, size_pt: tuple[float, float], title: str, running: str) -> None:
        super().__init__(
            content,
            pagesize=size_pt,
            leftMargin=MARGIN_MM * MM,
            rightMargin=MARGIN_MM * MM,
            topMargin=TOP_MM * MM,
            bottomMargin=BOTTOM_MM * MM,
            title=printable(title),
            author=CREATOR,
            creator=CREATOR,
            invariant=1,
            pageCompression=1,
            initialFontName=SANS,  # reportlab's own first choice is not embedded
            lang=LANGUAGE,
            displayDocTitle=True,
        )
        frame = Frame(self.leftMargin, self.bottomMargin, self.width, self.height, 0, 0, 0, 0)
        self.addPageTemplates(PageTemplate("page", [frame], onPage=_call_for_foot))
        self._running = printable(running)
        self._headings = 0

    def beforeDocument(self) -> None:
        canvas = cast("_Numbered", self.canv)
        canvas.running, canvas.width_pt = self._running, self.width

    def afterFlowable(self, flowable: Flowable) -> None:
        if not isinstance(flowable, Paragraph) or flowable.style.name not in OUTLINE:
            return
        level = OUTLINE[flowable.style.name] if self._headings else 0  # the first is at the top, whatever it is
        self._headings += 1
        key = f"heading{self._headings}"
        self.canv.bookmarkPage(key)
        self.canv.addOutlineEntry(cast("Any", flowable).getPlainText(), key, level, closed=True)


def _call_for_foot(canvas: Canvas, _: BaseDocTemplate) -> None:
    canvas.doForm(_foot_name(canvas.getPageNumber()))


def _foot_name(page: int) -> str:
    return f"foot{page}"


def _was_used(letter: str, canvas: Canvas, font: str) -> bool:
    """Whether a document sets a letter in one of our fonts: reportlab keeps, per document, what it will embed."""
    document = cast("Any", canvas)._doc  # noqa: SLF001 - kept nowhere else
    state: Any = getattr(pdfmetrics.getFont(font), "state", {}).get(document)
    return state is not None and ord(letter) in state.assignments
