"""How does the answer become one page that opens anywhere and prints well?"""

from collections.abc import Sequence
from pathlib import Path

from analyzer.measurement import Measurement
from analyzer.report.boards import ShownBoard, board_figures, map_scale, overlay_figure
from analyzer.report.page import page_of

TEMPLATES = Path(__file__).parent / "templates"


def report_html(measurement: Measurement, boards: Sequence[ShownBoard], limit: float) -> bytes:
    """Write the report page: one file, no scripts, nothing fetched from elsewhere.

    Parameters
    ----------
    measurement : Measurement
        A measured job.
    boards : sequence of ShownBoard
        The boards to show, from `boards.shown_boards`.
    limit : float
        L* at both ends of the scale of the lightness maps, from `pictures.map_limit`.

    Returns
    -------
    bytes
        UTF-8 HTML. The same measurement gives the same bytes; it carries no date.
    """
    from jinja2 import Environment, FileSystemLoader, StrictUndefined  # noqa: PLC0415 - only when a report is written

    units = measurement.job.units
    environment = Environment(
        loader=FileSystemLoader(TEMPLATES),
        autoescape=True,
        undefined=StrictUndefined,
        trim_blocks=True,
        lstrip_blocks=True,
    )
    text = environment.get_template("report.html").render(
        page=page_of(measurement.job, measurement.results),
        boards=board_figures(boards, limit, measurement.results, units),
        scale=map_scale(limit),
        overlays=[overlay_figure(overlay) for overlay in measurement.overlays],
    )
    return text.encode()
