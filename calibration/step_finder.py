"""Where in the photo does a row of neutral steps lie, from light to dark?

Patches (step_patches.py) suggest rows (step_rows.py). What decides is whether all steps are calm and neutral where a
row says, and as far apart in lightness as their reflectances ask, but for some tone curve.
"""

from collections.abc import Iterator, Sequence
from dataclasses import dataclass

import cv2
import numpy as np
from numpy.typing import ArrayLike, NDArray

from calibration.preview import Preview
from calibration.quads import clockwise, side_lengths
from calibration.step_patches import StepPatch, middle_pixels, read_patch, step_patches
from calibration.step_rows import MAX_CAST_SPREAD, MIN_STEP, row_again, row_cells, rows_seen

Floats = NDArray[np.float64]

MIN_CELL_PX = 6.0  # of a step where the row puts it: fewer pixels show no middle
LEAST_SLOPE, MOST_SLOPE = 0.3, 3.0  # of seen over known logarithmic steps, for any camera's curve (chosen)
MAX_MISFIT = 0.28  # ln units, of the levels from a smooth curve of the known ones
CLEAR_SCORE = 0.9  # ends the search
SETTLING, WORSE = 3, 0.1  # times that a row is put anew by all its patches, unless that scores so much less
MIN_SCORE = 0.45  # of steps that are as they should be, less what the levels are off
LEAST_FOLLOWING = 0.85  # correlation of levels in given corners with the known ones
RIM_STEP = 0.05  # ln units, in luminance or a ratio, between a step and what lies beside the row


@dataclass(frozen=True, slots=True, eq=False)
class StepsFound:
    """Where the steps lie in the photo, in the order of their reflectances."""

    cells_px: Floats  # (n, 4, 2), corners of each, clockwise or counter-clockwise alike, the first two along the row
    corners_px: Floats  # (4, 2), of the whole row; the first and the last at its light end
    score: float  # 0..1


def find_step_card(
    preview: Preview,
    reflectances: Sequence[float],
    corners: ArrayLike | None = None,
    papers: Sequence[Floats] = (),
) -> StepsFound | None:
    """Find a step card.

    Parameters
    ----------
    preview : Preview
    reflectances : sequence of float
        Of the steps in their order on the card, light to dark.
    corners : array_like, (4, 2), optional
        Outer corners of the row of steps in photo pixels, in order around it, starting anywhere: it is not searched
        then, only turned the right way.
    papers : sequence of ndarray, (4, 2)
        Outlines in preview pixels of what is known to be no card.

    Returns
    -------
    StepsFound or None
        None: nothing in the photo looks like it; with corners: the levels inside them are not in order.
    """
    known = np.log(np.asarray(reflectances, dtype=np.float64))
    if len(known) < 3 or not (np.diff(known) < 0).all():
        raise ValueError("find_step_card: at least three reflectances are needed, from light to dark.")
    if corners is not None:
        return _turned_right(preview, known, clockwise(preview.to_preview(corners)))
    patches = [patch for patch in step_patches(preview) if not any(_lies_on(patch.centre, paper) for paper in papers)]
    found = _best(preview, known, rows_seen(patches, len(known)))
    if found is None:
        return None
    for _ in range(SETTLING):
        again = _best(preview, known, row_again(preview.to_preview(found.cells_px), patches))
        if again is None or again.score < found.score - WORSE:
            break
        found = again
    return found


def _turned_right(preview: Preview, known: Floats, outer: Floats) -> StepsFound | None:
    """The row in given corners, begun at its light end; None where its levels do not follow the known ones at all.

    The corners are trusted: a step may be covered or shine here, which those who read it will see.
    """
    if not cv2.isContourConvex(outer.astype(np.float32)):
        return None
    ends = np.linspace(0, 1, len(known) + 1)
    best, most = None, LEAST_FOLLOWING
    for turn in range(4):
        to_px, _ = cv2.findHomography(np.array([[0.0, 0], [1, 0], [1, 1], [0, 1]]), np.roll(outer, turn, axis=0), 0)
        cells = row_cells(np.asarray(to_px, dtype=np.float64), ends[:-1], ends[1:])
        pixels = [middle_pixels(preview.layers, cell) for cell in cells]
        if not all(len(inside) for inside in pixels):
            return None
        levels = np.array([np.median(inside[:, 0]) for inside in pixels])
        follows = float(np.corrcoef(levels, known)[0, 1]) if np.ptp(levels) > 1 else 0.0
        if follows > most:
            best, most = _found(preview, cells, follows), follows
    return best


