"""Which small, even, four-sided patches are there, and which of them lie on one lattice?

A patch is a calm region that a rim of steep steps surrounds, whatever its colour; on a chart the dark lines between
patches are thin, and are told by what a morphological closing would fill. A lattice is grown from neighbours of like
size and direction, and held together by one homography from cells to pixels.
"""

from dataclasses import dataclass
from typing import Any

import cv2
import numpy as np
from numpy.typing import NDArray

Floats = NDArray[np.float64]
Cell = tuple[int, int]  # column, row of a lattice

STEPS = (
    6.0,
    12.0,
    24.0,
    40.0,
)  # 8-bit codes: steps that bound a patch; dim charts need the low ones, rough ones the high
MIN_SIDE_PX, MAX_SIDE_SHARE = 4.0, 0.16  # of a calm region; of the picture's shorter side
MAX_ASPECT = 1.9  # of a region: patches are square, a tilt of 45 degrees makes 1.4
MIN_FILL = 0.72  # of the smallest rectangle about it: a square seen askew fills less
MIN_BOX_FILL = 0.4  # of its upright box: a square on its corner fills half
MOST_REGIONS = 700  # of one step; a chart has 24, grain has thousands
SAME_CENTRE = 0.35  # of a side: two outlines of one patch
RIM_PX = 2.5  # about what the steps at its rim take of a patch's side
SIZE_RATIO = 1.6  # of neighbouring patches, rim blur included
REACH = (0.95, 1.75)  # distance of neighbours' middles, in sides
TURN_COS = np.cos(np.radians(24))  # of the way to a neighbour, against a patch's own sides
MIN_MEMBERS = 7  # of a lattice worth judging (chosen; a chart with half its patches hidden has 12)
OFF_CELL = 0.22  # of the pitch: how far a member may lie from its cell's middle
MOST_LATTICES = 6
MOST_CELLS = 12  # from a lattice's seed: farther out, cells of a wrong homography crowd at its horizon
NEXT_CELL = np.array([1.0, 0.0])


@dataclass(frozen=True, slots=True, eq=False)
class Regions:
    """Calm regions of about square shape."""

    centres: Floats  # (n, 2), pixels of the picture searched
    sides: Floats  # (n,), about the patch's side, its rim put back
    angles: Floats  # (n,), direction of one side, radians


@dataclass(frozen=True, slots=True, eq=False)
class Lattice:
    """Patches on a regular lattice."""

    to_px: Floats  # homography (3, 3): cell (column, row), middles at integers, to pixels
    cells: NDArray[np.int64]  # (n, 2), column and row of each member
    share: float  # of the pitch that a patch takes

    def middles(self, cells: NDArray[np.floating] | NDArray[np.integer]) -> Floats:
        """Pixels (n, 2) of cells (n, 2), fractions of cells too."""
        return through(self.to_px, np.asarray(cells, dtype=np.float64))


def through(homography: Floats, points: Floats) -> Floats:
    """Points (n, 2) through a homography (3, 3)."""
    mapped = np.column_stack([points, np.ones(len(points))]) @ homography.T
    return np.asarray(mapped[:, :2] / np.where(np.abs(mapped[:, 2:]) > 1e-9, mapped[:, 2:], 1e-9))


def lattices_in(codes: NDArray[np.uint8]) -> list[Lattice]:
    """Lattices of patches in a picture, largest first.

    Parameters
    ----------
    codes : ndarray of uint8, (rows, columns, 3)
        Encoded, so that steps in the dark count as for the eye.
    """
    return _grown(regions_in(codes))


