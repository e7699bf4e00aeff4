"""Which of the markers seen belong together as strips beside one board, and roughly where do these lie?

A marker may be a stray one, from another sheet or another board. Those that lie as on one printed strip are taken:
two of them foretell where all others should be, and the pair that most others agree with is believed.
"""

from collections.abc import Iterator
from dataclasses import dataclass
from itertools import combinations

import cv2
import numpy as np
from numpy.typing import NDArray

from calibration.strips import MARKER_MM, Side, marker_corners_mm, marker_place

Array = NDArray[np.float64]

AGREE_MM = 5.0  # of a marker's middle from where two others foretell it: joints, the lens and paper's waves (chosen)
MOST_PAIRS = 80


@dataclass(frozen=True, slots=True, eq=False)
class RoughStrip:
    """The markers of one strip that agree."""

    side: Side
    chosen: NDArray[np.intp]  # (n,): indices into the sightings
    cells: NDArray[np.intp]  # (n,)
    strip_mm: Array  # (n, 4, 2)
    photo_px: Array  # (n, 4, 2)
    mm_to_px: Array | None  # (3, 3): strip mm to photo pixels; None: a single marker does not tell


def rough_strip(side: Side, numbers: NDArray[np.int64], corners_px: Array) -> RoughStrip | None:
    """The largest set of markers that lie as on one strip; None if no marker of this strip is there."""
    places = [marker_place(int(number)) for number in numbers]
    ours = np.array([k for k, place in enumerate(places) if place and place[0] is side], dtype=np.intp)
    if not len(ours):
        return None
    strip_mm = np.array([marker_corners_mm(int(numbers[k])) for k in ours])
    photo_px = corners_px[ours]
    cells = np.array([place[1] for place in places if place and place[0] is side], dtype=np.intp)
    agreeing, mm_to_px = _largest_agreement(cells, strip_mm, photo_px)
    return RoughStrip(side, ours[agreeing], cells[agreeing], strip_mm[agreeing], photo_px[agreeing], mm_to_px)


def _largest_agreement(
    cells: NDArray[np.intp], strip_mm: Array, photo_px: Array
) -> tuple[NDArray[np.intp], Array | None]:
    best = np.array([0], dtype=np.intp)
    least = np.inf
    for pair in _pairs(cells):
        H = _homography(strip_mm[pair], photo_px[pair])
        if H is None:
            continue
        distance = _distance_mm(H, strip_mm, photo_px)
        agreeing = _one_of_each(np.flatnonzero(distance < AGREE_MM), cells, distance)
        cost = float(distance[agreeing].mean()) if len(agreeing) else np.inf
        if (-len(agreeing), cost) < (-len(best), least) and len(agreeing) >= 2:
            best, least = agreeing, cost
            if len(best) == len(np.unique(cells)):
                break  # all agree: no pair can find more
    return best, _homography(strip_mm[best], photo_px[best]) if len(best) >= 2 else None


def _pairs(cells: NDArray[np.intp]) -> Iterator[list[int]]:
    """Pairs of different markers, the farthest apart first."""
    pairs = [pair for pair in combinations(range(len(cells)), 2) if cells[pair[0]] != cells[pair[1]]]
    pairs.sort(key=lambda pair: -abs(int(cells[pair[0]] - cells[pair[1]])))
    step = max(1, len(pairs) // MOST_PAIRS)
    for pair in pairs[::step]:
        yield list(pair)


def _one_of_each(agreeing: NDArray[np.intp], cells: NDArray[np.intp], distance: Array) -> NDArray[np.intp]:
    """Of markers with the same number only that which agrees best."""
    ordered = agreeing[np.argsort(distance[agreeing])]
    _, first = np.unique(cells[ordered], return_index=True)
    return np.sort(ordered[first])


def _homography(strip_mm: Array, photo_px: Array) -> Array | None:
    """From markers (n, 4, 2) to the photo; None if they do not lie like markers seen from their printed side."""
    found: Array | None = cv2.findHomography(strip_mm.reshape(-1, 2), photo_px.reshape(-1, 2), 0)[0]  # type: ignore[assignment] # its stub leaves out None
    return found if found is not None and np.isfinite(found).all() and np.linalg.det(found) > 0 else None


def _distance_mm(H: Array, strip_mm: Array, photo_px: Array) -> Array:
    """How far (n,) each marker's middle lies from where it is foretold, in mm by the marker's own size."""
    flat = strip_mm.reshape(-1, 2)
    foretold = np.column_stack([flat, np.ones(len(flat))]) @ H.T
    in_front = (foretold[:, 2] * np.sign(foretold[0, 2]) > 1e-9).reshape(-1, 4).all(axis=1)
    foretold_px = (foretold[:, :2] / np.where(np.abs(foretold[:, 2:]) > 1e-12, foretold[:, 2:], 1e-12)).reshape(
        -1, 4, 2
    )
    off_px = np.hypot(*(foretold_px.mean(axis=1) - photo_px.mean(axis=1)).T)
    side_px = np.sqrt(_area(photo_px))
    alike = np.abs(np.log(np.maximum(_area(foretold_px), 1e-9) / np.maximum(side_px**2, 1e-9))) < 0.7  # half, or twice
    return np.where(in_front & alike, off_px / np.maximum(side_px, 1e-9) * MARKER_MM, np.inf)


def _area(quads: Array) -> Array:
    """Areas (n,) of quadrilaterals (n, 4, 2)."""
    x, y = quads[..., 0], quads[..., 1]
    return np.asarray(np.abs((x * np.roll(y, -1, axis=1) - y * np.roll(x, -1, axis=1)).sum(axis=1)) / 2)
