"""How does the answer become one page that opens anywhere and prints well?"""

from pathlib import Path

from analyzer.report.content import Content

TEMPLATES = Path(__file__).parent / "templates"


def report_html(content: Content) -> bytes:
    """Write the report page: one file, no scripts, nothing fetched from elsewhere.

    Parameters
    ----------
    content : Content
        What stands on it.

    Returns
    -------
    bytes
        UTF-8 HTML. The same measurement gives the same bytes; it carries no date.
    """
    from jinja2 import Environment, FileSystemLoader, StrictUndefined  # noqa: PLC0415 - only when a report is written

    environment = Environment(
        loader=FileSystemLoader(TEMPLATES),
        autoescape=True,
        undefined=StrictUndefined,
        trim_blocks=True,
        lstrip_blocks=True,
    )
    text = environment.get_template("report.html").render(
        page=content.page, boards=content.boards, scale=content.scale, overlays=content.overlays
    )
    return text.encode()