def regions_in(codes: NDArray[np.uint8], most_side_share: float = MAX_SIDE_SHARE) -> Regions:
    """Calm, about square regions of a picture (rows, columns, 3), each once; larger ones than the share are none."""
    smooth = cv2.medianBlur(codes, 3)
    step = cv2.morphologyEx(smooth, cv2.MORPH_GRADIENT, np.ones((3, 3), np.uint8)).max(axis=2)
    thin = cv2.morphologyEx(smooth, cv2.MORPH_BLACKHAT, np.ones((5, 5), np.uint8)).max(axis=2)
    rim = np.maximum(step, thin)
    found = np.concatenate([_regions((rim < level).astype(np.uint8), most_side_share) for level in STEPS])
    # the largest outline of a patch comes nearest to its rim
    found = found[np.argsort(-found[:, 2])]
    apart = np.hypot(found[:, None, 0] - found[:, 0], found[:, None, 1] - found[:, 1])
    same = apart < SAME_CENTRE * np.minimum(found[:, None, 2], found[:, 2])
    kept = np.ones(len(found), dtype=bool)
    for k in range(len(found)):
        if kept[k]:
            kept[k + 1 :] &= ~same[k, k + 1 :]
    return Regions(found[kept, :2], found[kept, 2], found[kept, 3])


def _regions(calm: NDArray[np.uint8], most_side_share: float) -> Floats:
    """Middle x and y, side and direction (n, 4) of the about square regions of a mask."""
    _, labels, stats, middles = cv2.connectedComponentsWithStats(calm, connectivity=4)
    left, top, width, height, area = stats.T
    longest, shortest = np.maximum(width, height), np.minimum(width, height)
    likely = (area >= MIN_SIDE_PX**2) & (longest <= 1.5 * most_side_share * min(calm.shape))
    likely &= (longest <= MAX_ASPECT * shortest) & (area > MIN_BOX_FILL * width * height)
    chosen = np.flatnonzero(likely[1:]) + 1
    if len(chosen) > MOST_REGIONS:  # grain: its regions are small, and patches among it the largest
        chosen = chosen[np.argsort(-area[chosen])[:MOST_REGIONS]]
    found = []
    for k in chosen:
        window = labels[top[k] : top[k] + height[k], left[k] : left[k] + width[k]]
        outlines, _ = cv2.findContours((window == k).astype(np.uint8), cv2.RETR_EXTERNAL, cv2.CHAIN_APPROX_NONE)
        _, sides, angle = cv2.minAreaRect(outlines[0])
        # an outline runs through the middles of its pixels: half a pixel is missing on every side
        long, short = max(sides) + 1, min(sides) + 1
        if long <= MAX_ASPECT * short and area[k] >= MIN_FILL * long * short:
            found.append((*middles[k], float(np.sqrt(area[k])) + RIM_PX, float(np.radians(angle))))
    return np.array(found).reshape(-1, 4)


def _grown(regions: Regions) -> list[Lattice]:
    """Lattices grown from neighbours."""
    neighbours = _neighbours(regions)
    free = np.array([len(near) > 1 for near in neighbours], dtype=bool)
    lattices = []
    for seed in np.argsort([-len(near) for near in neighbours]):
        if not free[seed]:
            continue
        placed = _walked(int(seed), regions, neighbours)
        free[list(placed)] = False
        lattice = _fitted(placed, regions) if len(placed) >= MIN_MEMBERS else None
        if lattice is not None:
            lattices.append(lattice)
    return sorted(lattices, key=lambda lattice: -len(lattice.cells))[:MOST_LATTICES]


def _neighbours(regions: Regions) -> list[NDArray[np.intp]]:
    """For each region those that lie beside it, along one of its sides."""
    way = regions.centres[None] - regions.centres[:, None]
    distance = np.hypot(way[..., 0], way[..., 1])
    longer = np.maximum(regions.sides[:, None], regions.sides)
    shorter = np.minimum(regions.sides[:, None], regions.sides)
    turned = np.arctan2(way[..., 1], way[..., 0]) - regions.angles[:, None]
    beside = np.maximum(np.abs(np.cos(turned)), np.abs(np.sin(turned))) > TURN_COS
    beside &= (longer < SIZE_RATIO * shorter) & (distance > REACH[0] * shorter) & (distance < REACH[1] * longer)
    return [np.flatnonzero(row) for row in beside]


