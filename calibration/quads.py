"""Which four-sided shapes are there in a map?  Outlines of thresholded maps, reduced to four corners."""

from collections.abc import Iterator

import cv2
import numpy as np
from numpy.typing import NDArray

MOST_CUT_CORNERS = 7  # vertices of an outline from which a quadrilateral may still be made
MIN_SOLIDITY = 0.88  # area over area of the convex hull; a notch of a tenth may be a shadow or a clip
AHEAD, BACK = [1, 2, 3, 0], [3, 0, 1, 2]  # the next and the last of four corners: as indices, far quicker than np.roll


def quads_in(mask: NDArray[np.uint8], min_area_px: float) -> Iterator[NDArray[np.float64]]:
    """Quadrilaterals (4, 2) in a mask, clockwise in the picture, from outer outlines and holes alike."""
    outlines, _ = cv2.findContours(mask, cv2.RETR_LIST, cv2.CHAIN_APPROX_SIMPLE)
    for outline in outlines:
        area = cv2.contourArea(outline)
        if area < min_area_px:
            continue
        hull = np.asarray(cv2.convexHull(outline), dtype=np.int32)
        if area < MIN_SOLIDITY * cv2.contourArea(hull):
            continue
        quad = quad_of_hull(hull)
        if quad is not None:
            yield quad


def quad_of_hull(hull: NDArray[np.int32]) -> NDArray[np.float64] | None:
    """The four corners (4, 2) of a nearly four-sided convex outline, clockwise; None if it is no such thing.

    A corner that is cut off, by a card lying over it or by wear, is put back where its sides would meet.
    """
    perimeter = cv2.arcLength(hull, closed=True)
    for share in (0.015, 0.02, 0.03, 0.04, 0.06):
        corners = cv2.approxPolyDP(hull, share * perimeter, closed=True).reshape(-1, 2).astype(np.float64)
        if len(corners) == 4:
            return _checked(clockwise(corners), hull, 0.85)
        if len(corners) < 4:
            return None
        if len(corners) <= MOST_CUT_CORNERS:
            extended = _longest_sides_met(corners)
            checked = None if extended is None else _checked(clockwise(extended), hull, 0.92)
            if checked is not None:
                return checked
    return None


def _checked(quad: NDArray[np.float64], hull: NDArray[np.int32], least_covered: float) -> NDArray[np.float64] | None:
    """The quadrilateral, if its area is about the hull's and none of its corners is sharp."""
    covered = cv2.contourArea(hull) / max(cv2.contourArea(quad.astype(np.float32)), 1e-9)
    convex = cv2.isContourConvex(quad.astype(np.float32))
    return quad if convex and least_covered < covered < 1.2 and corner_angles_deg(quad).min() > 40 else None


def _longest_sides_met(polygon: NDArray[np.float64]) -> NDArray[np.float64] | None:
    """Corners (4, 2) where the four longest sides of a polygon (n, 2) meet, each with the next."""
    sides = np.concatenate([polygon[1:], polygon[:1]]) - polygon
    longest = np.sort(np.argsort(np.hypot(sides[:, 0], sides[:, 1]))[-4:])
    start, along = polygon[longest], sides[longest]
    gap, next_along = start[AHEAD] - start, along[AHEAD]
    across = along[:, 0] * next_along[:, 1] - along[:, 1] * next_along[:, 0]
    if np.abs(across).min() < 1e-6:
        return None
    t = (gap[:, 0] * next_along[:, 1] - gap[:, 1] * next_along[:, 0]) / across
    return np.asarray(start + t[:, np.newaxis] * along)


def clockwise(quad: NDArray[np.float64]) -> NDArray[np.float64]:
    """The same corners in clockwise order as seen in the picture (y down)."""
    area = cv2.contourArea(quad.astype(np.float32), oriented=True)
    return quad if area > 0 else quad[::-1].copy()


def corner_angles_deg(quad: NDArray[np.float64]) -> NDArray[np.float64]:
    """Inner angles (4,) of a quadrilateral, degrees."""
    ahead = quad[AHEAD] - quad
    back = -ahead[BACK]
    length = np.hypot(ahead[:, 0], ahead[:, 1])
    cosine = (back[:, 0] * ahead[:, 0] + back[:, 1] * ahead[:, 1]) / (length[BACK] * length + 1e-12)
    return np.asarray(np.degrees(np.arccos(np.minimum(np.maximum(cosine, -1), 1))))


def side_lengths(quad: NDArray[np.float64]) -> NDArray[np.float64]:
    """Lengths (4,) of the sides from each corner to the next."""
    ahead = quad[AHEAD] - quad
    return np.asarray(np.hypot(ahead[:, 0], ahead[:, 1]))


def shrunk(quad: NDArray[np.float64], share: float) -> NDArray[np.float64]:
    """The quadrilateral moved toward its centre: `share` 0.2 leaves 80 % of each side."""
    centre = quad.mean(axis=0)
    return np.asarray(centre + (1 - share) * (quad - centre))


def quad_mask(shape: tuple[int, ...], quad: NDArray[np.float64]) -> NDArray[np.bool_]:
    """Mask (rows, columns) of the pixels whose centres lie inside a quadrilateral."""
    mask = np.zeros(shape[:2], np.uint8)
    cv2.fillConvexPoly(mask, np.round(quad * 16).astype(np.int32), 1, lineType=cv2.LINE_8, shift=4)
    return mask.astype(bool)