def _found(preview: Preview, cells: Floats, score: float) -> StepsFound:
    cells_px = preview.to_photo(cells)
    outer = np.array([cells_px[0, 0], cells_px[-1, 1], cells_px[-1, 2], cells_px[0, 3]])
    return StepsFound(cells_px, outer, score)


def _best(preview: Preview, known: Floats, rows: Iterator[tuple[Floats, float]]) -> StepsFound | None:
    best: StepsFound | None = None
    for cells, seen in rows:
        score = _score(preview, cells, known, seen)
        if score > (MIN_SCORE if best is None else best.score):
            best = _found(preview, cells, score)
            if score > CLEAR_SCORE:
                break
    return best


def _lies_on(point: Floats, paper: Floats) -> bool:
    return cv2.pointPolygonTest(paper.astype(np.float32), (float(point[0]), float(point[1])), measureDist=False) >= 0


def _score(preview: Preview, cells: Floats, known: Floats, seen: float) -> float:
    """How well cells could be the steps, 0..1."""
    if min(side_lengths(cell).min() for cell in cells) < MIN_CELL_PX:
        return 0.0
    steps = [read_patch(preview.layers, cell) for cell in cells]
    count = len(known)
    good = np.array([step is not None for step in steps])
    log_Y = np.array([np.nan if step is None else step.log_Y for step in steps])
    good[out_of_order(log_Y, good)] = False  # covered, or a lamp shines on it
    if good.sum() < max(3, count - count // 4):
        return 0.0
    ratios = np.array([step.ratios for step, kept in zip(steps, good, strict=True) if step is not None and kept])
    if np.ptp(ratios, axis=0).max() > 2 * MAX_CAST_SPREAD:
        return 0.0
    misfit = _misfit(log_Y[good], known[good])
    if misfit > MAX_MISFIT:
        return 0.0
    rims = float(np.mean([_stands_out(preview.layers, cell, step) for cell, step in zip(cells, steps, strict=True)]))
    return float(good.mean() * (0.5 + 0.2 * seen + 0.3 * rims) * np.exp(-0.5 * (misfit / MAX_MISFIT) ** 2))


def out_of_order(levels: Floats, usable: NDArray[np.bool_], least: float = MIN_STEP) -> list[int]:
    """Usable steps outside the longest row of them in which each is darker than the last.

    Parameters
    ----------
    levels : ndarray, (n,)
        Natural logarithms of light.
    usable : ndarray of bool, (n,)
    least : float
        By which the next must be darker.
    """
    rows: list[list[int]] = []
    for place in np.flatnonzero(usable):
        before = [row for row in rows if levels[place] < levels[row[-1]] - least]
        rows.append([*max(before, key=len, default=[]), int(place)])
    kept = max(rows, key=len, default=[])
    return [int(place) for place in np.flatnonzero(usable) if place not in kept]


def _misfit(log_Y: Floats, known: Floats) -> float:
    """How far levels lie from a smooth curve of the known ones, ln units; infinite where its slope is no camera's."""
    slopes = np.diff(log_Y) / np.diff(known)
    if slopes.max() > MOST_SLOPE or np.median(slopes) < LEAST_SLOPE:
        return np.inf
    degree = 1 if len(known) < 4 else 2 if len(known) < 6 else 3
    residual = log_Y - np.polyval(np.polyfit(known, log_Y, degree), known)
    return float(np.sqrt((residual**2).mean()))


def _stands_out(layers: NDArray[np.float32], cell: Floats, step: StepPatch | None) -> bool:
    """Whether a step differs from what lies above and below the row."""
    if step is None:
        return False
    up = cell[[0, 1]] - cell[[3, 2]]
    sides = (cell[[0, 1]].mean(axis=0) + 0.15 * up.mean(axis=0), cell[[2, 3]].mean(axis=0) - 0.15 * up.mean(axis=0))
    here = np.array([step.log_Y, *step.ratios])
    for side in sides:
        x = int(np.clip(round(float(side[0])), 0, layers.shape[1] - 1))
        y = int(np.clip(round(float(side[1])), 0, layers.shape[0] - 1))
        if np.abs(layers[y, x] - here).max() < RIM_STEP:
            return False
    return True
