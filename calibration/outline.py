"""Where does the board lie, judged by its outline?

The board is what stands out from the background, four-sided, and of the board's proportions. Several guesses are
made (thresholds, single pieces and unions of pieces, with and without the card) and the best few are refined to
their edges; the one that its edges support best is taken.
"""

from collections.abc import Iterator
from dataclasses import dataclass
from itertools import combinations

import cv2
import numpy as np
from numpy.typing import NDArray

from calibration.background import Background
from calibration.edges import EdgeQuad, refine_quad
from calibration.photo import Photo
from calibration.preview import Preview
from calibration.quads import corner_angles_deg, quad_mask, quad_of_hull, shrunk, side_lengths

THRESHOLDS = (5.0, 8.0, 12.0, 18.0, 27.0)  # spreads above the background
COLOUR_THRESHOLDS = 3  # of them, also for colour alone: it leaves out the board's shadow
MIN_AREA_SHARE = 0.02  # of the frame; smaller is no board that anything could be measured on
MAX_PIECES = 5
PROPORTION_SPREAD = 0.16  # ln units; a tilt of 30 degrees changes a proportion by 0.14
REFINED = 4  # guesses refined to their edges
CLEAR_SCORE = 0.7  # an outline this good ends the search
MIN_SUPPORT = 0.4  # share of a side's profiles that must agree with its line
REACH_SHARE = 0.03  # of the shorter side: how far an edge may lie from its guess


@dataclass(frozen=True, slots=True, eq=False)
class Outline:
    """The board's outline in photo pixels."""

    edges: EdgeQuad
    score: float


def find_outline(
    photo: Photo,
    preview: Preview,
    background: Background,
    size_mm: tuple[float, float] | None,
    card: NDArray[np.float64] | None,
) -> Outline | None:
    """The outline of a board of a given size, or None.

    Parameters
    ----------
    photo : Photo
    preview : Preview
    background : Background
    size_mm : (float, float) or None
        Length and width of the board, mm; only their proportion is used. None: any will do.
    card : ndarray, (4, 2), or None
        The gray card in preview pixels: it is no part of the board's outline.

    Returns
    -------
    Outline or None
        Corners clockwise in the picture, starting anywhere.
    """
    guesses: list[tuple[float, NDArray[np.float64]]] = []
    for quad in _guesses(background, card):
        score = _score(background, quad, size_mm, card)
        if score > 0.05:
            guesses.append((score, quad))
    guesses.sort(key=lambda guess: -guess[0])
    best: Outline | None = None
    tried: list[NDArray[np.float64]] = []
    for _, quad in guesses:
        if len(tried) == REFINED:
            break
        if any(np.abs(quad - other).max() < 4 for other in tried):
            continue
        tried.append(quad)
        coarse = preview.to_photo(quad)
        edges = refine_quad(photo, coarse, max(6.0, REACH_SHARE * float(side_lengths(coarse).min())))
        if edges.support < MIN_SUPPORT or not cv2.isContourConvex(edges.corners_px.astype(np.float32)):
            continue
        refined = _score(background, preview.to_preview(edges.corners_px), size_mm, card)
        outline = Outline(edges, refined * edges.support)
        if best is None or outline.score > best.score:
            best = outline
        if best.score > CLEAR_SCORE:
            break
    return best


def _guesses(background: Background, card: NDArray[np.float64] | None) -> Iterator[NDArray[np.float64]]:
    shape = background.distance.shape
    min_area = MIN_AREA_SHARE * shape[0] * shape[1]
    kernel = np.ones((3, 3), np.uint8)
    maps = [(background.distance, THRESHOLDS), (background.colour_distance, THRESHOLDS[:COLOUR_THRESHOLDS])]
    for distance, thresholds in maps:
        for threshold in thresholds:
            above = (distance > threshold).astype(np.uint8)
            mask = np.asarray(cv2.morphologyEx(above, cv2.MORPH_OPEN, kernel), dtype=np.uint8)
            yield from _quads_of_pieces(mask, min_area)
            if card is not None:
                mask[quad_mask(shape, shrunk(card, -0.12))] = 0
                yield from _quads_of_pieces(mask, min_area)


def _quads_of_pieces(mask: NDArray[np.uint8], min_area: float) -> Iterator[NDArray[np.float64]]:
    outlines, _ = cv2.findContours(mask, cv2.RETR_EXTERNAL, cv2.CHAIN_APPROX_NONE)
    pieces = sorted((o for o in outlines if cv2.contourArea(o) > 0.1 * min_area), key=cv2.contourArea, reverse=True)
    pieces = pieces[:MAX_PIECES]
    for count in range(1, len(pieces) + 1):
        for group in combinations(pieces, count):
            hull = np.asarray(cv2.convexHull(np.concatenate(group)), dtype=np.int32)
            if cv2.contourArea(hull) < min_area:
                continue
            quad = quad_of_hull(hull)
            yield quad if quad is not None else _smallest_rectangle(hull)


def _smallest_rectangle(hull: NDArray[np.int32]) -> NDArray[np.float64]:
    corners = cv2.boxPoints(cv2.minAreaRect(hull)).astype(np.float64)
    area = cv2.contourArea(corners.astype(np.float32), oriented=True)
    return corners if area > 0 else corners[::-1].copy()


def _score(
    background: Background,
    quad: NDArray[np.float64],
    size_mm: tuple[float, float] | None,
    card: NDArray[np.float64] | None,
) -> float:
    """How well a quadrilateral could be the board, 0..1.

    It has the board's proportion, nothing of the background in it, and only background around it.
    """
    shape = background.distance.shape
    angles = corner_angles_deg(quad)
    if angles.min() < 50 or angles.max() > 130:
        return 0.0
    proportion = 1.0 if size_mm is None else _proportion(quad, size_mm)
    inside = quad_mask(shape, shrunk(quad, 0.03))
    around = quad_mask(shape, shrunk(quad, -0.10)) & ~quad_mask(shape, shrunk(quad, -0.03))
    if card is not None:
        hidden = quad_mask(shape, shrunk(card, -0.12))
        inside &= ~hidden
        around &= ~hidden
    if not inside.any() or not around.any():
        return 0.0
    filled = float((~background.is_background[inside]).mean())
    clear = float(background.is_background[around].mean())
    size = min(1.0, np.sqrt(inside.mean() / 0.1))
    return float(proportion * filled**2 * (0.15 + 0.85 * clear) * (0.5 + 0.5 * size))


def _proportion(quad: NDArray[np.float64], size_mm: tuple[float, float]) -> float:
    """How well the proportion of the sides fits the board's, whichever way it is turned, 0..1."""
    sides = side_lengths(quad)
    seen = np.log(sides[[0, 2]].mean() / sides[[1, 3]].mean())
    wanted = np.log(size_mm[0] / size_mm[1])
    misfit = min(abs(seen - wanted), abs(seen + wanted))
    return float(np.exp(-0.5 * (misfit / PROPORTION_SPREAD) ** 2))
