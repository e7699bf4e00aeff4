"""Where does the board lie, judged by its outline?

The board is what stands out from the background, four-sided, and of the board's proportions. Several guesses are
made (thresholds, single pieces and unions of pieces, with and without the card) and the best few are refined to
their edges; the one that its edges support best is taken.
"""

from collections.abc import Callable, Iterator, Sequence
from dataclasses import dataclass, replace
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
LEAST_SCORE = 0.05  # of a guess that is looked at
REFINED = 4  # guesses refined to their edges
CLEAR_SCORE = 0.7  # an outline this good ends the search
MIN_SUPPORT = 0.4  # share of a side's profiles that must agree with its line
REACH_SHARE = 0.03  # of the shorter side: how far an edge may lie from its guess
# Where several boards are looked for (chosen): the smallest, in how many pieces a card may cut one, and how many things
# that are no boards may lie between them.
SMALLEST_SHARE, MOST_TOGETHER, MORE_THINGS = 0.005, 2, 4
SAME_THING, APART_THINGS = 0.6, 0.15  # of two guesses: common area over that of both, and over that of the smaller
RIM_PX = 2.0  # of the preview, around what is known: there its edge is blurred


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
        if score > LEAST_SCORE:
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
        outline = _refined(photo, preview, quad, lambda refined: _score(background, refined, size_mm, card))
        if outline is None:
            continue
        if best is None or outline.score > best.score:
            best = outline
        if best.score > CLEAR_SCORE:
            break
    return best


def find_outlines(
    photo: Photo,
    preview: Preview,
    background: Background,
    sizes_mm: Sequence[tuple[float, float]],
    card: NDArray[np.float64] | None,
    known: Sequence[NDArray[np.float64]] = (),
) -> tuple[Outline, ...]:
    """The outlines of whatever could be one of several boards, best first; no two of them overlap.

    Parameters
    ----------
    photo : Photo
    preview : Preview
    background : Background
    sizes_mm : sequence of (float, float)
        Length and width of each board that is looked for; only the proportions are used.
    card : ndarray, (4, 2), or None
        The gray card in preview pixels.
    known : sequence of ndarray, (4, 2)
        What is none of these boards, in preview pixels: strips, other boards.
    """
    free = _without(background, known)
    things: list[_Thing] = []
    for score, quad in _distinct_guesses(free, sizes_mm, card):
        same = next((thing for thing in things if _shared(thing.quad, quad)[0] > SAME_THING), None)
        if same is None:
            if any(_shared(thing.quad, quad)[1] > APART_THINGS for thing in things):
                continue
            if len(things) == len(sizes_mm) + MORE_THINGS:
                break
            same = _Thing(quad)
            things.append(same)
        if same.tried < REFINED and (same.best is None or same.best.score < CLEAR_SCORE * score):
            same.tried += 1
            same.take(_refined(photo, preview, quad, lambda refined: _score_of_any(free, refined, sizes_mm, card)))
    found = [thing.best for thing in things if thing.best is not None]
    return tuple(sorted(found, key=lambda outline: -outline.score))


def _refined(
    photo: Photo, preview: Preview, quad: NDArray[np.float64], score: Callable[[NDArray[np.float64]], float]
) -> Outline | None:
    """A guess in preview pixels, moved to the edges in the photo; None if they do not bear it out."""
    coarse = preview.to_photo(quad)
    edges = refine_quad(photo, coarse, max(6.0, REACH_SHARE * float(side_lengths(coarse).min())))
    if edges.support < MIN_SUPPORT or not cv2.isContourConvex(edges.corners_px.astype(np.float32)):
        return None
    return Outline(edges, score(preview.to_preview(edges.corners_px)) * edges.support)


@dataclass(slots=True, eq=False)
class _Thing:
    """Guesses at one thing on the table, while they are looked at."""

    quad: NDArray[np.float64]
    best: Outline | None = None
    tried: int = 0

    def take(self, outline: Outline | None) -> None:
        if outline is not None and (self.best is None or outline.score > self.best.score):
            self.best = outline


def _without(background: Background, known: Sequence[NDArray[np.float64]]) -> Background:
    """The same background, with nothing on it where something known lies."""
    hidden = np.zeros(background.distance.shape, np.uint8)
    for quad in known:
        hidden |= quad_mask(hidden.shape, quad)
    size = 2 * int(RIM_PX) + 1
    away = cv2.dilate(hidden, np.ones((size, size), np.uint8)).astype(bool)
    return replace(
        background,
        distance=np.where(away, np.float32(0), background.distance),
        colour_distance=np.where(away, np.float32(0), background.colour_distance),
        is_background=background.is_background | away,
    )


def _distinct_guesses(
    background: Background, sizes_mm: Sequence[tuple[float, float]], card: NDArray[np.float64] | None
) -> list[tuple[float, NDArray[np.float64]]]:
    """Guesses and how well they could be one of the boards, best first."""
    judged: list[tuple[float, NDArray[np.float64]]] = []
    for quad in _guesses(background, card, SMALLEST_SHARE, MOST_TOGETHER):
        if not any(np.abs(quad - other).max() < 2 for _, other in judged):
            judged.append((_score_of_any(background, quad, sizes_mm, card), quad))
    return sorted((guess for guess in judged if guess[0] > LEAST_SCORE), key=lambda guess: -guess[0])


