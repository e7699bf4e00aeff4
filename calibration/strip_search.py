"""Which edge strips are in the photo: beside boards whose place is given, and where do they show others?"""

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike, NDArray

from calibration.errors import PlaceError
from calibration.photo import Photo
from calibration.plane import plane_from_corners
from calibration.strip_consensus import RoughStrip
from calibration.strip_finder import StripSightings, find_strips
from calibration.strip_groups import StripPlace, strip_places, strips_beside_board, strips_in
from calibration.strip_plane import StripPlane, board_between

Array = NDArray[np.float64]


@dataclass(frozen=True, slots=True, eq=False)
class Wanted:
    """A board that is looked for."""

    size_mm: tuple[float, float] | None  # length (along the grain) and width; None: any four-sided shape will do
    corners: ArrayLike | None = None  # (4, 2), photo pixels, where the finisher gave them
    name: str = ""  # as findings call it


@dataclass(frozen=True, slots=True, eq=False)
class StripSearch:
    """The edge strips of a photo."""

    sightings: StripSightings | None  # None: no marker was seen, or none was looked for
    beside: tuple[StripPlane | None, ...]  # of each board: the strips along it, where its corners were given
    places: tuple[StripPlace, ...]  # where strips show that other boards lie


def search_strips(photo: Photo, wanted: Sequence[Wanted]) -> StripSearch:
    """Find the strips of a photo, and tell those beside boards whose corners are given from all others."""
    nothing = StripSearch(None, (None,) * len(wanted), ())
    if all(board.size_mm is None for board in wanted):
        return nothing
    sightings = find_strips(photo)
    if sightings is None or sightings.is_mirrored:
        return StripSearch(sightings, nothing.beside, ())
    left = strips_in(sightings)
    beside: list[StripPlane | None] = []
    for board in wanted:
        own = _beside(left, board)
        beside.append(_laid(sightings, own, board))
        left = tuple(strip for strip in left if all(strip is not other for other in own))
    widths_mm = [board.size_mm[1] for board in wanted if board.size_mm is not None and board.corners is None]
    places = strip_places(sightings, left, widths_mm or [board.size_mm[1] for board in wanted if board.size_mm])
    return StripSearch(sightings, tuple(beside), places)


def _beside(strips: Sequence[RoughStrip], board: Wanted) -> tuple[RoughStrip, ...]:
    if board.corners is None or board.size_mm is None:
        return ()
    try:
        plane = plane_from_corners(board.corners, *board.size_mm)
        px_to_board = np.asarray(np.linalg.inv(plane.mm_to_px), dtype=np.float64)
    except (ValueError, np.linalg.LinAlgError):  # what is wrong with the corners is told where they are used
        return ()
    return strips_beside_board(strips, px_to_board, board.size_mm)


def _laid(sightings: StripSightings, strips: Sequence[RoughStrip], board: Wanted) -> StripPlane | None:
    """The strips along a board whose corners are given, as one plane; None: too few markers, or they do not fit it."""
    if not strips or board.size_mm is None:
        return None
    try:
        return board_between(sightings, strips, *board.size_mm)
    except PlaceError:
        return None
