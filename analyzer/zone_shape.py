"""Which pixels of a flat board belong to a zone, its margin left out?"""

import numpy as np
from numpy.typing import NDArray

from analyzer.job import Board, Zone

Window = tuple[slice, slice]  # rows and columns


def zone_window(zone: Zone, board: Board, mm_per_px: float) -> Window:
    """Rows and columns of the flat board whose pixels lie wholly inside the margin of a zone's bounding box."""
    margin = zone.margin_mm
    top, bottom = zone.across_mm[0] + margin, zone.across_mm[1] - margin
    left, right = zone.span_mm[0] + margin, zone.span_mm[1] - margin
    rows, columns = round(board.width_mm / mm_per_px), round(board.length_mm / mm_per_px)
    return _inside(top, bottom, mm_per_px, rows), _inside(left, right, mm_per_px, columns)


def zone_shape(zone: Zone, board: Board, mm_per_px: float) -> tuple[Window, NDArray[np.bool_]]:
    """The window of a zone on the flat board, and which of its pixels lie inside the margin of its outline.

    Parameters
    ----------
    zone, board : Zone, Board
        Their geometry, mm.
    mm_per_px : float
        Of the flat board.

    Returns
    -------
    window : (slice, slice)
        As small as the shape allows; empty when the margin leaves nothing.
    shape : ndarray of bool, (rows, columns) of the window
        All True for a rectangle.
    """
    rows, columns = zone_window(zone, board, mm_per_px)
    size = rows.stop - rows.start, columns.stop - columns.start
    if not zone.polygon_mm or min(size) == 0:
        return (rows, columns), np.ones(size, bool)
    x_mm = (np.arange(columns.start, columns.stop) + 0.5) * mm_per_px
    y_mm = (np.arange(rows.start, rows.stop)[:, np.newaxis] + 0.5) * mm_per_px
    shape = _depth_mm(np.array(zone.polygon_mm), x_mm, y_mm) >= zone.margin_mm + mm_per_px / 2 - 1e-6
    kept_rows, kept_columns = _filled(shape, axis=1), _filled(shape, axis=0)
    return (_shifted(kept_rows, rows), _shifted(kept_columns, columns)), shape[kept_rows, kept_columns]


def _inside(low_mm: float, high_mm: float, mm_per_px: float, count: int) -> slice:
    start = max(int(np.ceil(low_mm / mm_per_px - 1e-6)), 0)
    stop = min(int(np.floor(high_mm / mm_per_px + 1e-6)), count)
    return slice(start, max(stop, start))  # never negative: that would count from the other end


def _depth_mm(
    corners_mm: NDArray[np.float64], x_mm: NDArray[np.floating], y_mm: NDArray[np.floating]
) -> NDArray[np.float64]:
    """Distance of points (columns,) by (rows, 1) from a polygon's edge; 0 outside it, (rows, columns)."""
    inside = np.zeros((y_mm.size, x_mm.size), bool)
    squared = np.full(inside.shape, np.inf)
    for (x1, y1), (x2, y2) in zip(corners_mm, np.roll(corners_mm, -1, axis=0), strict=True):
        along, down = x2 - x1, y2 - y1
        if y1 != y2:  # a line to the right crosses the edge: inside and outside change places (even-odd rule)
            crossed = (y1 > y_mm) != (y2 > y_mm)
            inside ^= crossed & (x_mm < x1 + along * (y_mm - y1) / down)
        share = np.clip(((x_mm - x1) * along + (y_mm - y1) * down) / (along**2 + down**2), 0, 1)
        squared = np.minimum(squared, (x_mm - x1 - share * along) ** 2 + (y_mm - y1 - share * down) ** 2)
    return np.where(inside, np.sqrt(squared), 0.0)


def _filled(shape: NDArray[np.bool_], axis: int) -> slice:
    """From the first to the last line across `axis` that holds something."""
    places = np.flatnonzero(np.any(shape, axis=axis))
    return slice(int(places[0]), int(places[-1]) + 1) if places.size else slice(0, 0)


def _shifted(part: slice, of_whole: slice) -> slice:
    return slice(part.start + of_whole.start, part.stop + of_whole.start)