def _shared(first: NDArray[np.float64], second: NDArray[np.float64]) -> tuple[float, float]:
    """Common area of two convex quadrilaterals over the area of both, and over that of the smaller one."""
    common, _ = cv2.intersectConvexConvex(first.astype(np.float32), second.astype(np.float32))
    areas = [cv2.contourArea(quad.astype(np.float32)) for quad in (first, second)]
    return float(common) / max(sum(areas) - float(common), 1e-9), float(common) / max(min(areas), 1e-9)


def _guesses(
    background: Background,
    card: NDArray[np.float64] | None,
    min_share: float = MIN_AREA_SHARE,
    most_together: int = MAX_PIECES,
) -> Iterator[NDArray[np.float64]]:
    shape = background.distance.shape
    min_area = min_share * shape[0] * shape[1]
    kernel = np.ones((3, 3), np.uint8)
    maps = [(background.distance, THRESHOLDS), (background.colour_distance, THRESHOLDS[:COLOUR_THRESHOLDS])]
    for distance, thresholds in maps:
        for threshold in thresholds:
            above = (distance > threshold).astype(np.uint8)
            mask = np.asarray(cv2.morphologyEx(above, cv2.MORPH_OPEN, kernel), dtype=np.uint8)
            yield from _quads_of_pieces(mask, min_area, most_together)
            if card is not None:
                mask[quad_mask(shape, shrunk(card, -0.12))] = 0
                yield from _quads_of_pieces(mask, min_area, most_together)


def _quads_of_pieces(mask: NDArray[np.uint8], min_area: float, most_together: int) -> Iterator[NDArray[np.float64]]:
    outlines, _ = cv2.findContours(mask, cv2.RETR_EXTERNAL, cv2.CHAIN_APPROX_SIMPLE)
    pieces = sorted((o for o in outlines if cv2.contourArea(o) > 0.1 * min_area), key=cv2.contourArea, reverse=True)
    pieces = pieces[:MAX_PIECES]
    for count in range(1, min(len(pieces), most_together) + 1):
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
    proportion = 1.0 if size_mm is None else _proportion(quad, size_mm)
    stands_out, share = _stands_out(background, quad, card)
    return float(proportion * stands_out * (0.5 + 0.5 * min(1.0, np.sqrt(share / 0.1))))


def _score_of_any(
    background: Background,
    quad: NDArray[np.float64],
    sizes_mm: Sequence[tuple[float, float]],
    card: NDArray[np.float64] | None,
) -> float:
    """How well a quadrilateral could be one of several boards, 0..1, whatever its size."""
    proportion = max(_proportion(quad, size_mm) for size_mm in sizes_mm)
    return proportion * _stands_out(background, quad, card)[0] if proportion > LEAST_SCORE else 0.0


def _stands_out(
    background: Background, quad: NDArray[np.float64], card: NDArray[np.float64] | None
) -> tuple[float, float]:
    """Whether it has nothing of the background in it, and only background around it, 0..1; its share of the frame."""
    angles = corner_angles_deg(quad)
    if angles.min() < 50 or angles.max() > 130:
        return 0.0, 0.0
    rows, columns = background.is_background.shape
    outermost = shrunk(quad, -0.10)
    left, top = np.clip(np.floor(outermost.min(axis=0)), 0, (columns, rows)).astype(int)
    right, bottom = np.clip(np.ceil(outermost.max(axis=0)) + 1, 0, (columns, rows)).astype(int)
    seen = background.is_background[top:bottom, left:right]
    if not seen.size:  # wholly beyond the frame
        return 0.0, 0.0

    def mask(quad_px: NDArray[np.float64]) -> NDArray[np.bool_]:
        return quad_mask(seen.shape, quad_px - (left, top))

    inside = mask(shrunk(quad, 0.03))
    around = mask(outermost) & ~mask(shrunk(quad, -0.03))
    if card is not None:
        hidden = mask(shrunk(card, -0.12))
        inside &= ~hidden
        around &= ~hidden
    all_inside, all_around = np.count_nonzero(inside), np.count_nonzero(around)
    if not all_inside or not all_around:
        return 0.0, 0.0
    filled = 1 - np.count_nonzero(inside & seen) / all_inside
    clear = np.count_nonzero(around & seen) / all_around
    return filled**2 * (0.15 + 0.85 * clear), all_inside / (rows * columns)


def _proportion(quad: NDArray[np.float64], size_mm: tuple[float, float]) -> float:
    """How well the proportion of the sides fits the board's, whichever way it is turned, 0..1."""
    sides = side_lengths(quad)
    seen = np.log(sides[[0, 2]].mean() / sides[[1, 3]].mean())
    wanted = np.log(size_mm[0] / size_mm[1])
    misfit = min(abs(seen - wanted), abs(seen + wanted))
    return float(np.exp(-0.5 * (misfit / PROPORTION_SPREAD) ** 2))
