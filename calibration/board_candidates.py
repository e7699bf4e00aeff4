"""Which place is which board's, by its size?  Places between strips; outlines in the plane that other things tell."""

from collections.abc import Callable, Iterator, Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from calibration.board_assignment import Assignment, assigned, least_misfit, reading_order
from calibration.outline import Outline
from calibration.plane import plane_from_corners
from calibration.quads import side_lengths
from calibration.strip_groups import StripPlace
from calibration.strip_search import StripSearch, Wanted

Array = NDArray[np.float64]
Size = tuple[float, float]
ToMm = Callable[[Array], Array]

SQUARE_BOARD = 1.12  # a board less elongated than this is taken as lying the way it is seen
# Of an outline in a plane that other things tell, ln units: its size, since boards differ in thickness, and 20 mm
# nearer to a camera at 600 mm is 3 %; and its proportion, which that leaves alone (chosen).
U_SCALE, U_SHAPE = 0.04, 0.03
U_PROPORTION = 0.16  # of its proportion as seen, ln units; a tilt of 30 degrees changes it by 0.14
MOST_MISFIT = 60.0  # squared standard deviations: an outline that fits worse is no place of the board's (chosen)


@dataclass(frozen=True, slots=True, eq=False)
class Candidate:
    """A place that may be a board's."""

    quad: Array  # (4, 2), photo pixels, in any order
    by: StripPlace | Outline


def order_corners(quad_px: Array, size_mm: Size | None) -> tuple[Array, bool]:
    """Which corner is the board's top-left?

    A board lying across the photo is read as seen, whichever way it is turned by less than 45 degrees. One that
    stands upright is read from the top down: its left end is taken to be at the top of the photo.

    Parameters
    ----------
    quad_px : ndarray, (4, 2)
        Corners clockwise in the picture, starting anywhere.
    size_mm : (float, float) or None
        Length and width of the board, mm.

    Returns
    -------
    corners : ndarray, (4, 2)
        Top-left, top-right, bottom-right, bottom-left of the board.
    turned : bool
        Whether it stands upright.
    """
    first = _side_most_to_the_right(quad_px)
    as_seen = np.roll(quad_px, -first, axis=0)
    if size_mm is None or max(size_mm) < SQUARE_BOARD * min(size_mm):
        return as_seen, False
    sides = side_lengths(as_seen)
    lies_across = (sides[[0, 2]].sum() >= sides[[1, 3]].sum()) == (size_mm[0] >= size_mm[1])
    if lies_across:
        return as_seen, False
    # turned a quarter clockwise: the board's top-left corner is the picture's top-right one
    return np.roll(as_seen, -1, axis=0), True


def _side_most_to_the_right(quad: Array) -> int:
    """Index of the side that, followed clockwise, points most to the right: the upper side as seen."""
    directions = np.roll(quad, -1, axis=0) - quad
    return int((directions[:, 0] / np.hypot(*directions.T)).argmax())


def known_planes(wanted: Sequence[Wanted], strips: StripSearch) -> tuple[ToMm, ...]:
    """The table in mm, by strips, or by boards whose corners are given; at most one, the best."""
    laid = [*(place.laid for place in strips.places), *(plane for plane in strips.beside if plane)]
    if laid:
        return (max(laid, key=lambda plane: len(plane.used)).to_mm,)
    for board in wanted:
        if board.corners is not None and board.size_mm is not None:
            try:
                return (plane_from_corners(board.corners, *board.size_mm).to_mm,)
            except ValueError:
                continue
    return ()


def weighed(
    candidates: Sequence[Candidate], sizes: Sequence[Size], known: tuple[ToMm, ...]
) -> tuple[Assignment, list[Candidate]]:
    """Boards assigned to candidates.

    Parameters
    ----------
    candidates : sequence of Candidate
    sizes : sequence of (float, float)
        Length and width of each board, mm, in the order in which the boards are named.
    known : tuple of callables
        Photo pixels to mm of the table, where something tells (`known_planes`).

    Returns
    -------
    assignment : Assignment
    candidates : list of Candidate
        In reading order, as the assignment counts them.

    Notes
    -----
    Where nothing tells the plane of the table, each board in each outline is tried as its measure: the one that
    makes all others fit best is believed.
    """
    ordered = [candidates[k] for k in reading_order([candidate.quad for candidate in candidates])]
    tried = [(to_mm, 0.0) for to_mm in known] or list(_supposed_planes(ordered, sizes))
    matrices = [_misfits(ordered, sizes, to_mm) + extra / len(sizes) for to_mm, extra in tried]
    if not matrices:
        matrices = [_misfits(ordered, sizes, None)]
    return assigned(min(matrices, key=least_misfit)), ordered


def _supposed_planes(candidates: Sequence[Candidate], sizes: Sequence[Size]) -> Iterator[tuple[ToMm, float]]:
    """The table in mm if an outline were that of a board, and how unlikely that is by its proportion."""
    for candidate in candidates:
        if isinstance(candidate.by, StripPlace):
            continue
        for size_mm in sizes:
            quad, _ = order_corners(candidate.quad, size_mm)
            sides = side_lengths(quad)
            seen, told = np.log(sides[[0, 2]].mean() / sides[[1, 3]].mean()), np.log(size_mm[0] / size_mm[1])
            yield plane_from_corners(quad, *size_mm).to_mm, float(((seen - told) / U_PROPORTION) ** 2)


def _misfits(candidates: Sequence[Candidate], sizes: Sequence[Size], to_mm: ToMm | None) -> Array:
    """How badly each board fits each candidate (boards, candidates), squared standard deviations."""
    rows = [[_misfit(candidate, size_mm, to_mm) for candidate in candidates] for size_mm in sizes]
    return np.array(rows, dtype=np.float64).reshape(len(sizes), len(candidates))


def _misfit(candidate: Candidate, size_mm: Size, to_mm: ToMm | None) -> float:
    """The same of one board; the sides of an outline are held against the board's whichever way it is turned."""
    if isinstance(candidate.by, StripPlace):
        return candidate.by.misfit(size_mm)
    if to_mm is None:
        return float("inf")
    sides = side_lengths(to_mm(candidate.quad))
    one, other = (np.log(max(float(sides[pair].mean()), 1e-6)) for pair in ([0, 2], [1, 3]))
    length, width = np.log(size_mm)
    ways = ((one - length, other - width), (one - width, other - length))
    misfit = min(
        float(((first + second) / 2 / U_SCALE) ** 2 + ((first - second) / U_SHAPE) ** 2) for first, second in ways
    )
    return misfit if misfit < MOST_MISFIT else float("inf")
