"""How does a plan become one page that opens anywhere, on the bench's phone too, and prints well?"""

from pathlib import Path

from analyzer.plan.page import page_of
from analyzer.plan.plan import Plan
from analyzer.plan.shapes import svg
from analyzer.report.html import TEMPLATES as REPORT_TEMPLATES

TEMPLATES = Path(__file__).parent / "templates"


def plan_html(plan: Plan) -> bytes:
    """Write the page of a plan: one file, no scripts, nothing fetched from elsewhere.

    Returns
    -------
    bytes
        UTF-8 HTML, the same for the same plan.
    """
    from jinja2 import Environment, FileSystemLoader, StrictUndefined  # noqa: PLC0415 - only when a page is written
    from markupsafe import Markup  # noqa: PLC0415 - comes with Jinja

    environment = Environment(
        loader=FileSystemLoader([TEMPLATES, REPORT_TEMPLATES]),  # the report's look is the plan's
        autoescape=True,
        undefined=StrictUndefined,
        trim_blocks=True,
        lstrip_blocks=True,
    )
    page = page_of(plan)
    drawings = [
        Markup(svg(board.drawing.shapes, board.drawing.width_mm, board.drawing.height_mm, board.about))  # noqa: S704 - every word in it was escaped
        for board in page.boards
    ]
    text = environment.get_template("plan.html").render(page=page, plan=plan, drawings=drawings)
    return text.encode()
