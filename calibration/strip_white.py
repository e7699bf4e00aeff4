"""How light is the paper of the edge strips, place by place?  Samples of their white fields for the light map."""

from collections.abc import Iterator, Sequence
from itertools import pairwise
from typing import NamedTuple

import numpy as np
from numpy.typing import NDArray

from calibration.photo import Photo
from calibration.strip_plane import LaidSection, StripPlane
from calibration.strips import (
    FIELD_RIM_MM,
    PITCH_MM,
    Rectangle,
    Side,
    section_of,
    sections_beside,
    white_fields_mm,
)

Array = NDArray[np.float64]

# Patches of a field along the strip and across it. Two along: a shadow's edge then spoils one pair of them only. Two
# across, near the board and away from it: they show how the light slopes across the board.
PATCHES = (2, 2)
NARROWEST_MM = 2.5  # of a patch, along the strip
GRID = (16, 16)  # samples of a patch along and across; the noise of a mean is then 1/16 of a pixel's
KEEP = 2.5  # robust standard deviations from the median: beyond lie dirt and print
LEAST_SPREAD = 0.003  # 8-bit codes of paper alone are that coarse
# Chosen: what a patch may be before it is taken for something that lies on the strip.
MAX_CLIPPED, MIN_LEVEL, MAX_HUE_SHIFT, MAX_SPREAD = 0.01, 0.35, 0.25, 0.06


class WhiteSamples(NamedTuple):
    """Bare paper along the edges of the board."""

    points_px: Array  # (n, 2), in the photo
    points_mm: Array  # (n, 2), on the board
    linear_RGB: Array  # (n, 3)
    spread: Array  # (n,): robust standard deviation of single pixels, over their median


def white_samples(photo: Photo, laid: StripPlane) -> WhiteSamples:
    """Read the white fields of the strips.

    Parameters
    ----------
    photo : Photo
    laid : StripPlane
        Where the strips lie.

    Returns
    -------
    WhiteSamples
        One row a patch of about 5 x 7 mm. Left out are patches out of frame, at full scale, far darker than the rest
        of their strip, of another colour, or uneven in themselves.
    """
    places = [_grid(section, patch) for section, patch in _patches(laid)]
    if not places:
        return WhiteSamples(np.empty((0, 2)), np.empty((0, 2)), np.empty((0, 3)), np.empty(0))
    on_board = np.array(places)  # (n, samples, 2)
    xy = np.round(laid.to_px(on_board)).astype(int)
    rows, columns = photo.codes.shape[:2]
    in_frame = ((xy >= 0) & (xy < (columns, rows))).all(axis=(1, 2))
    on_board, xy = on_board[in_frame], xy[in_frame]
    codes = photo.codes[xy[..., 1], xy[..., 0]]
    clipped = (codes >= photo.clipped_from).any(axis=-1).mean(axis=1) > MAX_CLIPPED
    on_board, codes = on_board[~clipped], codes[~clipped]
    linear = np.stack([photo.curve[codes[..., k], k] for k in range(3)], axis=-1).astype(np.float64)
    linear_RGB, spread = _cleanest(linear)
    middle_mm = on_board.mean(axis=1)
    bare = _looks_bare(linear_RGB, spread, middle_mm, laid.plane.width_mm)
    return WhiteSamples(laid.to_px(middle_mm)[bare], middle_mm[bare], linear_RGB[bare], spread[bare])


def _patches(laid: StripPlane) -> Iterator[tuple[LaidSection, Rectangle]]:
    """Parts of white fields, strip mm, from the first to the last marker that was seen on each strip."""
    for side in Side:
        on_side = [section for section in laid.sections if section.side is side and section.cells]
        if not on_side:
            continue
        cells = [cell for section in on_side for cell in section.cells]
        printed = sections_beside(side, laid.plane.length_mm)
        for cell in range(min(cells), max(cells) + 1):
            nearest = _nearest(on_side, section_of(cell))
            right_mm = printed[-1].right_mm if cell <= printed[-1].cells[-1] else (cell + 1) * PITCH_MM
            for field in white_fields_mm(side, cell):
                for patch in _parts(field, right_mm - FIELD_RIM_MM):
                    yield nearest, patch


def _nearest(on_side: Sequence[LaidSection], index: int) -> LaidSection:
    """The section with this index, or that which tells best how it lies."""
    return min(on_side, key=lambda section: abs(section.index - index))


def _parts(field: Rectangle, right_mm: float) -> Iterator[Rectangle]:
    left, top, right, bottom = field
    along = np.linspace(left, min(right, right_mm), PATCHES[0] + 1)
    if along[1] - along[0] >= NARROWEST_MM:
        across = np.linspace(top, bottom, PATCHES[1] + 1).tolist()
        for start, end in pairwise(along.tolist()):
            for upper, lower in pairwise(across):
                yield start, upper, end, lower


def _grid(section: LaidSection, patch: Rectangle) -> Array:
    """Evenly spread points (samples, 2) of a patch, board mm."""
    left, top, right, bottom = patch
    along, across = ((np.arange(n) + 0.5) / n for n in GRID)
    x, y = np.meshgrid(left + (right - left) * along, top + (bottom - top) * across)
    return section.on_board(np.column_stack([x.ravel(), y.ravel()]))


def _cleanest(linear: Array) -> tuple[Array, Array]:
    """Mean colour (n, 3) of the samples (n, samples, 3) near each patch's median, and their spread (n,)."""
    level = linear.mean(axis=-1)
    median = np.median(level, axis=1, keepdims=True)
    spread = 1.4826 * np.median(np.abs(level - median), axis=1, keepdims=True)
    kept = np.abs(level - median) <= KEEP * np.maximum(spread, LEAST_SPREAD * median)
    mean = (linear * kept[..., None]).sum(axis=1) / kept.sum(axis=1)[:, None]
    return mean, np.asarray((spread / np.maximum(median, 1e-6))[:, 0])


def _looks_bare(linear_RGB: Array, spread: Array, middle_mm: Array, width_mm: float) -> NDArray[np.bool_]:
    """Which patches are bare paper and not something lying on it."""
    if not len(spread):
        return np.zeros(0, bool)
    log_RGB = np.log(np.maximum(linear_RGB, 1e-6))
    hue = log_RGB[:, [0, 2]] - log_RGB[:, [1]]
    of_paper_colour = np.abs(hue - np.median(hue, axis=0)).max(axis=1) <= MAX_HUE_SHIFT
    at_top = middle_mm[:, 1] < width_mm / 2
    light_enough = np.zeros(len(spread), bool)
    for strip in (at_top, ~at_top):
        if strip.any():
            light_enough[strip] = log_RGB[strip, 1] >= np.median(log_RGB[strip, 1]) + np.log(MIN_LEVEL)
    return np.asarray(of_paper_colour & light_enough & (spread <= np.maximum(MAX_SPREAD, 4 * np.median(spread))))