def _walked(seed: int, regions: Regions, neighbours: list[NDArray[np.intp]]) -> dict[int, Cell]:
    """Cells of all regions that can be reached from one, by steps along its rows and columns."""
    angle = regions.angles[seed]
    u = np.array([np.cos(angle), np.sin(angle)])
    axes = {seed: np.stack([u, [-u[1], u[0]]])}  # of each region: its directions along rows and columns
    placed: dict[int, Cell] = {seed: (0, 0)}
    taken = {(0, 0)}
    queue = [seed]
    while queue:
        here = queue.pop(0)
        for there in map(int, neighbours[here]):
            if there in placed:
                continue
            way = regions.centres[there] - regions.centres[here]
            along = axes[here] @ (way / np.hypot(*way))
            axis = int(np.abs(along).argmax())
            if abs(along[axis]) < TURN_COS:
                continue
            sign = 1 if along[axis] > 0 else -1
            column, row = placed[here]
            cell = (column + sign, row) if axis == 0 else (column, row + sign)
            if cell in taken:
                continue
            placed[there] = cell
            taken.add(cell)
            turned = axes[here].copy()
            turned[axis] = 0.7 * turned[axis] + 0.3 * sign * way / np.hypot(*way)
            axes[there] = turned / np.hypot(*turned.T)[:, None]
            queue.append(there)
    return placed


def _fitted(placed: dict[int, Cell], regions: Regions) -> Lattice | None:
    """One homography through most of the cells, and all regions that lie on it."""
    members = np.array(list(placed))
    cells = np.array(list(placed.values()), dtype=np.float64)
    reach = OFF_CELL * float(np.median(regions.sides[members]))
    likely = 0.0
    for _ in range(4):  # each time with the regions that the last homography leads to
        fitted = homography(cells, regions.centres[members], reach)
        if fitted is None or fitted.inside.sum() < MIN_MEMBERS:
            return None
        to_px, inside = fitted.to_px, fitted.inside
        at = through(np.asarray(np.linalg.inv(to_px), dtype=np.float64), regions.centres)
        nearest = np.round(at)
        pitch = np.hypot(*(through(to_px, nearest + NEXT_CELL) - through(to_px, nearest)).T)
        shares = regions.sides / np.maximum(pitch, 1e-9)
        likely = float(np.median(shares[members[inside]]))
        on = (np.hypot(*(at - nearest).T) < OFF_CELL) & (np.abs(nearest).max(axis=1) < MOST_CELLS)
        on &= (shares > likely / SIZE_RATIO) & (shares < min(likely * SIZE_RATIO, 1.2))
        members, cells = np.flatnonzero(on), nearest[on]
        if len(members) < MIN_MEMBERS:
            return None
    of_chart = np.unique(cells.astype(np.int64), axis=0)
    if len(of_chart) < MIN_MEMBERS or (np.ptp(of_chart, axis=0) < 1).any():
        return None
    return Lattice(to_px, of_chart, likely)


@dataclass(frozen=True, slots=True, eq=False)
class Homography:
    """A robustly fitted homography (3, 3), and which of the points (n,) agree with it."""

    to_px: Floats
    inside: NDArray[np.bool_]


def homography(cells: Floats, centres_px: Floats, reach_px: float) -> Homography | None:
    """The homography that takes most cells (n, 2) to their pixels (n, 2) within a reach; None if there is none."""
    fitted: tuple[Floats | None, NDArray[np.uint8]] | Any = cv2.findHomography(cells, centres_px, cv2.RANSAC, reach_px)
    to_px, inside = fitted
    if to_px is None or abs(float(np.linalg.det(to_px))) < 1e-12:
        return None
    return Homography(np.asarray(to_px, dtype=np.float64), inside.ravel() > 0)
