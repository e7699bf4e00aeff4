"""How does the answer become a document to print, sign and file?

Three parts: a page for the customer; the verdicts, boards and recipes; an appendix with method, uncertainty, numbers,
findings and cautions. The content is that of the page (`content.py`), drawn as vectors but for the photos and maps.
"""

from reportlab.platypus import Flowable, PageBreak

from analyzer.paper.document import PaperName, content_width_pt, make_pdf
from analyzer.paper.styles import MM
from analyzer.report.content import Content
from analyzer.report.printed.boards import board_blocks
from analyzer.report.printed.customer import customer_blocks
from analyzer.report.printed.tables import appendix_blocks, finding_blocks
from analyzer.report.printed.verdicts import verdict_blocks


def report_pdf(content: Content, paper: PaperName) -> bytes:
    """Write the report as a PDF.

    Parameters
    ----------
    content : Content
        What stands in it, the same as on the page.
    paper : {"a4", "letter"}

    Returns
    -------
    bytes
        The same content gives the same bytes; it carries no date.
    """
    page = content.page
    width_mm = content_width_pt(paper) / MM
    story: list[Flowable] = [
        *customer_blocks(page, width_mm),
        PageBreak(),
        *verdict_blocks(page, width_mm),
        *board_blocks(content, width_mm),
        *finding_blocks(page, width_mm),
        PageBreak(),
        *appendix_blocks(content, width_mm),
    ]
    by = f"{page.tool.name} {page.tool.version}"
    return make_pdf(story, paper=paper, title=f"{page.title}: test boards", running=f"{page.title} · {by}")
