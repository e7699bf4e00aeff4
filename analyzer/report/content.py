"""What do report.html and report.pdf both show?  The same content, made once."""

from collections.abc import Sequence
from dataclasses import dataclass

from analyzer.measurement import Measurement
from analyzer.report.approved import ApprovalRow
from analyzer.report.boards import (
    BoardFigure,
    MapScale,
    OverlayFigure,
    ShownBoard,
    board_figures,
    map_scale,
    overlay_figure,
)
from analyzer.report.page import Page, page_of


@dataclass(frozen=True, slots=True)
class Content:
    """The page, and the pictures on it."""

    page: Page
    boards: tuple[BoardFigure, ...]
    scale: MapScale
    overlays: tuple[OverlayFigure, ...]


def content_of(
    measurement: Measurement, boards: Sequence[ShownBoard], limit: float, approvals: tuple[ApprovalRow, ...] = ()
) -> Content:
    """Fill everything that a report shows.

    Parameters
    ----------
    measurement : Measurement
        A measured job.
    boards : sequence of ShownBoard
        The boards to show, from `boards.shown_boards`.
    limit : float
        L* at both ends of the scale of the lightness maps, from `pictures.map_limit`.
    approvals : tuple of ApprovalRow
        What was approved already, from `approved.approval_rows`.
    """
    return Content(
        page=page_of(measurement.job, measurement.results, approvals),
        boards=board_figures(boards, limit, measurement.results, measurement.job.units),
        scale=map_scale(limit),
        overlays=tuple(overlay_figure(overlay) for overlay in measurement.overlays),
    )
